"""One of a pair failed: whether its partner comes back, left in or renewed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup, select
from insights.notes import Note
from insights.survival.causes import CauseCurves, cause_curves
from insights.survival.intervals import exact_bounds

PREFIX = "practice_"
TOTAL = "(all causes)"
Verdict = Literal["fewer", "more", "too_few_to_call", "not_followed"]
METHOD = (
    "Plain shares back by the day, Aalen-Johansen by root cause, among jobs on which one of the "
    "pair had failed; exact-type bounds where returns are few. Difference by the two bounds "
    "(Zou and Donner 2008, Statistics in Medicine 27:1693-1702)."
)


@dataclass(frozen=True)
class PairEvidence:
    """What became of the partner part.

    Parameters
    ----------
    table
        Two rows per way of working, the partner's cause and ``(all causes)``: ``level``,
        ``cause``, ``jobs``, ``returns`` (by the day), ``share``, ``low``, ``high``.
    difference, low, high
        Share back for the partner, renewed less left in, and its interval.
    verdict
        ``fewer`` or ``more`` for the partner when renewed, where the interval excludes zero;
        ``too_few_to_call``; ``not_followed`` where the day is past the follow-up.
    practice, left, renewed, failed, cause, day
        The question asked.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    difference: float
    low: float
    high: float
    verdict: Verdict
    practice: str
    left: str
    renewed: str
    failed: str
    cause: str
    day: float
    method: str
    notes: tuple[Note, ...]


def pair_comebacks(
    followup: Followup,
    practice: str,
    *,
    left: str,
    renewed: str,
    failed: str,
    cause: str | None = None,
    day: float = 180,
    level: float = 0.95,
) -> PairEvidence:
    """Compare partner left in with partner renewed, among jobs where one of the pair failed.

    Parameters
    ----------
    followup
        The episodes.
    practice
        Name of the practice that says what was done with the pair.
    left, renewed
        Its two levels.
    failed
        Root cause of the job that says that one of the pair had failed; jobs with another
        root cause say nothing about a partner and are left out.
    cause
        Root cause of a comeback that says that the partner failed; the same by default.
    day
        Share back by this day.
    level
        Confidence, between 0 and 1.

    Returns
    -------
    PairEvidence

    Raises
    ------
    RequestError
        An unknown practice, level or cause, or no job of one of the levels.
    """
    column = practice if practice.startswith(PREFIX) else PREFIX + practice
    known = followup.history.practices
    if column.removeprefix(PREFIX) not in known:
        raise RequestError(
            f"No practice '{practice}' is recorded. Recorded: {', '.join(known) or 'none'}."
        )
    if left == renewed:
        raise RequestError(f"'{left}' is compared with itself. Give two different levels.")
    chosen = select(followup, where={"root_cause": (failed,), column: (left, renewed)})
    counted = chosen.values(column).value_counts()
    for wanted in (left, renewed):
        if not counted.get(wanted, 0):
            raise RequestError(
                f"No job on which {failed} failed has {column} = {wanted}, so there is nothing to "
                "compare."
            )
    partner = cause or failed
    codes = [str(code) for code in followup.history.jobs["root_cause"].cat.categories]
    if partner not in codes:
        raise RequestError(f"No job has root cause '{partner}'. Recorded: {', '.join(codes[:20])}.")
    curves = cause_curves(chosen, by=column, at=(day,), level=level)
    table = pd.DataFrame(
        [
            _row(curves, group, name, day, int(counted[group]), level)
            for group in (left, renewed)
            for name in (partner, TOTAL)
        ]
    )
    shares = table[table["cause"] == partner].set_index("level")
    difference, low, high = _difference(shares.loc[renewed], shares.loc[left])
    return PairEvidence(
        table=table,
        difference=difference,
        low=low,
        high=high,
        verdict=_verdict(low, high),
        practice=column.removeprefix(PREFIX),
        left=left,
        renewed=renewed,
        failed=failed,
        cause=partner,
        day=float(day),
        method=METHOD,
        notes=(
            *curves.notes,
            Note(
                "plain_comparison",
                "The plain record: who got which treatment was the bench's choice, so units may "
                "differ. The like-for-like comparison says what renewing changes.",
            ),
        ),
    )


def _row(
    curves: CauseCurves, group: str, cause: str, day: float, jobs: int, level: float
) -> dict[str, object]:
    source = curves.total if cause == TOTAL else curves
    at, steps = source.at, source.table
    at, steps = at[at["group"] == group], steps[steps["group"] == group]
    if cause != TOTAL:
        at, steps = at[at["cause"] == cause], steps[steps["cause"] == cause]
    returns = int(steps.loc[steps["day"] <= day, "returns"].sum())
    row: dict[str, object] = {"level": group, "cause": cause, "jobs": jobs, "returns": returns}
    if at.empty:
        # No comeback of any job had this cause, so there is no curve of it: 0 of those at risk.
        stated = curves.total.at[curves.total.at["group"] == group].iloc[0]
        low, high = exact_bounds(np.zeros(1), np.array([float(stated["at_risk"])]), level)
        followed = 1.0 if np.isfinite(stated["share"]) else np.nan
        return {
            **row,
            "share": 0.0 * followed,
            "low": low[0] * followed,
            "high": high[0] * followed,
        }
    stated = at.iloc[0]
    return {**row, "share": stated["share"], "low": stated["low"], "high": stated["high"]}


def _difference(renewed: pd.Series, left: pd.Series) -> tuple[float, float, float]:
    difference = renewed["share"] - left["share"]
    down = np.hypot(renewed["share"] - renewed["low"], left["high"] - left["share"])
    up = np.hypot(renewed["high"] - renewed["share"], left["share"] - left["low"])
    return float(difference), float(difference - down), float(difference + up)


def _verdict(low: float, high: float) -> Verdict:
    if np.isnan(low):
        return "not_followed"
    if high < 0:
        return "fewer"
    return "more" if low > 0 else "too_few_to_call"
