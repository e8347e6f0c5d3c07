"""Discounts and loadings: how much more or less a kind of job claims, like for like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup, select
from insights.money.claims import Claims, check_terms, claims_curve, share_draws
from insights.notes import Note

METHOD = (
    "Share with a claim of each level, standardised to the record's mix of the other column, over "
    "the same standardised share of all jobs; interval from draws of both."
)


@dataclass(frozen=True)
class Loadings:
    """How claims of each level compare with those of all jobs.

    Parameters
    ----------
    table
        One row a level: ``level``, ``jobs``, ``claims``, ``claims_per_100`` (standardised),
        ``factor`` (over that of all jobs), ``low``, ``high``, ``change_per_job`` (what its
        price must change by; missing without a cost), ``clear`` (whether the interval leaves out
        1), ``why_not`` (why nothing is stated).
    by, like_for_like, term_days, level
        The columns, the term and the confidence.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    by: str
    like_for_like: str
    term_days: int
    level: float
    method: str
    notes: tuple[Note, ...]


def loadings(
    followup: Followup,
    by: str,
    term_days: int = 180,
    *,
    like_for_like: str = "model",
    claim_cost: float | None = None,
    level: float = 0.95,
    seed: int = 0,
) -> Loadings:
    """Compare the claims of jobs of each kind, like for like.

    Parameters
    ----------
    followup
        The hand-backs.
    by
        Column whose levels are to be priced apart (a practice, ``age_band``, ...).
    term_days
        Up to which day.
    like_for_like
        Column whose mix is held equal between the levels.
    claim_cost
        Cost of a claim; None: mean of the recorded ones.
    level
        Confidence of the intervals.
    seed
        Of the draws.

    Returns
    -------
    Loadings

    Raises
    ------
    RequestError
        A column, term, cost or level that can't be used.

    Notes
    -----
    A level that lacks one of the other column's values is compared where it has them: both it and
    all jobs are standardised to that part of the mix.
    """
    (day,) = check_terms([term_days])
    if by == like_for_like:
        raise RequestError(
            f"'{by}' can't be compared like for like with itself. Name another column."
        )
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.9.")
    if claim_cost is not None and not (np.isfinite(claim_cost) and claim_cost >= 0):
        raise RequestError(f"claim_cost is {claim_cost}. Give an amount of zero or more.")
    everyone = claims_curve(followup)
    cost = everyone.bills.mean if claim_cost is None else float(claim_cost)
    mix = followup.values(like_for_like).value_counts()
    rows = []
    for name in followup.values(by).cat.categories:
        mine = select(followup, where={by: (name,)})
        shared = [one for one in mine.values(like_for_like).cat.categories if mix[one] > 0]
        wanted = {one: float(mix[one]) for one in shared}
        theirs, all_alike = (
            claims_curve(one, by=like_for_like, mix=wanted, arrival_days=everyone.arrival_days)
            for one in (mine, followup)
        )
        rows.append(
            {"level": str(name), **_compare(theirs, all_alike, float(day), cost, level, seed)}
        )
    return Loadings(
        table=pd.DataFrame(rows),
        by=by,
        like_for_like=like_for_like,
        term_days=int(day),
        level=level,
        method=METHOD,
        notes=(*everyone.notes, _caution(by, like_for_like), *_by_chance(len(rows), level)),
    )


def _compare(
    mine: Claims, everyone: Claims, day: float, cost: float, level: float, seed: int
) -> dict[str, object]:
    why_not = mine.why_not(day) or everyone.why_not(day)
    share, base = float(mine.share([day])[0]), float(everyone.share([day])[0])
    # All jobs include these ones, but far more others; their draws are taken as apart.
    own, common = (
        share_draws(claims, [day], seed=seed + shift)[:, 0]
        for shift, claims in enumerate((mine, everyone))
    )
    stated = not why_not and base > 0
    low, high = (
        np.quantile(own / common, [(1 - level) / 2, (1 + level) / 2]) if stated else (np.nan,) * 2
    )
    return {
        "jobs": mine.jobs,
        "claims": mine.claims,
        "claims_per_100": 100 * share,
        "factor": share / base if stated else np.nan,
        "low": low,
        "high": high,
        "change_per_job": (share - base) * cost if stated else np.nan,
        "clear": bool(stated and not low <= 1 <= high),
        "why_not": why_not if why_not or stated else "No claim was ever seen by that day.",
    }


def _caution(by: str, like_for_like: str) -> Note:
    return Note(
        "plain_comparison",
        f"Jobs are alike in {like_for_like} only. Levels of {by} may differ in more than that, so "
        "a factor says what to expect of such jobs, not what would change if others were done so.",
    )


def _by_chance(levels: int, level: float) -> tuple[Note, ...]:
    if levels < 2:
        return ()
    return (
        Note(
            "several_levels",
            f"Each range is {level:.0%} likely to hold, so of {levels} compared about "
            f"{levels * (1 - level):.1f} would stand out by chance alone.",
        ),
    )
