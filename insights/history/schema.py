"""The columns of a job history: kinds, units and allowed values, written nowhere else."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

from insights.errors import HeadingsError
from insights.notes import Note

Kind = Literal["text", "code", "choice", "date", "number", "whole"]


@dataclass(frozen=True)
class Column:
    """One column of the job history.

    Parameters
    ----------
    name
        Our heading.
    kind
        ``text`` identifies or describes one job and is never grouped by; ``code`` is a short
        list of the workshop's own values; ``choice`` has fixed values; ``date`` is a day;
        ``number`` and ``whole`` are numbers.
    note
        What it holds, in plain words.
    required
        A row without it is refused.
    choices
        Allowed values of a ``choice``.
    low, high
        Smallest and largest value of a number.
    """

    name: str
    kind: Kind
    note: str
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


RELATIONS = (
    "same_fault",
    "workmanship",
    "consequential",
    "new_fault",
    "no_fault_found",
    "misuse",
    "pending",
)
DECISIONS = ("covered", "goodwill", "charged", "declined", "pending")
ENDINGS = ("scrapped", "refunded", "replaced")
EARLIER_WORK = ("sound", "parts_missing", "substandard", "unknown")

COLUMNS: tuple[Column, ...] = (
    Column("job_id", "text", "the job's own number", required=True),
    Column("received", "date", "the day the unit arrived", required=True),
    Column("handed_back", "date", "the day the unit left us; empty while it is on the bench"),
    Column("model", "code", "model or family", required=True),
    Column("unit_serial", "text", "the unit's serial number"),
    Column("customer", "text", "a reference to the customer, not necessarily a name"),
    Column("postcode", "text", "only used to recognise a unit"),
    Column("phone", "text", "only used to recognise a unit"),
    Column("unit_age_years", "number", "age of the unit in years", low=0, high=200),
    Column("condition", "whole", "1 (good) to 5 (poor)", low=1, high=5),
    Column(
        "earlier_repair",
        "choice",
        "was it repaired before, and where",
        choices=("never", "here", "elsewhere", "unknown"),
    ),
    Column(
        "earlier_work",
        "choice",
        "if it was repaired before: in what state the bench found that work",
        choices=EARLIER_WORK,
    ),
    Column("complaint", "text", "what the customer said"),
    Column("notes", "text", "what the bench wrote"),
    Column("root_cause", "code", "what failed on this visit"),
    Column("upstream_cause", "code", "what made it fail"),
    Column(
        "cause_removed",
        "choice",
        "was the upstream cause put right",
        choices=("yes", "no", "unknown"),
    ),
    Column("technician", "code", "who did the job"),
    Column("bench_minutes", "number", "minutes on the bench", low=0),
    Column("parts_cost", "number", "cost of the parts, in the history's currency", low=0),
    Column("price", "number", "what the customer paid, in the history's currency", low=0),
    Column("term_days", "whole", "warranty in days; 0: no warranty", low=0, high=36_500),
    Column("notified", "date", "the day the customer first reported the fault"),
    Column(
        "relation",
        "choice",
        "for a comeback: how it relates to the job before",
        choices=RELATIONS,
    ),
    Column("decision", "choice", "for a comeback: who paid", choices=DECISIONS),
    Column("claim_cost", "number", "what the comeback cost the shop, postage included", low=0),
    Column("ended_on", "date", "the day the unit left service"),
    Column("ended_how", "choice", "how the unit left service", choices=ENDINGS),
)

BY_NAME: dict[str, Column] = {column.name: column for column in COLUMNS}
REQUIRED: tuple[str, ...] = tuple(column.name for column in COLUMNS if column.required)

_FAMILIES: tuple[tuple[re.Pattern[str], Kind, str], ...] = (
    (re.compile(r"practice_[a-z0-9_]+"), "code", "level of a practice"),
    (re.compile(r"lot_[a-z0-9_]+"), "code", "purchase batch of a fitted part"),
    (re.compile(r"reading_[a-z0-9_]+_[a-z0-9]+"), "number", "final-test reading, unit last"),
)


def column(name: str) -> Column | None:
    """Describe a heading, or None where it is not one of ours.

    Parameters
    ----------
    name
        A heading: a fixed column, or one of the open families ``practice_<name>``,
        ``lot_<part>`` and ``reading_<quantity>_<unit>``.
    """
    if name in BY_NAME:
        return BY_NAME[name]
    for pattern, kind, note in _FAMILIES:
        if pattern.fullmatch(name):
            return Column(name, kind, note)
    return None


def dtype_of(kind: Kind) -> str:
    """Name the pandas dtype that a kind of column is kept in."""
    # Arrow-backed text takes a fraction of the memory of Python strings and reads without a copy.
    return {
        "text": "string[pyarrow]",
        "code": "category",
        "choice": "category",
        "date": "datetime64[ns]",
        "number": "float64",
        "whole": "float64",
    }[kind]


REFUSAL_COLUMNS = ("row", "job_id", "column", "value", "problem", "remedy")


def _no_refusals() -> pd.DataFrame:
    return pd.DataFrame({name: [] for name in REFUSAL_COLUMNS})


@dataclass(frozen=True)
class History:
    """What a workshop recorded, one row per job.

    Parameters
    ----------
    jobs
        Every column of the schema (absent ones filled with missing values) and any
        ``practice_*``, ``lot_*``, ``reading_*`` columns, in the dtypes of :func:`dtype_of`;
        a plain 0..n-1 index in the order of the source.
    refused
        One row per problem: ``row`` (as a spreadsheet counts, the heading being row 1),
        ``job_id``, ``column``, ``value``, ``problem``, ``remedy``.
    refused_rows
        The refused rows to be mended and loaded again: ``row``, ``problem``, ``remedy``, then the
        cells as they were given.
    source
        Where it came from, for display.
    currency
        The one currency of every amount, as the user stated it; empty: not stated.
    notes
        What a reader should know (columns left aside, identical rows skipped, ...).
    """

    jobs: pd.DataFrame
    refused: pd.DataFrame = field(default_factory=_no_refusals)
    refused_rows: pd.DataFrame = field(default_factory=pd.DataFrame)
    source: str = ""
    currency: str = ""
    notes: tuple[Note, ...] = ()

    @property
    def practices(self) -> tuple[str, ...]:
        """Names of the practices recorded, without the prefix."""
        return _family(self.jobs, "practice_")

    @property
    def lots(self) -> tuple[str, ...]:
        """Names of the parts whose lots are recorded, without the prefix."""
        return _family(self.jobs, "lot_")

    @property
    def readings(self) -> tuple[str, ...]:
        """Names of the final-test readings recorded, without the prefix."""
        return _family(self.jobs, "reading_")

    @property
    def refused_count(self) -> int:
        """How many rows were refused (a row may have several problems)."""
        return len(self.refused_rows)


def _family(jobs: pd.DataFrame, prefix: str) -> tuple[str, ...]:
    return tuple(str(name)[len(prefix) :] for name in jobs.columns if str(name).startswith(prefix))


def to_schema(frame: pd.DataFrame) -> pd.DataFrame:
    """Put a clean frame into the schema's columns, order and dtypes.

    Parameters
    ----------
    frame
        One row per job under our headings, values already valid.

    Returns
    -------
    pandas.DataFrame
        The fixed columns in the order of :data:`COLUMNS`, then the families' columns in the
        order given; the index is 0..n-1.

    Raises
    ------
    HeadingsError
        A heading is not one of ours, or a required one is missing.
    """
    unknown = [str(name) for name in frame.columns if column(str(name)) is None]
    if unknown:
        raise HeadingsError(f"Unknown columns: {', '.join(unknown)}. Rename or drop them.")
    missing = [name for name in REQUIRED if name not in frame.columns]
    if missing:
        raise HeadingsError(f"Missing required columns: {', '.join(missing)}. Add them.")
    plain = pd.RangeIndex(len(frame))
    given = frame if frame.index.equals(plain) else frame.set_axis(plain, axis=0)
    extra = [str(name) for name in given.columns if name not in BY_NAME]
    data = {}
    for name in [*BY_NAME, *extra]:
        described = column(name)
        assert described is not None
        if name in given.columns:
            data[name] = _cast(given[name], described.kind)
        else:
            data[name] = _absent(described.kind, given.index)
    return pd.DataFrame(data, copy=False)


def _absent(kind: Kind, index: pd.Index) -> pd.Series:
    if kind in ("code", "choice"):
        none = pd.Categorical.from_codes(np.full(len(index), -1), categories=pd.Index([], object))
        return pd.Series(none, index=index)
    return pd.Series(np.nan if kind in ("number", "whole") else None, index, dtype_of(kind))


def _cast(values: pd.Series, kind: Kind) -> pd.Series:
    wanted = dtype_of(kind)
    if values.dtype == wanted:
        return values
    if kind == "date":
        return pd.to_datetime(values).astype("datetime64[ns]")
    if kind in ("number", "whole"):
        return pd.to_numeric(values).astype("float64")
    if kind == "text":
        return values.astype(wanted)
    return values.astype("string").astype(object).astype("category")
