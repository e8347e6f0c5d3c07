"""Cox regression on counted rows: coefficients, robust errors, tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from insights.errors import RequestError
from insights.survival.firth import penalised, profile_limits
from insights.survival.intervals import normal_quantile
from insights.survival.newton import Objective, climb
from insights.survival.partial import Evaluation, evaluate, score_residuals
from insights.survival.slots import Record, Ties, prepare


@dataclass(frozen=True)
class Shared:
    """Jobs that are not independent because one unit had several.

    Parameters
    ----------
    unit
        Whole number of the unit, shape (E,).
    cell
        The counted row a job is in, shape (E,).
    count
        How many of that row's jobs are meant, shape (E,).
    """

    unit: np.ndarray
    cell: np.ndarray
    count: np.ndarray


@dataclass(frozen=True)
class CoxFit:
    """Coefficients of a Cox model.

    Parameters
    ----------
    coef
        Log hazard ratios, shape (p,).
    se, robust_se
        Standard errors from the information, and clustered by unit, shape (p,).
    covariance, robust_covariance
        Their matrices, shape (p, p).
    low, high, p
        Limits of the log hazard ratios and the chance of so strong an effect if there is none:
        from the robust errors, or from the penalised profile likelihood.
    log_likelihood, log_likelihood_null
        At the coefficients and at none; both penalised where the fit is.
    score_statistic
        Chi-square of the score test of no effect, p degrees of freedom, not clustered.
    baseline_days, baseline_stratum, baseline_cumulative_hazard
        Cumulative hazard of a job whose covariates are all zero, on each event day, shape (J,).
    jobs, events
        How many.
    ties
        How tied events are handled.
    is_penalised
        Whether Firth's penalty was used.
    """

    coef: np.ndarray
    se: np.ndarray
    robust_se: np.ndarray
    covariance: np.ndarray
    robust_covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    p: np.ndarray
    log_likelihood: float
    log_likelihood_null: float
    score_statistic: float
    baseline_days: np.ndarray
    baseline_stratum: np.ndarray
    baseline_cumulative_hazard: np.ndarray
    jobs: int
    events: int
    ties: Ties
    is_penalised: bool

    @property
    def likelihood_ratio(self) -> float:
        """Twice the gain in log likelihood over no effect at all."""
        return 2 * (self.log_likelihood - self.log_likelihood_null)


def fit_cox(
    days: np.ndarray,
    event: np.ndarray,
    X: np.ndarray,
    *,
    count: np.ndarray | None = None,
    entry: np.ndarray | None = None,
    stratum: np.ndarray | None = None,
    cluster: np.ndarray | None = None,
    ties: Ties = "efron",
    firth: bool = False,
    level: float = 0.95,
) -> CoxFit:
    """Fit Cox's proportional hazards model to counted rows.

    Parameters
    ----------
    days, event
        Days at risk and whether an event ended them, shape (n,).
    X
        Covariates, shape (n, p).
    count
        Whole number of jobs each row stands for; 1 by default.
    entry
        Day after which each row came under observation; 0 by default.
    stratum
        Any labels; each stratum has its own baseline hazard.
    cluster
        Any labels of the unit a row's jobs belong to; by default every job is its own.
    ties
        ``efron`` (1977) or ``breslow`` (1974).
    firth
        Add Firth's penalty; limits and p-values then come from the profile likelihood.
    level
        Confidence, between 0 and 1.

    Returns
    -------
    CoxFit

    Raises
    ------
    RequestError
        Shapes or values that can't be used.
    EvidenceError
        No event, covariates that can't be told apart, or no finite estimate without a penalty.
    """
    record = prepare(
        days,
        event,
        X,
        count=count,
        entry=entry,
        stratum=None if stratum is None else np.unique(stratum, return_inverse=True)[1],
        ties=ties,
    )
    if cluster is None:
        shared = Shared(*(np.empty(0, dtype=np.int64) for _ in range(3)))
    else:
        if len(cluster) != len(record.row):
            raise RequestError(f"cluster has {len(cluster)} values for {len(record.row)} rows.")
        unit = np.unique(cluster, return_inverse=True)[1]
        shared = Shared(unit, np.arange(len(unit)), record.count)
    return fit_record(record, shared, ties=ties, firth=firth, level=level)


def fit_record(record: Record, shared: Shared, *, ties: Ties, firth: bool, level: float) -> CoxFit:
    """Fit the model to rows already lined up (see :func:`fit_cox`)."""
    quantile = normal_quantile(level)
    objective = penalised(record) if firth else _plain(record)
    nothing = np.zeros(record.X.shape[1])
    beta = climb(objective, nothing)
    at = evaluate(record, beta)
    covariance = np.linalg.inv(at.information)
    robust = covariance @ meat(at, shared) @ covariance
    se, robust_se = np.sqrt(np.diag(covariance)), np.sqrt(np.diag(robust))
    if firth:
        low, high, p = profile_limits(record, beta, level)
    else:
        low, high = beta - quantile * robust_se, beta + quantile * robust_se
        p = 2 * stats.norm.sf(np.abs(beta) / robust_se)
    null = evaluate(record, nothing)
    hazard = at.power[0, 1] * np.exp(-at.factor - record.mean @ beta)
    strata = np.repeat(np.arange(len(record.edges) - 1), np.diff(record.edges))
    return CoxFit(
        coef=beta,
        se=se,
        robust_se=robust_se,
        covariance=covariance,
        robust_covariance=robust,
        low=low,
        high=high,
        p=p,
        log_likelihood=objective(beta)[0],
        log_likelihood_null=objective(nothing)[0],
        score_statistic=float(null.score @ np.linalg.solve(null.information, null.score)),
        baseline_days=record.slot_days,
        baseline_stratum=strata,
        baseline_cumulative_hazard=record.by_stratum(hazard),
        jobs=int(record.count.sum()),
        events=int(record.deaths.sum()),
        ties=ties,
        is_penalised=firth,
    )


def meat(at: Evaluation, shared: Shared) -> np.ndarray:
    """Add up the squared scores of units, shape (p, p).

    Jobs of a unit seen once add their own square; those of a unit seen several times are
    summed first (Lin and Wei 1989; Lee, Wei and Amato 1992 for clusters).
    """
    residual = score_residuals(at)
    often = np.bincount(shared.cell, weights=shared.count, minlength=len(residual))
    alone = (at.record.count - often)[:, None]
    total = (residual * alone).T @ residual
    if len(shared.unit):
        mine = residual[shared.cell] * shared.count[:, None]
        by_unit = np.column_stack([np.bincount(shared.unit, weights=column) for column in mine.T])
        total += by_unit.T @ by_unit
    return total


def _plain(record: Record) -> Objective:
    def objective(beta: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        at = evaluate(record, beta)
        return at.log_likelihood, at.score, at.information

    return objective
