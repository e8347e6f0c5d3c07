"""The odds that two jobs are one unit: Fellegi and Sunter's ratios, field by field."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from insights.history.cards import MISSING, Cards, Records
from insights.history.sampling import draw_pairs
from insights.history.serials import (
    DIFFERENT,
    END_SLIP,
    NEIGHBOURS,
    ONE_SLIP,
    SAME,
    TWO_SLIPS,
    serial_levels,
)

DAYS_PER_YEAR = 365.25
PRIOR_RETURN_SHARE = 0.05
PRIOR_RETURN_JOBS = 20
CONFIRMED_WEIGHT = 50
AGE_FITS_YEARS = 1.0
AGE_NEAR_YEARS = 2.0

WHO_SAME, WHO_PARTLY, WHO_DIFFERENT = range(3)
PLACE_SAME, PLACE_DIFFERENT = range(2)
MODEL_SAME, MODEL_DIFFERENT = range(2)
AGE_FITS, AGE_NEAR, AGE_CONTRADICTS = range(3)
BEFORE_HERE, BEFORE_DENIED = range(2)
"""Levels of agreement, each field's strongest first; ``MISSING`` where it can't be compared."""


@dataclass(frozen=True)
class Field:
    """What is expected of one field before the history is looked at (judgement).

    Parameters
    ----------
    m
        Probability of each level where two jobs are one unit.
    u
        Probability of each level where they are two units, one row per situation.
    weight
        How many pairs of different units each row of ``u`` counts for.
    drawn_by_level
        Every rare level was drawn for its own sake, so its share is as sure as if all pairs had
        been counted; otherwise as sure as the pairs drawn.
    """

    m: tuple[float, ...]
    u: tuple[tuple[float, ...], ...]
    weight: tuple[float, ...]
    drawn_by_level: bool = False


FIELDS: dict[str, Field] = {
    "who": Field((0.88, 0.07, 0.05), ((0.002, 0.001, 0.997),), (1000,), drawn_by_level=True),
    "place": Field((0.90, 0.10), ((0.005, 0.995),), (1000,), drawn_by_level=True),
    # situations: another customer; the same customer
    "model": Field((0.98, 0.02), ((0.10, 0.90), (0.30, 0.70)), (20, 20)),
    # situations: another model; the same model; the same model and customer. A customer's
    # identical units were often bought together, so their serials often follow each other.
    "serial": Field(
        (0.950, 0.027, 0.010, 0.005, 0.002, 0.006),
        (
            (1e-5, 1e-5, 1e-5, 1e-4, 1e-5, 0.99986),
            (1e-5, 7e-5, 3e-5, 1e-3, 1e-4, 0.99879),
            (1e-5, 5e-4, 5e-4, 1e-3, 0.02, 0.97799),
        ),
        (2000, 2000, 50),
    ),
    # situations: as for the serial; identical units of one customer are often of one age.
    "age": Field(
        (0.88, 0.08, 0.04),
        ((0.25, 0.20, 0.55), (0.25, 0.20, 0.55), (0.50, 0.20, 0.30)),
        (20, 20, 20),
    ),
    "before": Field((0.75, 0.25), ((0.20, 0.80),), (20,)),
}
MISTYPED_ROW = {END_SLIP: 0.04, TWO_SLIPS: 0.50}
"""How two serials in a row look when one is mistyped: simulated on six-digit numbers 1 to 9 apart
with a character wrong, left out, doubled or swapped with the next."""


@dataclass(frozen=True)
class Ratios:
    """What each agreement or disagreement is worth.

    Parameters
    ----------
    prior_odds
        Odds that a given earlier unit is the one on the bench, before anything is compared.
    m, u, ratio
        By field: probabilities by level, shape (levels,), and by situation and level, shape
        (situations, levels); their ratio, which never rises from a stronger level to a weaker.
    """

    prior_odds: float
    m: dict[str, np.ndarray]
    u: dict[str, np.ndarray]
    ratio: dict[str, np.ndarray]


def posterior_odds(prior_odds: float, ratios: np.ndarray) -> np.ndarray:
    """Multiply prior odds by likelihood ratios.

    Parameters
    ----------
    prior_odds
        Odds before the comparison.
    ratios
        m/u by pair and field, shape (pairs, fields); 1 where a field can't be compared.

    Returns
    -------
    numpy.ndarray
        Odds after it, shape (pairs,): Fellegi and Sunter 1969, J. Am. Stat. Assoc. 64:1183,
        whose weight is the logarithm of this product, with fields independent given whether
        the pair is one unit.
    """
    return prior_odds * np.prod(ratios, axis=1)


def compare(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> dict[str, np.ndarray]:
    """Grade the agreement of pairs of cards in every field.

    Parameters
    ----------
    cards
        All cards.
    earlier, later
        Which cards to compare, shape (pairs,).

    Returns
    -------
    dict of numpy.ndarray
        Level by field, ``MISSING`` where one side does not tell.
    """
    return {
        "who": _who(cards, earlier, later),
        "place": _place(cards, earlier, later),
        "model": _model(cards, earlier, later),
        "serial": _serial(cards, earlier, later),
        "age": _age(cards, earlier, later),
        "before": np.where(
            cards.here[later] == MISSING, MISSING, BEFORE_DENIED - cards.here[later]
        ).astype(np.int8),
    }


def _who(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> np.ndarray:
    agrees, differs = zip(
        *(
            _agreement(values, earlier, later)
            for values in (cards.customer, cards.phone, cards.postcode)
        ),
        strict=True,
    )
    person = agrees[0] | agrees[1]
    level = np.full(len(earlier), MISSING, dtype=np.int8)
    level[differs[0] | differs[1]] = WHO_DIFFERENT
    level[person] = WHO_SAME
    level[person & (differs[0] | differs[1] | differs[2])] = WHO_PARTLY
    return level


def _model(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> np.ndarray:
    agrees, differs = _agreement(cards.model, earlier, later)
    return np.where(agrees, MODEL_SAME, np.where(differs, MODEL_DIFFERENT, MISSING)).astype(np.int8)


def _place(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> np.ndarray:
    agrees, differs = _agreement(cards.postcode, earlier, later)
    return np.where(agrees, PLACE_SAME, np.where(differs, PLACE_DIFFERENT, MISSING)).astype(np.int8)


def _agreement(
    values: np.ndarray, earlier: np.ndarray, later: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    one, other = values[earlier], values[later]
    known = (one != MISSING) & (other != MISSING)
    return known & (one == other), known & (one != other)


def _serial(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> np.ndarray:
    one, other = cards.serial[earlier], cards.serial[later]
    known = ~(cards.bare[earlier] | cards.bare[later])
    level = np.full(len(one), MISSING, dtype=np.int8)
    level[known] = serial_levels(one[known], other[known])
    return level


def _age(cards: Cards, earlier: np.ndarray, later: np.ndarray) -> np.ndarray:
    elapsed = (cards.received[later] - cards.received[earlier]) / DAYS_PER_YEAR
    gap = np.abs(cards.age_years[later] - cards.age_years[earlier] - elapsed)
    level = np.digitize(gap, (AGE_FITS_YEARS, AGE_NEAR_YEARS), right=True).astype(np.int8)
    level[np.isnan(gap)] = MISSING
    return level


def situations(levels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Say which row of ``u`` applies to each pair, by field.

    Fields of two different units are not independent: a customer's units tend to be of one
    model, one model's serials look alike, and units bought together are of one age. Hence each
    field's ``u`` is taken given the fields before it.
    """
    nothing = np.zeros(len(levels["who"]), dtype=np.int8)
    person = np.isin(levels["who"], (WHO_SAME, WHO_PARTLY)).astype(np.int8)
    same_model = (levels["model"] == MODEL_SAME).astype(np.int8)
    alike = same_model + same_model * person
    return {
        "who": nothing,
        "place": nothing,
        "model": person,
        "serial": alike,
        "age": alike,
        "before": nothing,
    }


