"""Estimates and draws read as differences, ratios and jobs per comeback."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.evidence.compared import AGAINST, LEVEL, Compared
from insights.evidence.estimators import (
    MODEL,
    OVERLAP,
    PLAIN,
    RETURNS_FOR,
    ROBUST,
    WEIGHTED,
    Answer,
    Estimators,
)
from insights.evidence.result import Estimate, JobsPerComeback, RiskDifference
from insights.survival.intervals import share_bounds

ALL = "all comebacks"
MATERIAL = 0.25
"""Estimators that differ by less than this share of the larger difference agree well enough."""
FAR_APART = 2.576
"""Standard errors beyond which estimators disagree (99%): on seeded shops, draws understate the
spread of weighted jobs by up to a fifth, as a few comebacks carry large weights.
"""
NAN = float("nan")
NONE = RiskDifference(NAN, NAN, NAN, NAN, NAN)


@dataclass(frozen=True)
class Reading:
    """Everything that comes from the estimators and their draws.

    Parameters
    ----------
    crude, adjusted
        Plain, and on like-for-like jobs.
    control
        Adjusted, of the causes that can't be touched; NaN where none were named.
    ratio, days_gained, jobs_per_comeback, table, causes, draws, confidence
        As in :class:`insights.evidence.result.PracticeEvidence`.
    plain_difference, plain_less_untouched
        Plain difference, and less the plain difference in the untouched causes.
    disagree
        Whether two ways of adjusting for the same population differ by more than chance.
    """

    crude: RiskDifference
    adjusted: RiskDifference
    control: RiskDifference
    ratio: Estimate
    days_gained: Estimate
    jobs_per_comeback: JobsPerComeback
    table: pd.DataFrame
    causes: pd.DataFrame
    draws: np.ndarray
    plain_difference: Estimate
    plain_less_untouched: Estimate
    disagree: bool
    confidence: float


@dataclass(frozen=True)
class _Reader:
    """The record's answer beside its draws."""

    cells: Compared
    record: Answer
    drawn: Answer
    confidence: float

    def limits(self, draws: np.ndarray) -> tuple[float, float]:
        tails = (1 - self.confidence) / 2, (1 + self.confidence) / 2
        # Of B draws the i-th has i / (B + 1) below it (Davison and Hinkley 1997, section 5.2.1).
        low, high = np.quantile(draws, tails, method="weibull")
        return float(low), float(high)

    def risks(self, name: str, parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Risks by arm of some parts together: of the record (2,), and of its draws (2, B)."""
        record, drawn = self.record.risks[name], self.drawn.risks[name]
        if name == ROBUST:
            return record[0, :, 0], drawn[0]
        return record[parts].sum(axis=0)[:, 0], drawn[parts].sum(axis=0)

    def difference(self, name: str, parts: np.ndarray) -> RiskDifference:
        record, drawn = self.risks(name, parts)
        limits = self.limits(drawn[LEVEL] - drawn[AGAINST])
        return _difference(record, limits)

    def crude(self) -> RiskDifference:
        """Bound the plain difference by each arm's own bounds, which hold where nobody came back.

        The hybrid interval of Newcombe (1998, Statistics in Medicine 17:873-890, method 10) with
        the bounds of :func:`insights.survival.intervals.share_bounds`.
        """
        cells = self.cells
        record, drawn = self.risks(PLAIN, cells.parts.is_target)
        followed = cells.cell_day >= cells.day
        at_risk = np.bincount(cells.cell_arm[followed], cells.cell_jobs[followed], minlength=2)
        low, high = share_bounds(record, drawn.var(axis=1), at_risk, cells.returns, self.confidence)
        below = np.hypot(record[LEVEL] - low[LEVEL], high[AGAINST] - record[AGAINST])
        above = np.hypot(high[LEVEL] - record[LEVEL], record[AGAINST] - low[AGAINST])
        difference = record[LEVEL] - record[AGAINST]
        return _difference(record, (difference - below, difference + above))

    def estimate(self, record: float | np.ndarray, draws: np.ndarray) -> Estimate:
        return Estimate(float(record), *self.limits(draws))


def read(estimators: Estimators, replicates: int, seed: int, confidence: float) -> Reading:
    """Run the estimators on the record and on its draws, and read them.

    Parameters
    ----------
    estimators
        Of one comparison.
    replicates, seed
        How many draws, and of which stream.
    confidence
        Of the intervals.
    """
    cells = estimators.cells
    reader = _Reader(cells, estimators.record, estimators.drawn(replicates, seed), confidence)
    target, control = cells.parts.is_target, cells.parts.is_control
    adjusted = reader.difference(MODEL, target)
    record, drawn = reader.risks(MODEL, target)
    plain_record, plain_drawn = reader.risks(PLAIN, target)
    untouched = reader.risks(PLAIN, control)
    lost_record, lost_drawn = reader.record.days_lost[:, 0], reader.drawn.days_lost
    return Reading(
        crude=reader.crude(),
        adjusted=adjusted,
        control=reader.difference(MODEL, control) if control.any() else NONE,
        ratio=reader.estimate(record[LEVEL] / record[AGAINST], drawn[LEVEL] / drawn[AGAINST]),
        days_gained=reader.estimate(
            lost_record[AGAINST] - lost_record[LEVEL], lost_drawn[AGAINST] - lost_drawn[LEVEL]
        ),
        jobs_per_comeback=per_comeback(adjusted),
        table=_side_by_side(reader, estimators),
        causes=_by_cause(reader),
        draws=drawn[LEVEL] - drawn[AGAINST],
        plain_difference=reader.estimate(_gap(plain_record), _gap(plain_drawn)),
        plain_less_untouched=reader.estimate(
            _gap(plain_record) - _gap(untouched[0]), _gap(plain_drawn) - _gap(untouched[1])
        )
        if control.any()
        else Estimate(NAN, NAN, NAN),
        disagree=_disagree(reader),
        confidence=confidence,
    )


def per_comeback(difference: RiskDifference) -> JobsPerComeback:
    """Turn a difference of risks into jobs per comeback avoided.

    Where the interval spans zero, the jobs per comeback run through infinity, so no interval
    is given (Altman 1998, BMJ 317:1309-1312): only what either end would mean.
    """
    low, high = difference.low, difference.high
    ends = (-1 / low if low < 0 else NAN, 1 / high if high > 0 else NAN)
    if not low * high > 0:
        return JobsPerComeback(NAN, NAN, NAN, *ends)
    near, far = sorted((-1 / low, -1 / high))
    return JobsPerComeback(-1 / difference.difference, near, far, *ends)


def _side_by_side(reader: _Reader, estimators: Estimators) -> pd.DataFrame:
    target = reader.cells.parts.is_target
    returns = int(reader.cells.returns.sum())
    rows = []
    for name, needed in RETURNS_FOR.items():
        found, why_not = NONE, ""
        if name not in reader.record.risks:
            why_not = f"needs {needed} comebacks; there are {returns}"
        else:
            found = reader.crude() if name == PLAIN else reader.difference(name, target)
            why_not = "" if np.isfinite(found.difference) else "no like jobs were done both ways"
        population = {PLAIN: "as done", OVERLAP: "comparable"}.get(name, estimators.population)
        rows.append(
            {"estimator": name, "population": population, **vars(found), "why_not": why_not}
        )
    return pd.DataFrame(rows)


def _by_cause(reader: _Reader) -> pd.DataFrame:
    names = reader.cells.parts.names
    rows = []
    for place, name in enumerate((*names, ALL)):
        chosen = np.arange(len(names)) == place if place < len(names) else np.ones(len(names), bool)
        rows.append({"part": name, **vars(reader.difference(MODEL, chosen))})
    return pd.DataFrame(rows)


def _disagree(reader: _Reader) -> bool:
    """Tell whether another estimator for the same population differs by more than chance.

    It must also matter: by a quarter of the larger difference, and with one of the two telling a
    difference from zero.
    """
    target = reader.cells.parts.is_target
    own, drawn = reader.difference(MODEL, target), reader.risks(MODEL, target)[1]
    for name in (WEIGHTED, ROBUST):
        if name not in reader.record.risks:
            continue
        other, other_drawn = reader.difference(name, target), reader.risks(name, target)[1]
        apart = abs(other.difference - own.difference)
        material = apart > MATERIAL * max(abs(other.difference), abs(own.difference))
        tells = not (own.low <= 0 <= own.high and other.low <= 0 <= other.high)
        spread = float((_gap(other_drawn) - _gap(drawn)).std())
        if material and tells and apart > FAR_APART * spread:
            return True
    return False


def _difference(risks: np.ndarray, limits: tuple[float, float]) -> RiskDifference:
    level, against = float(risks[LEVEL]), float(risks[AGAINST])
    return RiskDifference(level, against, level - against, float(limits[0]), float(limits[1]))


def _gap(risks: np.ndarray) -> np.ndarray:
    return risks[LEVEL] - risks[AGAINST]
