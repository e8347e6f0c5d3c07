"""How high a chart may climb by chance: limits for a stated number of false alarms a year."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, MutableMapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from insights.reviewing.cusum import event_maxima

Progress = Callable[[float], None]
"""Told how much of the work is done, from 0 to 1."""

HORIZON_YEARS = 2.0
"""Charts are taken from quiet through so many years; a part's lot through its own life."""
PATHS = 2500
FEWEST_PATHS = 150
EVENTS = 2_000_000
"""At most so many invented comebacks for each kind of chart."""
CHUNK = 500_000
SIGMAS = 6.0
LENGTHS_A_DECADE = 24
CERTAINTY_STEP = 1.5
LOWEST, HIGHEST = 0.5, 30.0
CERTAIN = 1e6
NOTHING = 1e-6
CHANCE_STEP = 1.2
LEAST_CHANCE, MOST_CHANCE = 0.001, 0.5
SHORTEST = 0.1
GROWTH = 24
LONG_ENOUGH = 40.0
"""Times the limit: after so many comebacks expected a trebled rate has long been seen."""


@dataclass(frozen=True, eq=False)
class Load:
    """What a set of charts will have to bear while nothing is wrong; arrays of one length.

    Parameters
    ----------
    length
        Comebacks (or jobs left undone) to expect of each chart while it is watched.
    a_year
        How many such charts a year: one over the horizon for a chart that goes on, one for
        each lot a year.
    certainty
        How many comebacks the baseline of each chart is worth: its rate is uncertain like a
        gamma distribution with that shape and mean one.
    ratio
        The change that each chart looks for, as a factor.
    chance
        For a habit, the chance at each job of leaving it; 0 for comebacks, which have no jobs of
        their own to be counted in.
    """

    length: np.ndarray
    a_year: np.ndarray
    certainty: np.ndarray
    ratio: np.ndarray
    chance: np.ndarray

    @classmethod
    def of(
        cls,
        length: np.ndarray,
        a_year: float | np.ndarray,
        certainty: float | np.ndarray,
        ratio: float,
        chance: float | np.ndarray = 0.0,
    ) -> Load:
        """Describe charts alike in what is given once."""
        length = np.asarray(length, dtype=float)
        filled = [
            np.broadcast_to(np.asarray(value, float), length.shape).copy()
            for value in (a_year, certainty, ratio, chance)
        ]
        return cls(length, *filled)

    @classmethod
    def together(cls, loads: list[Load]) -> Load:
        """Put sets of charts together."""
        names = ("length", "a_year", "certainty", "ratio", "chance")
        return cls(*(np.concatenate([getattr(load, name) for load in loads]) for name in names))

    def only(self, rows: np.ndarray) -> Load:
        """Keep some of the charts."""
        return Load(*(values[rows] for values in self.__dict__.values()))

    def key(self) -> str:
        """Name the content, so that equal sets have equal limits."""
        text = np.round(np.stack(list(self.__dict__.values())), 6).tobytes()
        return hashlib.sha256(text).hexdigest()[:32]


def limit(
    load: Load,
    false_alarms_a_year: float,
    *,
    seed: int = 1,
    kept: MutableMapping[str, float] | None = None,
    progress: Progress | None = None,
) -> float:
    """Find one limit for a set of charts by simulation.

    Parameters
    ----------
    load
        The charts.
    false_alarms_a_year
        Over all of them together, each starting from quiet.
    seed
        Of the simulation.
    kept
        Limits worked out before, by content; a new one is added.
    progress
        Told how far it is.

    Returns
    -------
    float
        In units of log likelihood ratio; every chart alarms on reaching it.

    Notes
    -----
    A chart's level depends on calendar time only through the comebacks expected so far, so each
    is a walk on a clock of its own, and one set of walks serves all charts that look for the same
    change on an equally certain baseline. In every walk the true rate is drawn about the baseline
    (Gandy and Kvaloy 2013, Scandinavian Journal of Statistics 40:647-668), so that the stated
    figure holds on the average over baselines that could have been seen. One limit on the scale of
    evidence for all charts of a set: a large chart is as hard to convince as a small one.
    Seeded: the same charts have the same limit.
    """
    load = load.only((load.length > NOTHING) & (load.a_year > 0))
    if not len(load.length):
        return HIGHEST
    name = f"{load.key()}-{false_alarms_a_year:g}-{seed}"
    if kept is not None and name in kept:
        return kept[name]
    heights, weights = _walk_all(load, seed, progress)
    order = np.argsort(-heights, kind="stable")
    a_year = np.cumsum(weights[order])
    place = int(np.searchsorted(a_year, false_alarms_a_year))
    found = HIGHEST if place == 0 else float(heights[order[min(place, len(order) - 1)]])
    found = float(np.clip(found, LOWEST, HIGHEST))
    if kept is not None:
        kept[name] = found
    return found


