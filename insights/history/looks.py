"""What the cells of a column look like, to tell which of our columns it may be."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from insights.history.schema import Column


@dataclass(frozen=True)
class Look:
    """What the cells of a column look like.

    Parameters
    ----------
    filled
        Whether any cell is.
    dates, numbers, yes_no
        Shares of the filled cells that read like one.
    few
        1 where there are few different values, else 0.
    different
        Different values per filled cell.
    words
        The different values as choices are written: lower case, joined by underscores.
    """

    filled: bool
    dates: float
    numbers: float
    few: float
    different: float
    words: frozenset[str]
    yes_no: float


_DATE = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}.*|\d{1,2}[-/. ]{1,2}(\d{1,2}|\w{3,9})[-/. ]{1,2}\d{2,4}.*"
)
_NUMBER = re.compile(r"[-+]?\d[\d., ]*")
_YES = ("yes", "y", "ja", "j", "oui", "o", "si", "sí", "sim", "tak", "true", "1", "x")
_NO = ("no", "n", "nein", "non", "nee", "nie", "nao", "não", "false", "0")
_YES_NO = frozenset(_YES + _NO)


def look_at(cells: pd.Series) -> Look:
    """Look at some cells of a column.

    Parameters
    ----------
    cells
        As text, missing where empty.
    """
    texts = [str(cell).strip() for cell in cells.dropna() if str(cell).strip()]
    count = max(len(texts), 1)
    different = len(set(texts))
    return Look(
        filled=bool(texts),
        dates=sum(bool(_DATE.fullmatch(text)) for text in texts) / count,
        numbers=sum(bool(_NUMBER.fullmatch(text)) for text in texts) / count,
        few=float(different <= max(20, count / 10)),
        different=different / count,
        words=frozenset(re.sub(r"[\s_-]+", "_", text.lower()) for text in texts),
        yes_no=sum(text.lower() in _YES_NO for text in texts) / count,
    )


def fit(look: Look, col: Column) -> float:
    """Say how well cells fit a column, 0 (can't be) to 1.

    Parameters
    ----------
    look
        What the cells look like.
    col
        One of our columns.
    """
    if not look.filled:
        return 0.5
    if col.kind == "date":
        return look.dates if look.dates > 0.5 else 0.0
    if col.kind in ("number", "whole"):
        return look.numbers if look.numbers > 0.5 and look.dates < 0.5 else 0.0
    if look.dates > 0.8:
        return 0.0
    if col.name in ("job_id", "unit_serial"):
        return look.different
    if col.kind == "choice":
        return len(look.words.intersection(col.choices)) / len(look.words)
    return 0.5 + 0.5 * look.few if col.kind == "code" else 0.7
