"""Where the workshop stands on the data date, and what wants its attention."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import ENDS, UNKNOWN, Followup
from insights.notes import Note

ATTENTION_COLUMNS = ("what", "count", "why", "where")


@dataclass(frozen=True)
class Standing:
    """Counts on the data date.

    Parameters
    ----------
    data_date
        The day up to which the history is complete.
    jobs, units, returns
        Hand-backs followed, the units behind them, and the comebacks that count.
    uncounted_returns
        Comebacks that closed a clock without counting (misuse, no fault found, ...).
    open_exposure
        Hand-backs still inside their own term and not back.
    open_exposure_days
        Days of cover still to run, summed over them.
    on_bench
        Jobs received and not handed back.
    refused_rows, problems, doubtful_links
        Rows that did not load, dates that contradict, pairs that may be one unit.
    attention
        What to look at first: ``what``, ``count``, ``why``, ``where`` (a page's subject).
    notes
        The follow-up's own remarks.
    """

    data_date: pd.Timestamp
    jobs: int
    units: int
    returns: int
    uncounted_returns: int
    open_exposure: int
    open_exposure_days: int
    on_bench: int
    refused_rows: int
    problems: int
    doubtful_links: int
    attention: pd.DataFrame
    notes: tuple[Note, ...] = ()


def standing(followup: Followup) -> Standing:
    """Count where things stand for the hand-backs in a follow-up.

    Parameters
    ----------
    followup
        The follow-up, filtered or not. Refused rows, contradictions, doubtful links and jobs
        on the bench are those of the whole history: a row that could not be read has no date
        or model to filter by.

    Returns
    -------
    Standing
    """
    history = followup.history
    jobs = history.jobs
    on_bench = (
        jobs["handed_back"].isna()
        & jobs["ended_on"].isna()
        & (jobs["received"] <= followup.data_date)
    )
    days_left = _cover_left_days(followup)
    end = followup.episodes["end"]
    counts = {
        "refused": history.refused_count,
        "contradictions": len(followup.problems),
        "doubtful": followup.links.doubtful,
        "undecided": _undecided(followup),
        "uncoded": int((followup.episodes["cause"] == UNKNOWN).sum()),
        "endless": int((jobs["term_days"].isna() & jobs["handed_back"].notna()).sum()),
    }
    return Standing(
        data_date=followup.data_date,
        jobs=followup.job_count,
        units=followup.unit_count,
        returns=followup.return_count,
        uncounted_returns=int((end == ENDS[1]).sum()),
        open_exposure=int((days_left >= 0).sum()),
        open_exposure_days=int(days_left[days_left > 0].sum()),
        on_bench=int(on_bench.sum()),
        refused_rows=counts["refused"],
        problems=counts["contradictions"],
        doubtful_links=counts["doubtful"],
        attention=_attention(counts),
        notes=followup.notes,
    )


def _cover_left_days(followup: Followup) -> np.ndarray:
    """Count the days of cover left of each unit still out; negative or missing: none."""
    job = followup.episodes["job"]
    jobs = followup.history.jobs
    handed_back = jobs["handed_back"].take(job).to_numpy()
    term_days = jobs["term_days"].take(job).to_numpy()
    age_days = (followup.data_date.to_datetime64() - handed_back) / np.timedelta64(1, "D")
    still_out = followup.episodes["end"].isin(["term", "data_date"]).to_numpy()
    left = term_days - age_days
    return np.where(still_out & (term_days > 0), left, np.nan)


def _undecided(followup: Followup) -> int:
    back = followup.episodes["return_job"]
    decision = followup.history.jobs["decision"].take(back[back >= 0])
    return int((decision.isna() | (decision == "pending")).sum())


def _attention(counts: dict[str, int]) -> pd.DataFrame:
    remarks = (
        (
            "refused",
            "rows could not be used",
            "Their jobs are missing from every answer until they are mended.",
            "record",
        ),
        (
            "contradictions",
            "dates contradict each other",
            "The jobs they touch are left out of the clock.",
            "record",
        ),
        (
            "doubtful",
            "pairs of jobs may be one unit",
            "A comeback that is not recognised is not counted.",
            "record",
        ),
        (
            "undecided",
            "comebacks have no decision yet",
            "Until someone decides, they count as claims if they came inside the term.",
            "comebacks",
        ),
        (
            "uncoded",
            "comebacks have no root cause",
            "They are shown as unknown and blur the picture of causes.",
            "causes",
        ),
        (
            "endless",
            "jobs have no warranty term recorded",
            "They are followed to the data date, also when their owners have long given up on us.",
            "record",
        ),
    )
    rows = [(what, counts[code], why, where) for code, what, why, where in remarks if counts[code]]
    return pd.DataFrame(rows, columns=list(ATTENTION_COLUMNS))
