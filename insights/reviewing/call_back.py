"""Not every unit that fails is brought back: a sample of owners, asked."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import EvidenceError, RequestError, SourceError
from insights.followup import Followup
from insights.notes import Note
from insights.survival.curves import return_curves
from insights.survival.intervals import normal_quantile

SAMPLE = 30
OUT_DAYS = (180, 730)
WOULD, WOULD_NOT, HIDDEN, NOT_REACHED = (
    "would_return",
    "would_not",
    "failed_not_brought",
    "not_reached",
)
ANSWERS = {
    WOULD: "works; would be brought back to us if it failed",
    WOULD_NOT: "works; would not be brought back to us",
    HIDDEN: "has failed and was not brought back",
    NOT_REACHED: "nobody could be asked",
}
COLUMNS = ("job_id", "answer")
STILL_OUT = ("term", "data_date")
FEW_ASKED = 10
MOST_UNREACHED_SHARE = 0.3
METHOD = (
    "Share of failed units that are brought back: of the owners whose unit works, those who would "
    "(Wilson interval). Units that fail: share back divided by it, the two intervals joined on "
    "the log scale (method of variance estimates recovery). Beside it, what was found: share back "
    "plus the failed units among those still out."
)


@dataclass(frozen=True, eq=False)
class Corrected:
    """A share of units back, corrected to the share that failed.

    Parameters
    ----------
    asked, reached, would_return, would_not, failed_not_brought
        Owners in the sample, by their answers; the last three add up to ``reached``.
    return_share, return_low, return_high
        Share of failed units that are brought back, going by what owners of working ones say.
    back, back_low, back_high
        Share of units back, as given.
    failed, failed_low, failed_high
        Share of units that failed, back or not, going by that.
    found, found_low, found_high
        Share of units that failed by the time of the calls, going by the failed units found.
    method, notes
        How, and what a reader should know.
    """

    asked: int
    reached: int
    would_return: int
    would_not: int
    failed_not_brought: int
    return_share: float
    return_low: float
    return_high: float
    back: float
    back_low: float
    back_high: float
    failed: float
    failed_low: float
    failed_high: float
    found: float
    found_low: float
    found_high: float
    method: str
    notes: tuple[Note, ...]


def call_back_sample(
    followup: Followup,
    *,
    size: int = SAMPLE,
    out_days: tuple[int, int] = OUT_DAYS,
    seed: int = 1,
    leave_out: Collection[str] = (),
) -> pd.DataFrame:
    """Draw units to ask about, among those handed back some time ago and not seen since.

    Parameters
    ----------
    followup
        The hand-backs.
    size
        How many owners to call.
    out_days
        A unit has been out of our hands at least so long, and at most: of older ones hardly an
        owner remembers.
    seed
        The same draw from the same record; another seed draws others.
    leave_out
        Jobs of units drawn before, so that no owner is asked twice about a unit.

    Returns
    -------
    pandas.DataFrame
        One row a unit, in order of hand-back: ``job_id``, ``handed_back``, ``out_days``,
        ``model``, ``unit_serial``, ``customer``, ``phone``, ``term_days``, and an empty ``answer``
        (one of :data:`ANSWERS`). Fewer rows than asked for where there are no more.

    Raises
    ------
    RequestError
        A size below 1, or days that don't rise from 1 on.
    EvidenceError
        No unit has been out so long.
    """
    shortest, longest = out_days
    if size < 1 or not 1 <= shortest <= longest:
        raise RequestError(
            f"A sample of {size} units out for {shortest} to {longest} days can't be drawn. Give "
            "1 or more of them, and days that rise."
        )
    episodes, jobs = followup.episodes, followup.history.jobs
    handed_back = jobs["handed_back"].to_numpy()[episodes["job"]]
    age = (followup.data_date.to_datetime64() - handed_back) / np.timedelta64(1, "D")
    before = jobs["job_id"].isin(list(leave_out)).to_numpy()[episodes["job"]]
    old_enough = (age >= shortest) & (age <= longest)
    there = np.flatnonzero(_still_out(followup) & old_enough & ~before)
    if not len(there):
        raise EvidenceError(
            f"No {'further ' if leave_out else ''}unit has been out of our hands for {shortest} to "
            f"{longest} days and not been seen since. Ask for other days."
        )
    # The draw hangs on the job numbers, not on the order of the rows.
    ids = jobs["job_id"].to_numpy()[episodes["job"].to_numpy()[there]].astype(str)
    there = there[np.argsort(ids, kind="stable")]
    drawn = np.random.default_rng(seed).permutation(there)[:size]
    drawn = drawn[np.argsort(handed_back[drawn], kind="stable")]
    names = ["job_id", "handed_back", "model", "unit_serial", "customer", "phone", "term_days"]
    rows = jobs[names].take(episodes["job"].to_numpy()[drawn]).reset_index(drop=True)
    rows.insert(2, "out_days", age[drawn].astype(np.int64))
    return rows.assign(answer="")


def _still_out(followup: Followup) -> np.ndarray:
    """Mark the last hand-back of each unit that was neither seen since nor left service."""
    episodes, jobs = followup.episodes, followup.history.jobs
    job = episodes["job"].to_numpy()
    unit = np.asarray(followup.links.unit_of_job)
    last_seen = pd.Series(jobs["received"].to_numpy()).groupby(unit).max()
    seen = last_seen.reindex(unit[job]).to_numpy()
    in_service = jobs["ended_on"].isna().to_numpy()[job]
    out = episodes["end"].isin(STILL_OUT).to_numpy() & in_service
    return out & (seen <= jobs["handed_back"].to_numpy()[job])


def corrected(
    back: float,
    answers: pd.DataFrame,
    *,
    back_low: float | None = None,
    back_high: float | None = None,
    level: float = 0.95,
) -> Corrected:
    """Turn the share of units that came back into the share that failed.

    Parameters
    ----------
    back
        Share back by some day, between 0 and 1.
    answers
        What owners said: ``job_id`` and ``answer``, one of :data:`ANSWERS`; an empty answer was
        not given yet and is left out.
    back_low, back_high
        Its interval; taken as known where not given.
    level
        Of the intervals.

    Returns
    -------
    Corrected

    Raises
    ------
    RequestError
        A column is missing, an answer is not one of those, or a job was answered twice.
    EvidenceError
        None of the owners reached would bring a unit back.

    Notes
    -----
    The interval of a
    share is Wilson's (1927, Journal of the American Statistical Association 22:209-212), the
    joining of two intervals that of Zou and Donner (2008, Statistics in Medicine 27:1693-1702).
    """
    counts = _counted(answers)
    working = counts[WOULD] + counts[WOULD_NOT]
    reached = working + counts[HIDDEN]
    if not counts[WOULD]:
        raise EvidenceError(
            f"Of {reached} owners reached none says that a failed unit would be brought back; the "
            "share that failed can't be worked out from that. Call more owners."
        )
    lowest = back if back_low is None else back_low
    highest = back if back_high is None else back_high
    share, share_low, share_high = _wilson(counts[WOULD], working, level)
    below = math.hypot(_log_ratio(back, lowest), _log_ratio(share_high, share))
    above = math.hypot(_log_ratio(highest, back), _log_ratio(share, share_low))
    hidden, hidden_low, hidden_high = _wilson(counts[HIDDEN], reached, level)
    found = back + (1 - back) * hidden
    return Corrected(
        asked=sum(counts.values()),
        reached=reached,
        would_return=counts[WOULD],
        would_not=counts[WOULD_NOT],
        failed_not_brought=counts[HIDDEN],
        return_share=share,
        return_low=share_low,
        return_high=share_high,
        back=back,
        back_low=lowest,
        back_high=highest,
        failed=min(back / share, 1.0),
        failed_low=min(back / share * math.exp(-below), 1.0),
        failed_high=min(back / share * math.exp(above), 1.0),
        found=found,
        found_low=found - math.hypot(back - lowest, (1 - back) * (hidden - hidden_low)),
        found_high=found + math.hypot(highest - back, (1 - back) * (hidden_high - hidden)),
        method=METHOD,
        notes=tuple(_notes(counts, reached)),
    )


def failed_share(
    followup: Followup, answers: pd.DataFrame, day: int, *, level: float = 0.95
) -> Corrected:
    """Correct the share back by a day to the share that failed (:func:`corrected`).

    Raises
    ------
    RequestError
        As :func:`corrected`.
    EvidenceError
        As :func:`corrected`, or too few jobs are followed to the day.
    """
    row = return_curves(followup, at=(day,), level=level).at.iloc[0]
    if pd.isna(row["share"]):
        raise EvidenceError(
            f"Too few jobs are followed to day {day} to say how many failed by then. Ask for an "
            "earlier day."
        )
    share, low, high = (float(row[name]) for name in ("share", "low", "high"))
    return corrected(share, answers, back_low=low, back_high=high, level=level)


def failed_if_known(followup: Followup, answers: pd.DataFrame | None, day: int) -> Corrected | None:
    """Correct a share as :func:`failed_share`; None where too few were reached to say."""
    if answers is None:
        return None
    try:
        found = failed_share(followup, answers, day)
    except EvidenceError:
        return None
    return None if found.reached < FEW_ASKED else found


def read_answers(source: Path | IO[bytes]) -> pd.DataFrame:
    """Read the answers that owners gave: CSV in UTF-8, as the list drawn, answered.

    Parameters
    ----------
    source
        A file, or its content.

    Raises
    ------
    SourceError
        It can't be read as a table.
    """
    try:
        return pd.read_csv(source, dtype="string")
    except OSError as error:
        raise SourceError(f"The answers can't be read: {error.strerror}. Give the list.") from error
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise SourceError(
            f"The answers are no table in CSV ({error}). Give the list as it was written, answered."
        ) from error


def given_answers(answers: pd.DataFrame) -> pd.DataFrame:
    """Keep the answers that were given, checked: ``job_id`` and ``answer``.

    Raises
    ------
    RequestError
        A column is missing, an answer is not one of those, or a job was answered twice.
    """
    missing = [name for name in COLUMNS if name not in answers.columns]
    if missing:
        raise RequestError(
            f"The answers lack the column {', '.join(missing)}. They need {' and '.join(COLUMNS)}."
        )
    given = answers["answer"].astype("string").str.strip().replace("", pd.NA)
    answers, given = answers[given.notna()], given.dropna()
    wrong = sorted(set(given) - set(ANSWERS))
    if wrong:
        raise RequestError(
            f"'{wrong[0]}' is not an answer. Write one of: {', '.join(ANSWERS)}, or leave it empty."
        )
    twice = answers["job_id"][answers["job_id"].duplicated()]
    if len(twice):
        raise RequestError(f"Job {twice.iloc[0]} is answered twice. Keep one of the rows.")
    return pd.DataFrame({"job_id": answers["job_id"].astype(str), "answer": given.astype(str)})


def _counted(answers: pd.DataFrame) -> dict[str, int]:
    given = given_answers(answers)["answer"]
    return {answer: int((given == answer).sum()) for answer in ANSWERS}


def _wilson(count: int, of: int, level: float) -> tuple[float, float, float]:
    normal_quantile(level)
    interval = stats.binomtest(count, of).proportion_ci(level, method="wilson")
    return count / of, float(interval.low), float(interval.high)


def _log_ratio(upper: float, lower: float) -> float:
    return math.log(upper / lower) if lower > 0 else 0.0


def _notes(counts: dict[str, int], reached: int) -> list[Note]:
    notes = []
    asked = reached + counts[NOT_REACHED]
    if reached < FEW_ASKED:
        notes.append(
            Note("few_asked", f"Only {reached} owners were reached: the range says how little.")
        )
    if counts[NOT_REACHED] > MOST_UNREACHED_SHARE * asked:
        notes.append(
            Note(
                "many_unreached",
                f"{counts[NOT_REACHED]} of {asked} owners could not be reached; they may answer "
                "otherwise than those who were.",
            )
        )
    return notes