def chance_to_sound(
    length: np.ndarray, ratio: float, at: float, truth: float, *, seed: int = 1
) -> np.ndarray:
    """Estimate the chance that charts sound when the rate is a multiple of what is expected.

    Parameters
    ----------
    length
        Comebacks expected, shape (C,).
    ratio
        The change looked for.
    at
        The limit.
    truth
        The true multiple.
    seed
        Of the simulation.

    Returns
    -------
    numpy.ndarray
        Shape (C,).
    """
    top = int(np.ceil(np.log10(LONG_ENOUGH * at / SHORTEST) * LENGTHS_A_DECADE))
    share = (_walks(ratio, CERTAIN, 0.0, top, seed, truth) >= at).mean(axis=0)
    return np.interp(length, np.append(0.0, _lengths(top)), np.append(0.0, share))


def scores(ratio: float, chance: float | np.ndarray = 0.0) -> tuple[float, np.ndarray | float]:
    """Give the rise at an event, and the fall for each event expected.

    Parameters
    ----------
    ratio
        The change looked for: a factor on the rate of comebacks, or on a habit's odds.
    chance
        Of leaving a habit at a job; 0 for comebacks.

    Notes
    -----
    Log likelihood ratios. Comebacks: ``log(ratio)`` at one, ``ratio - 1`` for each expected.
    Habits: a job left adds ``log(ratio) - f``, one done takes ``f``, with ``f = log(1 + chance
    (ratio - 1))``: the fall ``f`` comes at every job, ``1 / chance`` of them for each expected.
    """
    if np.ndim(chance) == 0 and chance == 0:
        return float(np.log(ratio)), ratio - 1
    return float(np.log(ratio)), np.log1p(chance * (ratio - 1)) / chance


def _walk_all(load: Load, seed: int, progress: Progress | None) -> tuple[np.ndarray, np.ndarray]:
    """Walk every kind of chart; highest levels reached, and how many charts a year each is."""
    certainty = np.round(np.log(np.clip(load.certainty, 0.5, CERTAIN)) / np.log(CERTAINTY_STEP))
    # Habits left about as often walk together.
    step = np.log(CHANCE_STEP)
    chance = np.exp(np.round(np.log(np.maximum(load.chance, LEAST_CHANCE)) / step) * step)
    chance = np.where(load.chance > 0, np.minimum(chance, MOST_CHANCE), 0.0)
    kinds = np.column_stack([load.ratio, certainty, chance])
    kinds, kind = np.unique(kinds, axis=0, return_inverse=True)
    kind = kind.ravel()
    place = np.round(np.log10(np.maximum(load.length, SHORTEST) / SHORTEST) * LENGTHS_A_DECADE)
    heights, weights = [], []
    for number, (ratio, sure, left) in enumerate(kinds):
        mine = kind == number
        a_year = np.bincount(place[mine].astype(int), weights=load.a_year[mine])
        # Rounded up, so that sets of about one size share their walks.
        top = int(np.ceil(len(a_year) / GROWTH) * GROWTH)
        walks = _walks(ratio, CERTAINTY_STEP**sure, left, top, seed)
        used = np.flatnonzero(a_year)
        heights.append(walks[:, used].ravel())
        weights.append(np.tile(a_year[used] / len(walks), len(walks)))
        if progress is not None:
            progress((number + 1) / len(kinds))
    return np.concatenate(heights), np.concatenate(weights)


@lru_cache(maxsize=128)
def _walks(
    ratio: float, certainty: float, chance: float, top: int, seed: int, truth: float = 1.0
) -> np.ndarray:
    """Walk one kind of chart; highest level by each of ``top`` lengths, shape (paths, top)."""
    lengths = _lengths(top)
    paths = int(np.clip(EVENTS / (lengths[-1] + 10), FEWEST_PATHS, PATHS))
    rng = np.random.default_rng(seed)
    rate = truth * rng.gamma(certainty, 1 / certainty, paths)
    jump, drift = scores(ratio, chance)
    out = np.empty((paths, top), dtype=np.float32)
    # Walks alike in pace go together, so that none is drawn much longer than it needs.
    order = np.argsort(-rate)
    first = 0
    while first < paths:
        events = _enough(lengths[-1] * rate[order[first]])
        rows = order[first : first + max(1, CHUNK // events)]
        gaps = _gaps(rate[rows, None], chance, events, rng)
        out[rows] = event_maxima(gaps, jump, float(drift), lengths)
        first += len(rows)
    return out


def _lengths(top: int) -> np.ndarray:
    return SHORTEST * 10 ** (np.arange(top) / LENGTHS_A_DECADE)


def _gaps(rate: np.ndarray, chance: float, events: int, rng: np.random.Generator) -> np.ndarray:
    """Draw the clock's time from event to event, shape (R, events)."""
    size = (len(rate), events)
    if not chance:
        return rng.standard_exponential(size) / rate
    # Whole jobs from one left undone to the next, on the clock of those expected.
    return rng.geometric(np.minimum(chance * rate, 0.999), size) * chance


def _enough(mean: float) -> int:
    return int(np.ceil(mean + SIGMAS * np.sqrt(mean) + 10))