def pair_odds(ratios: Ratios, levels: dict[str, np.ndarray]) -> np.ndarray:
    """Work out the odds of every compared pair, shape (pairs,).

    Customer and phone say who brought the unit. The postcode adds next to nothing where they
    can be compared, so it counts only where they can't.
    """
    place = np.where(levels["who"] == MISSING, levels["place"], MISSING)
    levels = {**levels, "place": place}
    situation = situations(levels)
    factors = [
        np.where(levels[name] == MISSING, 1.0, ratios.ratio[name][situation[name], levels[name]])
        for name in FIELDS
    ]
    return posterior_odds(ratios.prior_odds, np.column_stack(factors))


def best_stranger_odds(ratios: Ratios) -> float:
    """Work out the odds of a pair one slip apart that fits in all else, its customer unknown."""
    strongest = [
        float(ratios.ratio[name][situation, level])
        for name, situation, level in (
            ("model", 0, MODEL_SAME),
            ("serial", 1, ONE_SLIP),
            ("age", 1, AGE_FITS),
            ("before", 0, BEFORE_HERE),
        )
    ]
    return float(posterior_odds(ratios.prior_odds, np.array([strongest]))[0])


def estimate(
    cards: Cards, records: Records, held: tuple[np.ndarray, np.ndarray] | None = None
) -> Ratios:
    """Learn from this history what each agreement is worth.

    Parameters
    ----------
    cards, records
        The jobs, and which of them have equal serials.
    held
        Earlier and later card of the pairs held to be one unit beyond equal serials: a person's
        decisions and, with them, the links that are sure; None: nobody has decided anything.

    Returns
    -------
    Ratios

    Notes
    -----
    ``u`` comes from random pairs of records (:func:`insights.history.sampling.draw_pairs`) that
    are two units (all but) beyond doubt: serials that are far apart or in a row or, where one is
    missing, different models. The slips between serials of two units come from pairs of
    different customers; those between one customer's units of one model from serials that each
    came twice, as they were surely typed right.

    ``m`` of who, place, age and earlier repair comes from visits of equal serials; ``m`` of
    model and serial is judgement, as equal serials can't tell how often a serial is mistyped.
    Pairs held to be one unit join them, and with those ``m`` of the serial is counted too: of all
    pairs of one unit, so many have equal serials, so many one slip. Decisions alone would not do:
    only doubtful pairs are decided, so slips that link by themselves would seem rare. Counts are
    added to the starting values of :data:`FIELDS`, which decide in a small history.

    The prior odds are those of a comeback among jobs with a serial (with 1 comeback in 20 jobs
    added), shared out over all records: on the cautious side, as only the earlier can be meant.
    """
    m = _confirmed_m(cards, records, held)
    u = _random_u(cards, records)
    ratio = {name: np.minimum.accumulate(m[name] / u[name], axis=1) for name in FIELDS}
    known = int((~cards.bare).sum())
    repeats = len(cards) - len(records)
    share = (repeats + PRIOR_RETURN_SHARE * PRIOR_RETURN_JOBS) / (known + PRIOR_RETURN_JOBS)
    return Ratios(share / (1 - share) / max(len(records), 1), m, u, ratio)


