"""Random pairs of records, drawn more often where a field agrees and weighted back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

ALL_PAIRS_UP_TO = 300_000
DRAWS = 100_000
SEED = 1969


def draw_pairs(
    records: int, groups: Sequence[np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw pairs of different records so that rare agreements are seen often enough.

    Parameters
    ----------
    records
        How many records there are.
    groups
        For each field, a code per record, negative where missing, shape (records,).

    Returns
    -------
    tuple of numpy.ndarray
        First and second record (the lower number first) and the weight of each pair; weights
        add up to the number of all pairs. All pairs with weight 1 up to 300,000 of them.

    Notes
    -----
    Multiple importance sampling with the balance heuristic (Veach and Guibas 1995, SIGGRAPH
    '95:419; from memory): pairs are drawn from all and from inside the groups of each field,
    and each weighs one over its expected number of draws. The seed is fixed.
    """
    total = records * (records - 1) // 2
    if total <= ALL_PAIRS_UP_TO:
        one, other = np.triu_indices(records, 1)
        return one, other, np.ones(total)
    random = np.random.default_rng(SEED)
    everyone = np.zeros(records, dtype=np.int64)
    drawn = [_within(code, random) for code in (everyone, *groups)]
    one = np.concatenate([pair[0] for pair in drawn])
    other = np.concatenate([pair[1] for pair in drawn])
    expected = np.zeros(len(one))
    for code, (left, _, pairs) in zip((everyone, *groups), drawn, strict=True):
        agree = (code[one] == code[other]) & (code[one] >= 0)
        if pairs:
            expected += agree * (len(left) / pairs)
    return np.minimum(one, other), np.maximum(one, other), 1 / expected


def _within(code: np.ndarray, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray, int]:
    """Draw pairs evenly from all that share a code; also say how many such pairs there are."""
    members = np.flatnonzero(code >= 0)
    members = members[np.argsort(code[members], kind="stable")]
    size = np.bincount(code[members]) if len(members) else np.zeros(0, dtype=np.int64)
    start = np.cumsum(size) - size
    ends = np.cumsum(size.astype(np.int64) * (size - 1) // 2)
    pairs = int(ends[-1]) if len(ends) else 0
    if not pairs:
        nobody = np.zeros(0, dtype=np.int64)
        return nobody, nobody, 0
    group = np.searchsorted(ends, random.integers(0, pairs, DRAWS), side="right")
    left = random.integers(0, size[group])
    right = random.integers(0, size[group] - 1)
    right += right >= left
    return members[start[group] + left], members[start[group] + right], pairs
