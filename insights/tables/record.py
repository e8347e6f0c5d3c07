"""The tables of what was recorded: what was refused, what contradicts, which units may be one."""

from __future__ import annotations

import pandas as pd

from insights.followup import Followup
from insights.history.schema import History
from insights.standing import Standing
from insights.survival.curves import Curves
from insights.tables.returns import NOT_KNOWN, of_curves
from insights.wording import whole


def tally_of(standing: Standing) -> dict[str, str]:
    """Name the counts to show side by side."""
    return {
        "Jobs followed": whole(standing.jobs),
        "Units": whole(standing.units),
        "Comebacks": whole(standing.returns),
        "Still in their term": whole(standing.open_exposure),
        "On the bench": whole(standing.on_bench),
        "Rows refused": whole(standing.refused_rows),
    }


def of_attention(standing: Standing) -> pd.DataFrame:
    """List what wants attention."""
    return standing.attention.rename(
        columns={"what": "What", "count": "How many", "why": "Why it matters"}
    ).drop(columns="where")


def of_suggested(suggestions: pd.DataFrame) -> pd.DataFrame:
    """List which heading may be which column, and why."""
    return pd.DataFrame(
        {
            "Your heading": suggestions["theirs"],
            "Our column": suggestions["ours"],
            "Likeness": [
                f"{likeness:.0%}" if ours else ""
                for ours, likeness in zip(suggestions["ours"], suggestions["likeness"], strict=True)
            ],
            "Why": suggestions["why"],
        }
    )


def of_refused(history: History) -> pd.DataFrame:
    """List every problem of every refused row, with what to do about it."""
    return history.refused.rename(
        columns={
            "row": "Row",
            "job_id": "Job",
            "column": "Column",
            "value": "Found",
            "problem": "What is wrong",
            "remedy": "What to do",
        }
    )


def of_problems(followup: Followup) -> pd.DataFrame:
    """List the dates that contradict each other."""
    return followup.problems.rename(
        columns={
            "job_id": "Job",
            "column": "Column",
            "value": "Found",
            "problem": "What is wrong",
            "remedy": "What to do",
        }
    )


def of_pairs(followup: Followup, status: str) -> pd.DataFrame:
    """List pairs of jobs that may be one unit, the likeliest first.

    Parameters
    ----------
    followup
        Its links are listed.
    status
        ``linked`` or ``doubtful``.
    """
    pairs = followup.links.pairs
    chosen = pairs[pairs["status"] == status].sort_values(
        "probability", ascending=False, kind="stable"
    )
    return pd.DataFrame(
        {
            "Job": chosen["job_id"].astype(str),
            "Earlier job": chosen["earlier_job_id"].astype(str),
            "Same unit?": [_likely(probability) for probability in chosen["probability"]],
            "Because": chosen["reasons"].astype(str),
        }
    ).reset_index(drop=True)


def _likely(probability: float) -> str:
    """Write a probability, never as certain where it is not."""
    rounded = f"{probability:.0%}"
    return "over 99% likely" if rounded == "100%" and probability < 1 else f"{rounded} likely"


def of_linkage(as_judged: Curves, as_if_linked: Curves) -> pd.DataFrame:
    """Compare the share back with doubtful pairs kept apart and taken as one unit.

    Parameters
    ----------
    as_judged, as_if_linked
        One group each.
    """
    rows = [of_curves(as_judged), of_curves(as_if_linked)]
    table = pd.concat(rows, ignore_index=True).fillna(NOT_KNOWN).drop(columns="Group")
    table.insert(0, "Doubtful pairs", ["kept apart, as everywhere here", "taken as one unit"])
    return table


def of_refusals_by_reason(history: History) -> pd.DataFrame:
    """Count the problems of refused rows by column and reason, the most frequent first."""
    counted = (
        history.refused.groupby(["column", "problem", "remedy"], observed=True)
        .size()
        .sort_values(ascending=False, kind="stable")
        .reset_index(name="rows")
    )
    return counted.rename(
        columns={
            "column": "Column",
            "problem": "What is wrong",
            "remedy": "What to do",
            "rows": "Rows",
        }
    )
