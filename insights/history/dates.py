"""Days: year-month-day, or the one format declared; never a guess."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from insights.history.questions import DateQuestion
from insights.history.raw import TEXT

ISO = "%Y-%m-%d"
EARLIEST = np.datetime64("1950-01-01", "ns")
_ISO_DAY = (
    r"^\d{4}-\d{2}-\d{2}"
    r"([T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?(Z|[+-]\d{2}(:?\d{2})?)?)?$"
)
_DAY_NUMBER = r"^[2-6]\d{4}([.,]\d+)?$"
_ORDERS = ("%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d", "%d/%m/%y", "%m/%d/%y")
_FORMATS: tuple[str, ...] = (
    *(order.replace("/", mark) for mark in "/.-" for order in _ORDERS if (mark, order[1]) != "-Y"),
    "%Y%m%d",
    *(order.replace("_", mark) for mark in " -" for order in ("%d_%b_%Y", "%d_%B_%Y", "%d_%b_%y")),
    "%d. %B %Y",
    "%b %d, %Y",
    "%B %d, %Y",
)
_TIMES = ("", " %H:%M", " %H:%M:%S", " %I:%M %p")
_SHOWN = 3
_MOSTLY = 0.9
"""What share of the values a format must read to be offered."""
_SAMPLE = date(2026, 3, 9)
_LONGEST_SHOWN = 30


def parse_days(distinct: pa.Array, date_format: str | None) -> np.ndarray:
    """Read days from text.

    Parameters
    ----------
    distinct
        Texts, shape (K,), none missing.
    date_format
        The declared ``strptime`` format; year-month-day is read in any case.

    Returns
    -------
    numpy.ndarray
        ``datetime64[ns]``, shape (K,); not-a-time where it is not a day. A time of day is cut.
    """
    days = _iso_days(distinct)
    rest = np.flatnonzero(np.isnat(days))
    if date_format is not None and len(rest):
        days[rest] = _formatted(distinct.take(pa.array(rest)), date_format)
    return days


def is_day_number(distinct: pa.Array) -> np.ndarray:
    """Tell which texts look like the day numbers spreadsheets keep dates as, shape (K,)."""
    return np.asarray(pc.match_substring_regex(distinct, _DAY_NUMBER))


def ask_about_dates(columns: Mapping[str, pa.Array]) -> None:
    """Ask for the date format, where columns are mostly written in another than year-month-day.

    Parameters
    ----------
    columns
        The distinct values of each date column, by heading.

    Raises
    ------
    DateQuestion
        Some column reads better in another format; the question shows values and says which
        formats fit the values of all such columns, or nearly all.
    """
    asked = {}
    for heading, distinct in columns.items():
        unread = np.flatnonzero(np.isnat(_iso_days(distinct)))
        if len(unread) * 2 > len(distinct):
            values = distinct.take(pa.array(unread))
            if _best_fit(values) * 2 >= len(values):
                asked[heading] = values
    if not asked:
        return
    values = pa.concat_arrays([column.cast(TEXT) for column in asked.values()])
    formats, odd = _fitting(values)
    examples = {
        heading: [" ".join(value.split())[:_LONGEST_SHOWN] for value in values[:_SHOWN].to_pylist()]
        for heading, values in asked.items()
    }
    raise DateQuestion(_question(examples, formats, odd), examples, formats)


def as_written(date_format: str) -> str:
    """Show a day in a format, for those who don't read formats: ``09/03/2026 for 9 March 2026``."""
    return f"{_SAMPLE.strftime(date_format)} for 9 March 2026"


def _question(examples: Mapping[str, list[str]], formats: list[str], odd: int) -> str:
    shown = "; ".join(f"{heading}: {', '.join(values)}" for heading, values in examples.items())
    named = " and ".join(f"{one} ({as_written(one)})" for one in formats)
    others = f" but {odd} different values, whose rows would be refused" if odd else ""
    if not formats:
        fit = "No one format fits them; write the dates year-month-day"
    elif len(formats) == 1:
        fit = f"{named} fits all{others}; declare it if it is meant"
    else:
        fit = f"{named} each fit all{others}; declare which one is meant"
    return f"Dates are not written year-month-day ({shown}). {fit}."


def _iso_days(distinct: pa.Array) -> np.ndarray:
    days = np.full(len(distinct), np.datetime64("NaT"), dtype="datetime64[ns]")
    fits = np.flatnonzero(np.asarray(pc.match_substring_regex(distinct, _ISO_DAY)))
    if len(fits):
        texts = pc.utf8_slice_codeunits(distinct.take(pa.array(fits)), 0, 10)
        days[fits] = _formatted(texts, ISO)
    return days


def _formatted(texts: pa.Array, date_format: str) -> np.ndarray:
    series = pd.Series(np.asarray(texts, dtype=object), dtype=object)
    parsed = pd.to_datetime(series, format=date_format, errors="coerce", exact=True)
    return parsed.dt.normalize().to_numpy(dtype="datetime64[ns]")


def _fits(texts: pa.Array, date_format: str) -> np.ndarray:
    return ~np.isnat(_formatted(texts, date_format))


def _candidates() -> list[str]:
    return [day + time for time in _TIMES for day in _FORMATS]


def _sample(values: pa.Array) -> pa.Array:
    return values.slice(0, 200)


def _best_fit(values: pa.Array) -> int:
    """Count how many of a sample the best format reads, scaled to all values."""
    sample = _sample(values)
    most = max(int(_fits(sample, date_format).sum()) for date_format in _candidates())
    return round(most * len(values) / len(sample))


def _fitting(values: pa.Array) -> tuple[list[str], int]:
    """Find the formats that read most of the values, and how many each leaves unread.

    One cell typed wrong should not hide how all the others are written.
    """
    sample = _sample(values)
    enough = _MOSTLY * len(sample)
    likely = [f for f in _candidates() if _fits(sample, f).sum() >= enough]
    reads = {f: int(_fits(values, f).sum()) for f in likely}
    most = max(reads.values(), default=0)
    if most < _MOSTLY * len(values):
        return [], 0
    return [f for f, read in reads.items() if read == most], len(values) - most
