"""Does a hazard ratio hold over the whole follow-up? The proportional-hazards score test."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from insights.survival.logrank import GroupTest
from insights.survival.partial import evaluate
from insights.survival.slots import Record

NAME = "proportional-hazards score test"


def proportional_hazards_tests(
    record: Record, beta: np.ndarray, terms: Sequence[np.ndarray]
) -> tuple[GroupTest, ...]:
    """Test whether coefficients change with time.

    Parameters
    ----------
    record
        The counted rows.
    beta
        Coefficients of the fit, shape (p,).
    terms
        For each test, the places in ``beta`` it is about.

    Returns
    -------
    tuple of GroupTest
        One per term, in their order.

    Notes
    -----
    The score test for adding ``x * g(t)`` to the model, ``g`` being one less the Kaplan-Meier
    share just before ``t`` (Grambsch and Therneau 1994, Biometrika 81:515-526, with the exact
    information matrix instead of an average one). It is not clustered by unit.
    """
    at = evaluate(record, beta)
    g = _share_gone_before(record, record.slot_days)
    parts = at.slot_information
    p = len(beta)
    score = np.concatenate([at.score, g @ at.slot_scores])
    crossed = np.einsum("j,jab->ab", g, parts)
    late = np.einsum("j,jab->ab", g**2, parts)
    information = np.block([[at.information, crossed], [crossed, late]])
    base = float(at.score @ np.linalg.solve(at.information, at.score))
    tests = []
    for term in terms:
        keep = np.concatenate([np.arange(p), p + np.asarray(term)])
        u = score[keep]
        solved = np.linalg.lstsq(information[np.ix_(keep, keep)], u, rcond=None)[0]
        statistic = max(float(u @ solved) - base, 0.0)
        tests.append(
            GroupTest(NAME, statistic, len(term), float(stats.chi2.sf(statistic, len(term))))
        )
    return tuple(tests)


def _share_gone_before(record: Record, days: np.ndarray) -> np.ndarray:
    """Give one less the Kaplan-Meier share, all strata together, just before each day."""
    event_days = np.unique(days)
    deaths = np.bincount(
        np.searchsorted(event_days, record.slot_days),
        weights=record.deaths,
        minlength=len(event_days),
    )
    # At risk on a day: entered before it, not stopped before it.
    at_risk = _count_below(record.entry, record.count, event_days) - _count_below(
        record.days, record.count, event_days
    )
    survival = np.concatenate([[1.0], np.cumprod(1 - deaths / at_risk)[:-1]])
    return 1 - survival[np.searchsorted(event_days, days)]


def _count_below(values: np.ndarray, count: np.ndarray, days: np.ndarray) -> np.ndarray:
    order = np.argsort(values)
    total = np.append(0.0, count[order].cumsum())
    return total[np.searchsorted(values[order], days, side="left")]
