"""Text -> values of one kind, with what can't be read; each distinct text is read once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from insights.history.dates import EARLIEST, ISO, as_written, is_day_number, parse_days
from insights.history.declared import Declared
from insights.history.raw import TEXT, Flaw, each_once
from insights.history.schema import Column, dtype_of

# No spreadsheet cell can hold more characters.
LONGEST_CELL = 32_767
_SIGNS = {"EUR": "€", "GBP": "£", "USD": "$", "JPY": "¥", "CHF": "Fr.", "PLN": "zł", "CZK": "Kč"}
_GAPS = " '’\u00a0\u202f"
_UNKNOWN = "leave the cell empty if it is unknown"

Verdicts = list[tuple[np.ndarray, str, str]]


@dataclass(frozen=True)
class Parsed:
    """One column read.

    Parameters
    ----------
    values
        In the dtype of the column's kind, one a row; missing where flawed.
    flaws
        The rows that can't be used, and why.
    """

    values: pd.Series
    flaws: tuple[Flaw, ...]


@dataclass(frozen=True)
class Cells:
    """A column's texts, the distinct ones and where they stand.

    Parameters
    ----------
    text
        One a row, trimmed, null where empty.
    distinct
        The distinct texts, shape (K,); where each is taken as distinct, null where empty.
    codes
        The place in ``distinct`` of each row's text, -1 where empty, shape (N,).
    """

    text: pa.Array
    distinct: pa.Array
    codes: np.ndarray


def trimmed(cells: pa.ChunkedArray) -> pa.Array:
    """Cut the blanks around every text; an empty text becomes null.

    Parameters
    ----------
    cells
        Of plain text, or of distinct texts (:func:`insights.history.raw.each_once`), which come
        back as such.
    """
    if pa.types.is_dictionary(cells.type):
        whole = pa.concat_arrays(cells.unify_dictionaries().chunks)
        return each_once(whole.indices, _trimmed(whole.dictionary))
    text = cells.combine_chunks()
    return _trimmed(text if isinstance(text, pa.Array) else pa.array([], type=TEXT))  # no chunk


def _trimmed(given: pa.Array) -> pa.Array:
    text = pc.utf8_trim_whitespace(given)
    if pc.sum(pc.binary_length(text)) == pc.sum(pc.binary_length(given)):
        text = given  # nothing was cut, so that there need not be two of it
    if pc.any(pc.starts_with(text, "'")).as_py():
        # How spreadsheets mark that a cell is text, not a formula; the refused file does too.
        text = pc.replace_substring_regex(text, r"^'('*[=+@-])", r"\1")
    empty = pc.equal(pc.binary_length(text), 0)
    return pc.if_else(empty, pa.scalar(None, TEXT), text) if pc.any(empty).as_py() else text


def plain_text(cells: pa.Array) -> pa.Array:
    """Write a trimmed column out as one text a row."""
    return cells.cast(TEXT) if pa.types.is_dictionary(cells.type) else cells


def cells_of(text: pa.Array, *, each: bool = False) -> Cells:
    """Find the distinct texts of a trimmed column.

    Parameters
    ----------
    text
        One a row.
    each
        Take every text as distinct: cheaper where few are alike and nothing is to be read.
    """
    if each:
        text = plain_text(text)
        known = np.asarray(text.is_valid())
        return Cells(text, text, np.where(known, np.arange(len(text)), -1))
    encoded = text.dictionary_encode()
    codes = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    return Cells(text, encoded.dictionary, codes)


def parse(column: Column, heading: str, cells: Cells, declared: Declared, today: date) -> Parsed:
    """Read one column.

    Parameters
    ----------
    column
        What it should hold.
    heading
        What the source calls it.
    cells
        Its texts.
    declared
        Date format, decimal mark and currency.
    today
        No date may lie after it.
    """
    if column.kind == "date":
        values, verdicts = _days(cells, declared, today)
    elif column.kind in ("number", "whole"):
        values, verdicts = _numbers(column, cells, declared)
    elif column.kind == "choice":
        values, verdicts = _choices(column, cells)
    elif column.kind == "code":
        values, verdicts = _codes(cells)
    else:
        values, verdicts = pd.Series(cells.text.to_pandas(types_mapper=_text_dtype)), []
    flaws = _flaws(heading, cells, [*_too_long(cells), *verdicts])
    if column.required:
        flaws += _absent(heading, cells)
    return Parsed(values, tuple(flaws))


def _text_dtype(_: pa.DataType) -> Any:
    return pd.api.types.pandas_dtype(dtype_of("text"))


def _absent(heading: str, cells: Cells) -> list[Flaw]:
    rows = np.flatnonzero(cells.codes < 0)
    remedy = "fill it in; a job can't be used without it"
    return [Flaw(rows, heading, "the cell is empty", remedy)] if len(rows) else []


def _too_long(cells: Cells) -> Verdicts:
    lengths = pc.utf8_length(cells.distinct)
    if (pc.max(lengths).as_py() or 0) <= LONGEST_CELL:
        return []
    return [
        (
            np.asarray(pc.greater(lengths, LONGEST_CELL).fill_null(False)),
            f"the cell holds more than {LONGEST_CELL} characters",
            "shorten it, or check that a quotation mark is closed",
        )
    ]


def _flaws(heading: str, cells: Cells, verdicts: Verdicts) -> list[Flaw]:
    """Turn verdicts on distinct texts into rows; the first that applies to a text counts."""
    free = np.ones(len(cells.distinct) + 1, dtype=bool)
    free[-1] = False  # where code -1 points to: empty cells
    flaws = []
    for applies, problem, remedy in verdicts:
        mine = np.append(applies, False) & free
        if mine.any():
            free &= ~mine
            flaws.append(Flaw(np.flatnonzero(mine[cells.codes]), heading, problem, remedy))
    return flaws


def _days(cells: Cells, declared: Declared, today: date) -> tuple[pd.Series, Verdicts]:
    days = parse_days(cells.distinct, declared.date_format)
    unread = np.isnat(days)
    last = np.datetime64(today, "ns")
    written = (
        "year-month-day"
        if declared.date_format in (None, ISO)
        else f"year-month-day or like {as_written(declared.date_format)}"
    )
    verdicts: Verdicts = [
        (
            unread & is_day_number(cells.distinct),
            "a spreadsheet's day number, not a date",
            "format the column as a date in the spreadsheet and save it again",
        ),
        (unread, f"not a day written as {written}", f"correct it; {_UNKNOWN}"),
        (days < EARLIEST, f"before {EARLIEST.astype('datetime64[D]')}", "correct the date"),
        (days > last, f"after today ({today:%Y-%m-%d})", "correct the date"),
    ]
    spread = np.append(days, np.datetime64("NaT"))[cells.codes]
    return pd.Series(spread.astype("datetime64[ns]")), verdicts


def _numbers(column: Column, cells: Cells, declared: Declared) -> tuple[pd.Series, Verdicts]:
    texts = pc.replace_substring(cells.distinct, "−", "-")
    texts = _without_sign(texts, declared.currency)
    numbers = _to_numbers(texts, declared.decimal)
    unread = np.isnan(numbers)
    verdicts = _unread_numbers(texts, unread, declared)
    if column.low is not None:
        verdicts.append((numbers < column.low, f"below {column.low:g}", "correct the number"))
    if column.high is not None:
        verdicts.append((numbers > column.high, f"above {column.high:g}", "correct the number"))
    if column.kind == "whole":
        part = numbers != np.floor(numbers)
        verdicts.append((part & ~unread, "not a whole number", "correct the number"))
    return pd.Series(np.append(numbers, np.nan)[cells.codes]), verdicts


def _without_sign(texts: pa.Array, currency: str) -> pa.Array:
    """Cut off the sign of the declared currency, and no other."""
    signs = [sign for sign in (currency, _SIGNS.get(currency.upper(), "")) if sign]
    if not signs:
        return texts
    either = "|".join(re.escape(sign) for sign in signs)
    return pc.replace_substring_regex(texts, rf"^(?:{either})\s*|\s*(?:{either})$", "")


def _to_numbers(texts: pa.Array, decimal: str) -> np.ndarray:
    """Read numbers, shape (K,); NaN where it is none or can be read in two ways."""
    point = re.escape(decimal)
    comma = re.escape("," if decimal == "." else ".")
    plain = rf"^[+-]?(\d+{point}?\d*|{point}\d+)([eE][+-]?\d+)?$"
    # Both marks, or gaps: thousands are marked beyond doubt. One mark alone leaves doubt.
    both = rf"^[+-]?\d{{1,3}}({comma}\d{{3}})+{point}\d+$"
    gaps = rf"^[+-]?\d{{1,3}}([{_GAPS}]\d{{3}})+({point}\d+)?$"
    fits = np.zeros(len(texts), dtype=bool)
    for pattern in (plain, both, gaps):
        fits |= np.asarray(pc.match_substring_regex(texts, pattern))
    numbers = np.full(len(texts), np.nan)
    where = np.flatnonzero(fits)
    bare = pc.replace_substring_regex(texts.take(pa.array(where)), rf"[+{_GAPS}]|{comma}", "")
    bare = pc.replace_substring(bare, decimal, ".")
    numbers[where] = np.asarray(pc.cast(bare, pa.float64()))
    numbers[np.isinf(numbers)] = np.nan
    return numbers


def _unread_numbers(texts: pa.Array, unread: np.ndarray, declared: Declared) -> Verdicts:
    if not unread.any():
        return []

    def like(pattern: str) -> np.ndarray:
        return unread & np.asarray(pc.match_substring_regex(texts, pattern))

    other = "," if declared.decimal == "." else "."
    names = {",": "comma", ".": "point"}
    return [
        (
            like(rf"^[+-]?\d*{re.escape(other)}\d+$"),
            f"the decimal mark declared is a {names[declared.decimal]}, and this has a "
            f"{names[other]}",
            f"declare '{other}' as the decimal mark if it is one; take it out if it marks "
            "thousands",
        ),
        (
            like(r"^\D{1,4}\s*[-+]?\d[\d.,]*$|^[-+]?\d[\d.,]*\s*\p{Sc}$"),
            "a number with a currency sign or unit",
            "declare the currency, or write the number alone",
        ),
        (unread, "not a number", f"write digits alone; {_UNKNOWN}"),
    ]


def _choices(column: Column, cells: Cells) -> tuple[pd.Series, Verdicts]:
    plain = pc.replace_substring_regex(pc.utf8_lower(cells.distinct), r"[\s_-]+", "_")
    keys = np.array(plain, dtype=object)
    allowed = np.isin(keys, column.choices) if len(keys) else np.zeros(0, dtype=bool)
    shown = ", ".join(choice.replace("_", " ") for choice in column.choices)
    verdicts: Verdicts = [(~allowed, "not one of the choices", f"write one of: {shown}")]
    keys[~allowed] = None
    return _categories(keys, cells.codes), verdicts


def _codes(cells: Cells) -> tuple[pd.Series, Verdicts]:
    single = pc.replace_substring_regex(cells.distinct, r"\s+", " ")
    return _categories(np.asarray(single, dtype=object), cells.codes), []


def _categories(labels: np.ndarray, codes: np.ndarray) -> pd.Series:
    """Spread labels (None: missing) over the rows as a category, sorted by name."""
    values = pd.Categorical(labels, categories=sorted({label for label in labels if label}))
    place = np.append(values.codes, -1)[codes]
    return pd.Series(pd.Categorical.from_codes(place, categories=values.categories))
