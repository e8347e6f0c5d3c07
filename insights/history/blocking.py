"""Which pairs of records are worth comparing, so that the work grows with the jobs."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from insights.history.cards import MISSING, Cards, Records
from insights.history.serials import slips

LARGEST_BLOCK = 100
LONGEST_SERIAL = 24

_BASE = np.uint64(0x9E3779B97F4A7C15)
_BASE_INVERSE = np.uint64(pow(0x9E3779B97F4A7C15, -1, 2**64))
_MIX = np.uint64(0xC2B2AE3D27D4EB4F)


def candidate_pairs(
    cards: Cards, records: Records, *, strangers: bool
) -> tuple[np.ndarray, np.ndarray]:
    """List the pairs of records that share enough to be one unit.

    Parameters
    ----------
    cards, records
        The jobs, and which of them have equal serials.
    strangers
        Also pairs of one model whose serials are one slip apart, whoever brought them.

    Returns
    -------
    tuple of numpy.ndarray
        The record seen first and the one seen later, each pair once, sorted.

    Notes
    -----
    Pairs share customer or phone (the postcode where one has neither), and the model. In blocks
    of more than 100 records only serials one slip apart are compared: a unit without serial
    fits so many of them that none would reach a person.
    """
    found = []
    big = np.zeros(len(records), dtype=bool)
    nameless = np.zeros(len(records), dtype=bool)
    nameless[cards.record[(cards.customer == MISSING) & (cards.phone == MISSING)]] = True
    everyone = np.ones(len(records), dtype=bool)
    for code, wanted in (
        (cards.customer, everyone),
        (cards.phone, everyone),
        (cards.postcode, nameless),
    ):
        record, key = _once(cards.record, _with_model(code, cards.model))
        pairs, crowded = _pairs_within(record, key, wanted)
        found.append(pairs)
        big[crowded] = True
    first = records.first
    spelled = ~cards.bare[first]
    model = cards.model[first]
    if strangers:
        alike = spelled & (model != MISSING)
        found.append(_one_slip_apart(cards.serial[first], model, np.flatnonzero(alike)))
    elif big.any():
        person = cards.customer[first]
        within = spelled & big & (person != MISSING)
        found.append(_one_slip_apart(cards.serial[first], person, np.flatnonzero(within)))
    return _distinct(found, len(records))


def _with_model(code: np.ndarray, model: np.ndarray) -> np.ndarray:
    known = (code != MISSING) & (model != MISSING)
    return np.where(known, code * (model.max(initial=0) + 1) + model, MISSING)


def _once(record: np.ndarray, key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Keep each record once under each key it has."""
    known = key != MISSING
    if not known.any():
        return record[:0], key[:0]
    width = record.max() + 1
    both = np.unique(key[known].astype(np.int64) * width + record[known])
    return both % width, both // width


def _pairs_within(
    record: np.ndarray, key: np.ndarray, wanted: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Pair records of equal keys, one of them wanted; return the records of blocks too large."""
    order = np.argsort(key, kind="stable")
    record, key = record[order], key[order]
    _, block, size = np.unique(key, return_inverse=True, return_counts=True)
    crowded = size[block] > LARGEST_BLOCK
    kept, key = record[~crowded], key[~crowded]
    pairs = [np.zeros((0, 2), dtype=np.int64)]
    at = np.arange(len(kept))
    for lag in range(1, LARGEST_BLOCK):
        at = at[at + lag < len(kept)]
        at = at[key[at] == key[at + lag]]
        if not len(at):
            break
        one, other = kept[at], kept[at + lag]
        either = wanted[one] | wanted[other]
        pairs.append(np.column_stack((one[either], other[either])))
    return np.concatenate(pairs), record[crowded]


def _one_slip_apart(serial: np.ndarray, group: np.ndarray, record: np.ndarray) -> np.ndarray:
    """Pair records of one group whose serials are one slip apart.

    Two strings one slip apart become equal when one character is left out of one or of both
    (two swapped neighbours too), so records are blocked on a hash of each such remainder.
    """
    record = record[[len(text) <= LONGEST_SERIAL for text in serial[record]]]
    if len(record) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    remainder = _remainder_hashes(serial[record].astype(str))
    remainder ^= (group[record].astype(np.uint64) * _MIX)[:, None]
    who = np.repeat(np.arange(len(record)), remainder.shape[1])
    pairs, _ = _pairs_within(who, remainder.ravel(), np.ones(len(record), dtype=bool))
    pairs = _pair_array(_distinct([pairs], len(record)))
    one, other = record[pairs[:, 0]], record[pairs[:, 1]]
    near = (slips(serial[one], serial[other]) == 1) & (group[one] == group[other])
    return np.column_stack((one[near], other[near]))


def _remainder_hashes(serial: np.ndarray) -> np.ndarray:
    """Hash each serial whole and with each one character left out, shape (n, longest + 1)."""
    length = serial.dtype.itemsize // 4
    letters = serial.view(np.uint32).reshape(len(serial), length).astype(np.uint64)
    powers = np.cumprod(np.full(length, _BASE, dtype=np.uint64))
    before = np.zeros((len(serial), length + 1), dtype=np.uint64)
    np.cumsum(letters * powers, axis=1, out=before[:, 1:])
    whole = before[:, -1:]
    after = (whole - before[:, 1:]) * _BASE_INVERSE
    without = before[:, :-1] + after
    return np.concatenate((whole, without), axis=1)


def _distinct(pairs: Iterable[np.ndarray], records: int) -> tuple[np.ndarray, np.ndarray]:
    both = np.concatenate([np.zeros((0, 2), dtype=np.int64), *pairs])
    low, high = both.min(axis=1, initial=records), both.max(axis=1, initial=-1)
    different = low < high
    key = np.unique(low[different] * records + high[different])
    return key // records, key % records


def _pair_array(pairs: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return np.column_stack(pairs)
