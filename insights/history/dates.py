"""Days: year-month-day, or the one format declared; never a guess."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

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
        formats fit all values of all such columns.
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
    formats = _fitting_all(asked.values())
    examples = {
        heading: [" ".join(value.split())[:_LONGEST_SHOWN] for value in values[:_SHOWN].to_pylist()]
        for heading, values in asked.items()
    }
    raise DateQuestion(_question(examples, formats), examples, formats)


def _question(examples: Mapping[str, list[str]], formats: list[str]) -> str:
    shown = "; ".join(f"{heading}: {', '.join(values)}" for heading, values in examples.items())
    if not formats:
        fit = "No one format fits all values; write the dates year-month-day"
    elif len(formats) == 1:
        fit = f"{formats[0]} fits all values; declare it if it is meant"
    else:
        fit = f"{' and '.join(formats)} each fit all values; declare which one is meant"
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


def _fitting_all(columns: Iterable[pa.Array]) -> list[str]:
    values = pa.concat_arrays([column.cast(TEXT) for column in columns])
    quick = [f for f in _candidates() if _fits(_sample(values), f).all()]
    return [f for f in quick if _fits(values, f).all()]
