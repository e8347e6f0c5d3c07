"""One month of the workshop, in plain sentences and tables."""

from __future__ import annotations

from typing import Any

import pandas as pd

from insights.reviewing.one_month import APART, BACK, LEFT, OneMonth
from insights.wording import Finding, counted, whole

MOST_ARRIVALS = 12
NO_RECORD = "no record"
EARLIER = ("the month before", "a year before")


def name_of(month: pd.Period) -> str:
    """Name a month as one says it: October 2026."""
    return f"{month.start_time:%B %Y}"


def of_month(found: OneMonth) -> Finding:
    """Say what left, what came back, and whether that is more than chance explains."""
    now, before, year = found.table.to_dict("records")
    earlier = ((EARLIER[0], before), (EARLIER[1], year))
    sentence = (
        f"In {name_of(found.month)} {counted(now[LEFT], 'unit was', 'units were')} handed back "
        f"({_beside(earlier, LEFT)}). {_came_back(now[BACK])} "
        f"({_beside(earlier, BACK)}){_against(now)}"
    )
    if now[APART]:
        sentence += (
            f" {counted(now[APART], 'more arrival does', 'more arrivals do')} not count: "
            "nothing was wrong, or the user was, or it is not covered."
        )
    return Finding(sentence, tuple(note.text for note in found.notes))


def of_arrivals(found: OneMonth) -> Finding:
    """Say what brought them back."""
    if found.arrivals.empty:
        return Finding("")
    month = str(found.month)
    causes = found.causes[found.causes[month] > 0]
    parts = ", ".join(f"{row['cause']} {row[month]}" for row in causes.head(5).to_dict("records"))
    rest = int(causes[month].iloc[5:].sum())
    return Finding(f"They came back for: {parts}{f', others {rest}' if rest else ''}.")


def table_of_months(found: OneMonth) -> pd.DataFrame:
    """List the three months side by side."""
    lines = {
        "Handed back": [_number(row[LEFT]) for row in found.table.to_dict("records")],
        "Came back": [_number(row[BACK]) for row in found.table.to_dict("records")],
        "Usual on the units then out (by chance)": [
            _usual(row) for row in found.table.to_dict("records")
        ],
        "Arrivals that do not count": [
            _number(row[APART]) for row in found.table.to_dict("records")
        ],
    }
    names = [name_of(month) for month in found.table["month"]]
    wide = pd.DataFrame.from_dict(lines, orient="index", columns=names)
    return wide.rename_axis("What").reset_index()


def table_of_arrivals(found: OneMonth) -> pd.DataFrame:
    """List this month's comebacks, the latest first."""
    rows = found.arrivals
    return pd.DataFrame(
        {
            "Job": rows["job_id"].astype(str),
            "Model": rows["model"].astype(str),
            "Arrived": rows["received"].dt.strftime("%Y-%m-%d"),
            "After": [f"{days:.0f} days" for days in rows["days"]],
            "Root cause": rows["cause"].astype(str),
            "Decision": [_said(decision) for decision in rows["decision"]],
            "Job before": rows["index_job_id"].astype(str),
        }
    ).head(MOST_ARRIVALS)


def _came_back(count: int) -> str:
    if count == 1:
        return "One came back and counts as a comeback"
    return f"{whole(count) if count else 'None'} came back and count as comebacks"


def _beside(earlier: tuple[tuple[str, dict[Any, Any]], ...], name: str) -> str:
    return ", ".join(
        f"{when} {NO_RECORD if pd.isna(row[name]) else whole(row[name])}" for when, row in earlier
    )


def _against(now: dict[Any, Any]) -> str:
    if pd.isna(now["expected"]) or pd.isna(now["low"]):
        return "."
    if now[BACK] > now["high"]:
        verdict = "more than chance explains"
    elif now[BACK] < now["low"]:
        verdict = "fewer than chance explains"
    else:
        verdict = "nothing unusual"
    return (
        f"; on the units then out {now['expected']:.1f} would be usual, {now['low']:.0f} to "
        f"{now['high']:.0f} by chance alone: {verdict}."
    )


def _number(value: float) -> str:
    return NO_RECORD if pd.isna(value) else whole(value)


def _usual(row: dict[Any, Any]) -> str:
    if pd.isna(row["low"]):
        return ""
    return f"{row['expected']:.1f} ({row['low']:.0f} to {row['high']:.0f})"


def _said(decision: object) -> str:
    return "not decided" if pd.isna(decision) or decision == "pending" else str(decision)
