"""Why two jobs may be one unit, in plain words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.history.cards import MISSING, Cards
from insights.history.joining import BLOCKED
from insights.history.matching import (
    AGE_CONTRADICTS,
    AGE_FITS,
    AGE_NEAR,
    BEFORE_DENIED,
    BEFORE_HERE,
    MODEL_DIFFERENT,
    MODEL_SAME,
    PLACE_DIFFERENT,
    PLACE_SAME,
    WHO_DIFFERENT,
    WHO_PARTLY,
    WHO_SAME,
)
from insights.history.serials import DIFFERENT, END_SLIP, NEIGHBOURS, ONE_SLIP, SAME, TWO_SLIPS

WORDS: dict[str, dict[int, str]] = {
    "serial": {
        SAME: "same serial",
        ONE_SLIP: "serial differs by one character",
        END_SLIP: "serial differs by one character near its end",
        TWO_SLIPS: "serial differs by two characters",
        NEIGHBOURS: "serials follow each other",
        DIFFERENT: "serials differ",
        MISSING: "no serial to compare",
    },
    "who": {
        WHO_SAME: "same customer",
        WHO_PARTLY: "partly the same customer",
        WHO_DIFFERENT: "another customer",
        MISSING: "no customer to compare",
    },
    "place": {
        PLACE_SAME: "same postcode",
        PLACE_DIFFERENT: "another postcode",
        MISSING: "",
    },
    "model": {MODEL_SAME: "", MODEL_DIFFERENT: "another model", MISSING: ""},
    "age": {
        AGE_FITS: "age fits",
        AGE_NEAR: "age nearly fits",
        AGE_CONTRADICTS: "age does not fit",
        MISSING: "",
    },
    "before": {
        BEFORE_HERE: "said to have been here before",
        BEFORE_DENIED: "said not to have been here before",
        MISSING: "",
    },
}


def reasons_of(cards: Cards, pairs: pd.DataFrame, judged: pd.DataFrame) -> list[str]:
    """Give the reasons for and against each pair.

    Parameters
    ----------
    cards
        All cards.
    pairs
        ``earlier`` and ``later`` card and the level of agreement by field, one row a pair.
    judged
        In the same order: ``obstacle`` and ``rivals`` of
        :func:`insights.history.joining.join_records`.

    Returns
    -------
    list of str
        Such as "serial differs by one character: 4471-B / 4417-B; same customer; age fits".
    """
    said = {name: pairs[name].map(words).to_numpy(str) for name, words in WORDS.items()}
    said["serial"] = _with_serials(cards, pairs, said["serial"])
    said["who"] = _with_identifier(cards, pairs, said["who"])
    tail = [
        _remark(obstacle, rivals)
        for obstacle, rivals in zip(judged["obstacle"], judged["rivals"], strict=True)
    ]
    return [
        "; ".join(part for part in parts if part)
        for parts in zip(*(said[name] for name in WORDS), tail, strict=True)
    ]


def _with_serials(cards: Cards, pairs: pd.DataFrame, said: np.ndarray) -> np.ndarray:
    one, other = cards.written[pairs["earlier"]], cards.written[pairs["later"]]
    level = pairs["serial"].to_numpy()
    swapped = np.array(
        [
            sorted(str(before)) == sorted(str(after))
            for before, after in zip(one, other, strict=True)
        ],
        dtype=bool,
    )
    said = said.astype("object")
    said[swapped & np.isin(level, (ONE_SLIP, END_SLIP))] = (
        "two characters of the serial are swapped"
    )
    return np.array(
        [
            text if grade == MISSING else f"{text}: {before} / {after}"
            for text, grade, before, after in zip(said, level, one, other, strict=True)
        ],
        dtype="object",
    )


def _with_identifier(cards: Cards, pairs: pd.DataFrame, said: np.ndarray) -> np.ndarray:
    """Say by what a customer is known who has another customer reference, or none."""
    one, other = cards.customer[pairs["earlier"]], cards.customer[pairs["later"]]
    by_phone = np.isin(pairs["who"], (WHO_SAME, WHO_PARTLY)) & ((one != other) | (one == MISSING))
    said = said.astype("object")
    said[by_phone] = "same phone"
    return said


def _remark(obstacle: str, rivals: int) -> str:
    others = ""
    if rivals:
        others = "1 other unit is possible" if rivals == 1 else f"{rivals} other units are possible"
    return "; ".join(part for part in (others, BLOCKED.get(obstacle, "")) if part)
