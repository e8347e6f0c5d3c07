"""Serial numbers and other identifiers as people write them: normalising, fillers, slips."""

from __future__ import annotations

import re

import pandas as pd

FILLERS = frozenset(
    "NA NAN NONE NULL NIL NO UNKNOWN UNK UNREADABLE ILLEGIBLE MISSING NOTKNOWN NOTREADABLE "
    "NOTLEGIBLE NOTRECORDED NOTGIVEN NOTAVAILABLE NOTAPPLICABLE NOSERIAL NOSERIALNUMBER NOSN "
    "NONUMBER NOLABEL NOPLATE NOSTICKER LABELMISSING WORNOFF SEENOTES SEELABEL SERIAL SN TBA TBC "
    "TEST".split()
)
"""Words written where no identifier was to be had (common practice, no source)."""

_NOT_A_SIGN = re.compile(r"[\W_]+")
_FILLER_RUN = re.compile(r"0+|X+")


def normalise(values: pd.Series) -> pd.Series:
    """Strip an identifier of case, spaces and punctuation, and of words that stand for none.

    Parameters
    ----------
    values
        Identifiers as written: serials, customers, telephone numbers, postcodes, models.

    Returns
    -------
    pandas.Series
        Text in the same order; missing where nothing was written, where only punctuation was,
        where it is one of :data:`FILLERS`, or a run of noughts or of the letter X.
    """
    codes, written = pd.factorize(values.astype("object"), use_na_sentinel=True)
    clean = pd.Series([_one(str(text)) for text in written], dtype="object")
    return pd.Series(clean.reindex(codes).to_numpy(), index=values.index, dtype="object")


def _one(text: str) -> str | None:
    sign = _NOT_A_SIGN.sub("", text).upper()
    if not sign or sign in FILLERS or _FILLER_RUN.fullmatch(sign):
        return None
    return sign
