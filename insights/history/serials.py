"""Identifiers as people write them: normalising, words that stand for none, slips of the pen."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from rapidfuzz.distance import OSA
from rapidfuzz.process import cpdist

FILLERS = frozenset(
    (
        *("NA", "NAN", "NONE", "NULL", "NIL", "NO", "UNKNOWN", "UNK", "UNREADABLE", "ILLEGIBLE"),
        *("MISSING", "NOTKNOWN", "NOTREADABLE", "NOTLEGIBLE", "NOTRECORDED", "NOTGIVEN"),
        *("NOTAVAILABLE", "NOTAPPLICABLE", "NOSERIAL", "NOSERIALNUMBER", "NOSN", "NONUMBER"),
        *("NOLABEL", "NOPLATE", "NOSTICKER", "LABELMISSING", "WORNOFF", "SEENOTES", "SEELABEL"),
        *("SERIAL", "SN", "TBA", "TBC", "TEST", "WALKIN", "CASH", "COUNTER"),
    )
)
"""Words written where no identifier was to be had (common practice, no source)."""

SAME, ONE_SLIP, END_SLIP, TWO_SLIPS, NEIGHBOURS, DIFFERENT = range(6)
"""How far two serials are apart, from the strongest evidence for one unit to that against it."""

SHORTEST_FOR_SAME = 4
SHORTEST_FOR_ONE_SLIP = 4
SHORTEST_FOR_TWO_SLIPS = 7
NEIGHBOUR_STEP = 9

_NOT_A_SIGN = re.compile(r"[\W_]+")
_NOT_A_PLAIN_SIGN = "[^0-9A-Za-z]+"
_FILLER_RUN = re.compile(r"0+|X+")


def plain(values: pd.Series) -> pd.Series:
    """Strip names of case, spaces and punctuation; missing where nothing is left."""
    return _each_once(values, _plain)


def identifiers(values: pd.Series) -> pd.Series:
    """Strip identifiers of case, spaces and punctuation, and of words that stand for none.

    Parameters
    ----------
    values
        Identifiers as written: serials, customers, telephone numbers, postcodes.

    Returns
    -------
    pandas.Series
        Text in the same order; missing where nothing was written, where only punctuation was,
        where it is one of :data:`FILLERS`, or a run of noughts or of the letter X.
    """
    codes, signs = sign_codes(values)
    found = np.append(signs.to_numpy(zero_copy_only=False), [None]).astype(object)
    return pd.Series(found[codes], index=values.index)


def sign_codes(values: pd.Series) -> tuple[np.ndarray, pa.Array]:
    """Give every identifier of a long column its number.

    Parameters
    ----------
    values
        As for :func:`identifiers`.

    Returns
    -------
    codes : numpy.ndarray
        One number an identifier, -1 where there is none, shape (n,).
    signs : pyarrow.Array
        The identifiers as :func:`identifiers` gives them, in order of their numbers.
    """
    written = pa.array(values.astype("string[pyarrow]").array, pa.large_string())
    if isinstance(written, pa.ChunkedArray):  # histories put together keep their parts
        written = written.combine_chunks()
    encoded = _signs(written).dictionary_encode()
    return encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False), encoded.dictionary


def _signs(written: pa.Array) -> pa.Array:
    """Do :func:`identifiers`' work on Arrow text: by far the faster for millions of serials."""
    bare = pc.ascii_upper(pc.replace_substring_regex(written, _NOT_A_PLAIN_SIGN, ""))
    none = pc.or_(
        pc.is_in(bare, pa.array(["", *FILLERS], bare.type)),
        pc.match_substring_regex(bare, f"^(?:{_FILLER_RUN.pattern})$"),
    )
    signs = pc.if_else(none, pa.scalar(None, bare.type), bare)
    foreign = np.flatnonzero(~np.asarray(pc.string_is_ascii(written).fill_null(True)))
    if len(foreign):
        # Letters of other scripts are Python's to tell from punctuation.
        by_hand = signs.to_pandas().to_numpy(dtype=object)
        by_hand[foreign] = [_identifier(text) for text in written.take(foreign).to_pylist()]
        signs = pa.array(by_hand, bare.type)
    return signs


def _each_once(values: pd.Series, clean: Callable[[str], str | None]) -> pd.Series:
    codes, written = pd.factorize(values.astype("object"), use_na_sentinel=True)
    cleaned = np.array([*(clean(str(text)) for text in written), None], dtype="object")
    return pd.Series(cleaned[codes], index=values.index)


def _plain(text: str) -> str | None:
    return _NOT_A_SIGN.sub("", text).upper() or None


def _identifier(text: str) -> str | None:
    sign = _plain(text)
    if sign is None or sign in FILLERS or _FILLER_RUN.fullmatch(sign):
        return None
    return sign


def slips(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Count the slips of the pen between serials, up to 3 for three or more.

    Parameters
    ----------
    first, second
        Normalised serials, shape (n,).

    Returns
    -------
    numpy.ndarray
        Optimal string alignment distance, shape (n,): one character written wrong, left out,
        added, or two neighbours swapped is one slip.
    """
    if not len(first):
        return np.zeros(0, dtype=np.int32)
    return cpdist(first, second, scorer=OSA.distance, score_cutoff=2, dtype=np.int32)


def serial_levels(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Grade how far pairs of serials are apart.

    Parameters
    ----------
    first, second
        Normalised serials, none missing, shape (n,).

    Returns
    -------
    numpy.ndarray
        One of ``SAME``, ``ONE_SLIP``, ``END_SLIP``, ``TWO_SLIPS``, ``NEIGHBOURS``,
        ``DIFFERENT`` each. Serials whose last number differs by up to 9 are ``NEIGHBOURS``: two
        units bought together look like that more often than one slip of the pen does; with a
        slip in one of the two they may look like ``END_SLIP``, one slip in the last two digits.
        In short serials a
        slip is as good as another serial, so one slip needs at least 4 characters in both, two
        slips 7 (judgement).
    """
    apart = slips(first, second)
    level = np.full(len(first), DIFFERENT, dtype=np.int8)
    level[apart == 0] = SAME
    for row in np.flatnonzero((apart == 1) | (apart == 2)):
        level[row] = _near(first[row], second[row], apart[row])
    return level


def _near(first: str, second: str, apart: int) -> int:
    if _neighbours(first, second):
        return NEIGHBOURS
    shorter = min(len(first), len(second))
    if apart == 1 and shorter >= SHORTEST_FOR_ONE_SLIP:
        return END_SLIP if _at_the_end(first, second) else ONE_SLIP
    if shorter >= SHORTEST_FOR_TWO_SLIPS:
        return TWO_SLIPS
    return DIFFERENT


def _neighbours(first: str, second: str) -> bool:
    one, other = _last_number(first), _last_number(second)
    if one is None or other is None or one[::2] != other[::2]:
        return False
    return 0 < abs(int(one[1]) - int(other[1])) <= NEIGHBOUR_STEP


def _at_the_end(first: str, second: str) -> bool:
    one, other = _last_number(first), _last_number(second)
    if one is None or other is None or one[2] != other[2]:
        return False
    longest = max(len("".join(one[:2])), len("".join(other[:2])))
    return _first_difference(first, second) >= longest - 2


def _first_difference(first: str, second: str) -> int:
    for place, (one, other) in enumerate(zip(first, second, strict=False)):
        if one != other:
            return place
    return min(len(first), len(second))


def _last_number(serial: str) -> tuple[str, str, str] | None:
    end = len(serial.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
    start = len(serial[:end].rstrip("0123456789"))
    if start == end:
        return None
    return serial[:start], serial[start:end], serial[end:]
