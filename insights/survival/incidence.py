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
    outcome
        How it ended, a code below ``outcomes``, shape (E,).
    jobs
        How many stretches are alike, shape (E,). All stretches of one unit carry the same
        number; 1 unless the unit has this stretch only.
    outcomes
        How many outcome codes there are.
    """

    unit: np.ndarray
    start: np.ndarray
    end: np.ndarray
    outcome: np.ndarray
    jobs: np.ndarray
    outcomes: int

    def timeline(self, day_count: int) -> Timeline:
        """Line up late entries and ends by unit and day; worth doing once for several curves."""
        late = self.start >= 0
        unit = np.append(self.unit, self.unit[late])
        place = np.append(self.end, self.start[late]) + 1
        code = np.append(self.outcome, np.full(late.sum(), self.outcomes))
        change = np.append(np.full(len(self.unit), -1.0), np.ones(late.sum()))
        jobs = np.append(self.jobs, self.jobs[late])
        order = np.lexsort((place, unit))
        unit, place = unit[order], place[order]
        first = np.flatnonzero(np.append(True, unit[1:] != unit[:-1]))
        sizes = np.diff(np.append(first, len(unit)))
        code, change, jobs = code[order], change[order], jobs[order]
        # Every unit ends with nothing open, so it began with as many as it lost since.
        began = -np.add.reduceat(change, first)
        running = np.cumsum(change)
        open_now = running + np.repeat(began - (running - change)[first], sizes)
        squares = np.bincount(
            place, weights=jobs * change * (2 * open_now - change), minlength=day_count + 1
        )
        squares[0] += (jobs[first] * began**2).sum()
        return Timeline(
            place=place,
            slot=code * (day_count + 1) + place,
            jobs=jobs,
            first=first,
            sizes=sizes,
            open_before=open_now - change,
            open_now=open_now,
            open_squares=np.cumsum(squares)[1:],
        )


@dataclass(frozen=True)
class Timeline:
    """Late entries and ends of stretches (N of them) in order of unit and day.

    Parameters
    ----------
    place
        Place of each in the curve's days, plus 1, shape (N,).
    slot
        Place of each in a table by outcome (entries last) and ``place``, flattened, shape (N,).
    jobs
        How many are alike, shape (N,).
    first, sizes
        Where each unit begins, and how many it has, shape (units,).
    open_before, open_now
        How many stretches of the unit are open before and after it, shape (N,).
    open_squares
        Sum over units of the squared number of open stretches, after each day, shape (D,).
    """

    place: np.ndarray
    slot: np.ndarray
    jobs: np.ndarray
    first: np.ndarray
    sizes: np.ndarray
    open_before: np.ndarray
    open_now: np.ndarray
    open_squares: np.ndarray

    def running(self, changes: np.ndarray) -> np.ndarray:
        """Add up within each unit."""
        total = np.cumsum(changes)
        return total - np.repeat((total - changes)[self.first], self.sizes)

    def by_day(self, changes: np.ndarray, day_count: int) -> np.ndarray:
        """Add up over all units, up to and including each day, shape (D,)."""
        counted = np.bincount(self.place, weights=self.jobs * changes, minlength=day_count + 1)
        return np.cumsum(counted)[1:]


@dataclass(frozen=True)
class Kinds:
    """What the outcome codes mean for one curve.

    Parameters
    ----------
    event
        Which outcomes are counted events, shape (outcomes,).
    leaves
        Which outcomes end play, shape (outcomes,).
    """

    event: np.ndarray
    leaves: np.ndarray


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


def variance(curve: Incidence, timeline: Timeline, kinds: Kinds) -> np.ndarray:
    """Estimate the variance of a cumulative incidence on each of its days.

    Parameters
    ----------
    curve
        The curve.
    timeline
        :meth:`Spans.timeline` of the stretches behind it.
    kinds
        What their outcomes mean for this curve.

    Returns
    -------
    numpy.ndarray
        Shape (D,).

    Notes
    -----
    The infinitesimal jackknife: the influence of every unit (the sum over its stretches) on
    the curve, squared and added up. Where each unit has one stretch it equals the
    delta-method variance with multinomial daily counts (Dinse and Larson 1986, Biometrika
    73:379-386, equation 6), and so Greenwood's formula for one minus Kaplan-Meier; for events
    that repeat it is the robust variance of Lawless and Nadeau (1995, Technometrics
    37:158-168).

    The influence of one unit at day t is ``constant + slope * share(t) + open * rest(t)``, and
    the three change only where one of its stretches begins or ends. So the sum of squares over
    all units, on all days, comes from adding up changes once: no unit-by-day table is built.
    """
    constant, slope = (table.ravel()[timeline.slot] for table in _changes(curve, kinds))
    a, b, c = timeline.running(constant), timeline.running(slope), timeline.open_now
    a0, b0, c0 = a - constant, b - slope, timeline.open_before

    def summed(change: np.ndarray) -> np.ndarray:
        return timeline.by_day(change, len(curve.days))

    share, rest = curve.share, _rest(curve)
    total = summed(a * a - a0 * a0)
    total += 2 * share * summed(a * b - a0 * b0)
    total += share**2 * summed(b * b - b0 * b0)
    total += 2 * rest * summed(a * c - a0 * c0)
    total += 2 * rest * share * summed(b * c - b0 * c0)
    total += rest**2 * timeline.open_squares
    return np.maximum(total, 0.0)


def area_variance(curve: Incidence, timeline: Timeline, kinds: Kinds, until: float) -> float:
    """Estimate the variance of the curve's area from day 0 to ``until``.

    The same influence as in :func:`variance`, integrated over time. The restricted mean time
    is ``until`` less the area, so this is its variance too; with single stretches and nothing
    competing it is the usual sum of squared areas (Klein and Moeschberger 2003, section 4.5).
    """
    day = np.minimum(np.append(0.0, curve.days), until)

    def remaining(height: np.ndarray) -> np.ndarray:
        area = _area_at(curve.days, height, np.append(until, day))
        return area[0] - area[1:]

    constant, slope = _changes(curve, kinds)
    rest = remaining(_rest(curve))
    from_change = constant * (until - day) + slope * remaining(curve.share)
    from_change[:-1] -= rest
    from_change[-1] += rest
    began = timeline.open_before[timeline.first] * rest[0]
    by_unit = began + np.add.reduceat(from_change.ravel()[timeline.slot], timeline.first)
    return float((timeline.jobs[timeline.first] * by_unit**2).sum())


def _changes(curve: Incidence, kinds: Kinds) -> tuple[np.ndarray, np.ndarray]:
    """Tabulate how an end or a late entry changes a unit's influence: constant and slope.

    Both by outcome (entries last) and place, place 0 standing for the outset.
    """
    risen, lapsed, lapsed_share, gain, lapse, lapse_share = (
        np.append(0.0, values)
        for values in (
            *_terms(curve),
            curve.in_play * _inverse(curve.at_risk),
            _lapse(curve) * _inverse(curve.at_risk),
            _lapse(curve) * _inverse(curve.at_risk) * curve.share,
        )
    )
    event, leaves = kinds.event[:, None], kinds.leaves[:, None]
    constant = event * gain + leaves * lapse_share - risen - lapsed_share
    slope = lapsed - leaves * lapse
    return np.vstack([constant, risen + lapsed_share]), np.vstack([slope, -lapsed])


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