def _confirmed_m(
    cards: Cards, records: Records, held: tuple[np.ndarray, np.ndarray] | None
) -> dict[str, np.ndarray]:
    start = {name: np.array(field.m) for name, field in FIELDS.items()}
    again = np.flatnonzero(np.diff(cards.record[records.order]) == 0)
    earlier, later = records.order[again], records.order[again + 1]
    counted = ["who", "place", "age", "before"]
    if held is not None:
        earlier, later = np.append(earlier, held[0]), np.append(later, held[1])
        counted.append("serial")
    levels = compare(cards, earlier, later)
    for name in counted:
        seen = levels[name][levels[name] != MISSING]
        count = np.bincount(seen, minlength=len(start[name]))
        start[name] = (count + CONFIRMED_WEIGHT * start[name]) / (len(seen) + CONFIRMED_WEIGHT)
    return start


def _random_u(cards: Cards, records: Records) -> dict[str, np.ndarray]:
    first = records.first
    groups = [values[first] for values in (cards.model, cards.customer, cards.phone)]
    one, other, weight = draw_pairs(len(first), [*groups, cards.postcode[first]])
    levels = compare(cards, first[one], first[other])
    situation = situations(levels)
    far = np.isin(levels["serial"], (NEIGHBOURS, DIFFERENT))
    two_units = far | ((levels["serial"] == MISSING) & (levels["model"] == MODEL_DIFFERENT))
    twice = records.jobs > 1
    stranger = ~np.isin(levels["who"], (WHO_SAME, WHO_PARTLY))
    usable = {
        "who": two_units,
        "place": two_units,
        "model": far,
        "serial": np.where(situation["serial"] == 2, twice[one] & twice[other], stranger),
        "age": far,
        "before": two_units,
    }
    u = {
        name: _shares(field, levels[name], situation[name], weight * usable[name])
        for name, field in FIELDS.items()
    }
    u["serial"][2] = _close_serials(u["serial"][2], u["serial"][1])
    return u


def _close_serials(serial: np.ndarray, strangers: np.ndarray) -> np.ndarray:
    """Say how the serials of one customer's units of one model compare, slips allowed for.

    The shares come from pairs of serials that each came twice, hence were typed right; a pair
    that claims to be one unit may hold the slips of either side. Being in a row explains no
    slip at the front, so those are as rare as between strangers; and a few serials mistyped
    the same way twice do not count.
    """
    slip_share = 2 * sum(FIELDS["serial"].m[level] for level in (ONE_SLIP, END_SLIP))
    serial = serial.copy()
    serial[[SAME, ONE_SLIP]] = strangers[[SAME, ONE_SLIP]]
    for level, share in MISTYPED_ROW.items():
        moved = serial[NEIGHBOURS] * slip_share * share
        serial[level] += moved
    return serial / serial.sum()


def _shares(
    field: Field, level: np.ndarray, situation: np.ndarray, weight: np.ndarray
) -> np.ndarray:
    """Mix counted shares with the starting values, in proportion to the pairs behind them."""
    start = np.array(field.u)
    rows, width = start.shape
    told = (level != MISSING) & (weight > 0)
    cell = situation[told].astype(int) * width + level[told]
    count = np.bincount(cell, weight[told], minlength=rows * width).reshape(rows, width)
    drawn = np.bincount(situation[told], minlength=rows)[:, None]
    all_pairs = count.sum(axis=1, keepdims=True)
    behind = all_pairs if field.drawn_by_level else drawn
    share = count / np.where(all_pairs > 0, all_pairs, 1)
    weighing = np.array(field.weight)[:, None]
    return (behind * share + weighing * start) / (behind + weighing)
