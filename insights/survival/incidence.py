"""The one estimator behind every curve, with its variance clustered by unit.

A cumulative incidence adds, day by day, the chance of still being in play times the day's
events per unit at risk. What ends play decides what it is: with every comeback and every
leaving of service it is Aalen and Johansen's estimator (one minus Kaplan and Meier's where
nothing competes); with leaving service only, and events that can repeat, it is the mean
cumulative function of Ghosh and Lin (Nelson's where no unit left service).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Incidence:
    """A cumulative incidence on each day on which something happened.

    Parameters
    ----------
    days
        Rising, shape (D,).
    at_risk
        How many were at risk on that day, shape (D,).
    events
        Events counted on that day, shape (D,).
    exits
        How many were out of play after that day (by the event or otherwise, not by
        censoring), shape (D,).
    in_play
        Probability of still being in play just before that day, shape (D,).
    share
        The cumulative incidence up to and including that day, shape (D,).
    """

    days: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    exits: np.ndarray
    in_play: np.ndarray
    share: np.ndarray

    def place(self, day: float | np.ndarray) -> np.ndarray:
        """Find the last day of ``days`` at or before ``day``, as a place; -1 before them all."""
        return np.asarray(np.searchsorted(self.days, day, side="right")) - 1

    def area(self, until: float) -> float:
        """Integrate the curve from day 0 to ``until``."""
        return float(_area_at(self.days, self.share, np.array([until]))[0])


@dataclass(frozen=True)
class Spans:
    """Stretches at risk, each from just after one day to the end of another.

    Parameters
    ----------
    unit
        The unit of each stretch, a whole number, shape (E,). A unit's stretches don't overlap.
    start, end
        Places in the curve's ``days`` of the entry (-1: from the outset) and the end, shape (E,).
    jobs
        How many stretches are alike, shape (E,). All stretches of one unit carry the same
        number; 1 unless the unit has this stretch only.
    """

    unit: np.ndarray
    start: np.ndarray
    end: np.ndarray
    jobs: np.ndarray

    def timeline(self) -> Timeline:
        """Line up entries and ends by unit and day; worth doing once for several curves."""
        unit = np.concatenate([self.unit, self.unit])
        place = np.concatenate([self.start, self.end])
        order = np.lexsort((place, unit))
        unit = unit[order]
        first = np.flatnonzero(np.append(True, unit[1:] != unit[:-1])) if len(unit) else unit
        sizes = np.diff(np.append(first, len(unit)))
        jobs = np.concatenate([self.jobs, self.jobs])[order]
        return Timeline(order, place[order], first, sizes, jobs)


@dataclass(frozen=True)
class Timeline:
    """Entries and ends of stretches in order of unit and day.

    Parameters
    ----------
    order
        Which entry (below E) or end (E and above) each one is, shape (2E,).
    place, jobs
        Its place in the curve's days, and how many stretches are alike, shape (2E,).
    first, sizes
        Where each unit begins, and how many it has, shape (units,).
    """

    order: np.ndarray
    place: np.ndarray
    first: np.ndarray
    sizes: np.ndarray
    jobs: np.ndarray

    def running(self, values: np.ndarray) -> np.ndarray:
        """Add up within each unit."""
        total = np.cumsum(values)
        return total - np.repeat((total - values)[self.first], self.sizes)

    def by_unit(self, values: np.ndarray) -> np.ndarray:
        """Sum within each unit, shape (units,)."""
        return np.add.reduceat(values, self.first)


def accumulate(
    days: np.ndarray, at_risk: np.ndarray, events: np.ndarray, exits: np.ndarray
) -> Incidence:
    """Estimate a cumulative incidence from daily counts.

    Parameters
    ----------
    days, at_risk, events, exits
        As in :class:`Incidence`. ``exits`` includes the events where an event ends play.

    Returns
    -------
    Incidence
    """
    staying = np.cumprod(np.where(at_risk > 0, (at_risk - exits) * _inverse(at_risk), 1.0))
    in_play = np.append(1.0, staying[:-1])
    share = np.cumsum(in_play * events * _inverse(at_risk))
    return Incidence(days, at_risk, events, exits, in_play, share)


def variance(
    curve: Incidence, timeline: Timeline, event: np.ndarray, leaves: np.ndarray
) -> np.ndarray:
    """Estimate the variance of a cumulative incidence on each of its days.

    Parameters
    ----------
    curve
        The curve.
    timeline
        :meth:`Spans.timeline` of the stretches behind it.
    event, leaves
        Whether each stretch ended with a counted event, and whether it went out of play then,
        shape (E,), in the order of the spans.

    Returns
    -------
    numpy.ndarray
        Shape (D,).

    Notes
    -----
    The infinitesimal jackknife: the influence of every unit (the sum over its stretches) on
    the curve, squared and added up. Where each unit has one stretch it equals the
    delta-method variance with multinomial daily counts (Dinse and Larson 1986, Biometrika
    73:379-386), and so Greenwood's formula for one minus Kaplan-Meier; for events that repeat
    it is the robust variance of Lawless and Nadeau (1995, Technometrics 37:158-168).

    The influence of one unit at day t is ``constant + slope * share(t) + open * rest(t)``, and
    the three change only where one of its stretches begins or ends. So the sum of squares over
    all units, on all days, comes from adding up changes once: no unit-by-day table is built.
    """
    constant, slope, still = _changes(curve, timeline, event, leaves)
    a, b, c = (timeline.running(values) for values in (constant, slope, still))

    def summed(x: np.ndarray, dx: np.ndarray, y: np.ndarray, dy: np.ndarray) -> np.ndarray:
        change = timeline.jobs * (x * dy + y * dx - dx * dy)
        by_day = np.bincount(timeline.place + 1, weights=change, minlength=len(curve.days) + 1)
        return np.cumsum(by_day)[1:]

    share, rest = curve.share, _rest(curve)
    total = (
        summed(a, constant, a, constant)
        + 2 * share * summed(a, constant, b, slope)
        + share**2 * summed(b, slope, b, slope)
        + 2 * rest * summed(c, still, a, constant)
        + 2 * rest * share * summed(c, still, b, slope)
        + rest**2 * summed(c, still, c, still)
    )
    return np.maximum(total, 0.0)


def area_variance(
    curve: Incidence,
    timeline: Timeline,
    event: np.ndarray,
    leaves: np.ndarray,
    until: float,
) -> float:
    """Estimate the variance of the curve's area from day 0 to ``until``.

    The same influence as in :func:`variance`, integrated over time. The restricted mean time
    is ``until`` less the area, so this is its variance too; with single stretches and nothing
    competing it is the usual sum of squared areas (Klein and Moeschberger 2003, section 4.5).
    """
    constant, slope, still = _changes(curve, timeline, event, leaves)
    day = np.minimum(np.append(0.0, curve.days)[timeline.place + 1], until)

    def remaining(height: np.ndarray) -> np.ndarray:
        area = _area_at(curve.days, height, np.append(until, day))
        return area[0] - area[1:]

    by_change = constant * (until - day)
    by_change += slope * remaining(curve.share) + still * remaining(_rest(curve))
    jobs = timeline.jobs[timeline.first]
    return float((jobs * timeline.by_unit(by_change) ** 2).sum())


def _changes(
    curve: Incidence, timeline: Timeline, event: np.ndarray, leaves: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """How entry and end of each stretch change a unit's influence, along the timeline."""
    risen, lapsed, lapsed_share = (np.append(0.0, term) for term in _terms(curve))
    stretches = len(event)
    entering = timeline.order < stretches
    stretch = timeline.order % max(stretches, 1)
    place = timeline.place + 1
    sign = np.where(entering, 1.0, -1.0)
    happened = ~entering & event[stretch]
    left = ~entering & leaves[stretch]
    per_unit = np.append(0.0, _inverse(curve.at_risk))[place]
    lapse = np.append(0.0, _lapse(curve))[place] * per_unit
    constant = sign * (risen + lapsed_share)[place]
    constant += happened * np.append(0.0, curve.in_play)[place] * per_unit
    constant += left * np.append(0.0, curve.share)[place] * lapse
    slope = -sign * lapsed[place] - left * lapse
    return constant, slope, sign


