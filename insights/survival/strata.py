"""A life table taken apart by pattern, each part ready for the estimators."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from insights.survival.incidence import (
    Incidence,
    Kinds,
    Spans,
    Timeline,
    accumulate,
    area_variance,
    variance,
)
from insights.survival.lifetable import CENSORED, LifeTable, RiskSets, risk_sets, several


@dataclass(frozen=True)
class Stratum:
    """The hand-backs of one pattern.

    Parameters
    ----------
    label
        The pattern in words.
    risk
        Its daily counts.
    spans
        The same hand-backs as stretches at risk, by unit, with the outcome codes of the life
        table.
    units
        How many units.
    """

    label: str
    risk: RiskSets
    spans: Spans
    units: int

    @cached_property
    def timeline(self) -> Timeline:
        """Ends of all stretches, lined up by unit."""
        return self.spans.timeline(len(self.risk.days))

    @property
    def exits(self) -> np.ndarray:
        """Counted comebacks and units that left service, on each day."""
        return self.risk.returns + self.risk.ended

    @property
    def jobs(self) -> int:
        """How many hand-backs."""
        return int(self.risk.outcomes.sum())


def strata(table: LifeTable) -> Iterator[Stratum]:
    """Go through the patterns of a life table, in its order."""
    unit, cell = (table.repeats[name].to_numpy() for name in ("unit", "cell"))
    pattern, end, outcome, jobs = (
        table.cells[name].to_numpy() for name in ("pattern", "days", "outcome", "jobs")
    )
    order = np.argsort(pattern[cell], kind="stable")
    unit, cell = unit[order], cell[order]
    edges = np.searchsorted(pattern[cell], np.arange(len(table.patterns) + 1))
    for code, label in enumerate(table.labels):
        risk = risk_sets(table, code)
        mine = slice(edges[code], edges[code + 1])
        often = several(unit[mine])
        repeated = cell[mine][often]
        counted = np.flatnonzero(pattern == code)
        alike = jobs[counted] - np.bincount(repeated, minlength=len(jobs))[counted]
        cells = np.append(repeated, counted)
        units = unit[mine][often]
        spans = Spans(
            unit=np.append(units, np.arange(len(counted)) + units.max(initial=-1) + 1),
            start=np.full(len(cells), -1),
            end=np.searchsorted(risk.days, end[cells]),
            outcome=outcome[cells],
            jobs=np.append(np.ones(len(repeated)), alike),
            outcomes=risk.outcomes.shape[1],
        )
        yield Stratum(label, risk, spans, int(table.units[code]))


@dataclass(frozen=True)
class Estimate:
    """The share of one stratum that ended in certain ways, by day.

    Parameters
    ----------
    stratum
        The hand-backs.
    curve
        The share, with every other end but censoring competing.
    kinds
        What the outcome codes mean for it.
    """

    stratum: Stratum
    curve: Incidence
    kinds: Kinds

    @cached_property
    def variance(self) -> np.ndarray:
        """Variance of the share on each day (:func:`insights.survival.incidence.variance`)."""
        return variance(self.curve, self.stratum.timeline, self.kinds)

    def area_variance(self, until: float) -> float:
        """Variance of the area under the share up to day ``until``."""
        return area_variance(self.curve, self.stratum.timeline, self.kinds, until)


def estimate(stratum: Stratum, first: int, last: int) -> Estimate:
    """Estimate the share that ended with an outcome code from ``first`` to ``last``."""
    risk = stratum.risk
    events = risk.outcomes[:, first : last + 1].sum(axis=1)
    curve = accumulate(risk.days, risk.at_risk, events, stratum.exits)
    code = np.arange(risk.outcomes.shape[1])
    return Estimate(stratum, curve, Kinds((code >= first) & (code <= last), code > CENSORED))


def all_returns(stratum: Stratum) -> Estimate:
    """Estimate the share that came back, for whatever cause."""
    return estimate(stratum, 1, stratum.risk.cause_count)


def left_service(stratum: Stratum) -> Estimate:
    """Estimate the share that left service without coming back."""
    return estimate(stratum, 1 + stratum.risk.cause_count, stratum.risk.outcomes.shape[1] - 1)