def _terms(curve: Incidence) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    inverse = _inverse(curve.at_risk)
    lapse = _lapse(curve) * curve.exits * inverse**2
    risen = np.cumsum(curve.in_play * curve.events * inverse**2)
    return risen, np.cumsum(lapse), np.cumsum(lapse * curve.share)


def _rest(curve: Incidence) -> np.ndarray:
    """Influence of a unit at risk throughout without anything happening."""
    risen, lapsed, lapsed_share = _terms(curve)
    return curve.share * lapsed - risen - lapsed_share


def _inverse(count: np.ndarray) -> np.ndarray:
    return np.divide(1.0, count, out=np.zeros(len(count)), where=count > 0)


def _lapse(curve: Incidence) -> np.ndarray:
    """One over the chance of staying in play through the day; 0 where nobody did."""
    staying = curve.at_risk - curve.exits
    return curve.at_risk * _inverse(staying)


def _area_at(days: np.ndarray, height: np.ndarray, until: np.ndarray) -> np.ndarray:
    """Integrate a step function, zero before its first day, from day 0 to each of ``until``."""
    if not len(days):
        return np.zeros(len(until))
    whole = np.append(0.0, np.cumsum(height[:-1] * np.diff(days)))
    place = np.searchsorted(days, until, side="right") - 1
    inside = place >= 0
    place = np.maximum(place, 0)
    return np.where(inside, whole[place] + height[place] * (until - days[place]), 0.0)
