"""A job's values <-> a row of the book."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from sqlalchemy import Row

from insights.history.book.tables import FAMILIES, MONEY, stored_as
from insights.history.schema import COLUMNS, History, dtype_of, to_schema

_EPOCH = pd.Timestamp("1970-01-01")
FIXED = {column.name: stored_as(column.name, column.kind) for column in COLUMNS}
KINDS = {column.name: column.kind for column in COLUMNS}
KEPT = (*FIXED.values(), "families")
"""The columns of a version that make up the history; the others say who saved it and when."""


def to_minor(amount: float, digits: int) -> int:
    """Turn an amount into minor units (cents), exactly as it is written."""
    scaled = Decimal(repr(float(amount))).scaleb(digits)
    return int(scaled.to_integral_value(ROUND_HALF_EVEN))


def has_more_digits(amount: float, digits: int) -> bool:
    """Tell whether an amount has more decimals than the currency's minor unit."""
    scaled = Decimal(repr(float(amount))).scaleb(digits)
    return scaled != scaled.to_integral_value()


def to_day(day: pd.Timestamp) -> int:
    """Count whole days since 1970-01-01."""
    return int((day.normalize() - _EPOCH).days)


def pack(values: Mapping[str, Any], digits: int) -> dict[str, Any]:
    """Turn a job's checked values into the columns of a version.

    Parameters
    ----------
    values
        Checked values under the history's headings; absent or None: unknown.
    digits
        Decimals of the currency's minor unit.
    """
    row: dict[str, Any] = {}
    for name, stored in FIXED.items():
        value = values.get(name)
        row[stored] = None if value is None else _packed(name, value, digits)
    given = {
        name: value
        for name, value in values.items()
        if name.startswith(FAMILIES) and value is not None
    }
    row["families"] = json.dumps(given, sort_keys=True, ensure_ascii=False)
    return row


def _packed(name: str, value: Any, digits: int) -> Any:
    kind = KINDS[name]
    if kind == "date":
        return to_day(value)
    if name in MONEY:
        return to_minor(value, digits)
    if kind == "whole":
        return int(value)
    return float(value) if kind == "number" else str(value)


def unpack(version: Row[Any], digits: int) -> dict[str, Any]:
    """Turn a version back into a job's values; what is unknown is left out."""
    row = version._mapping
    values: dict[str, Any] = {}
    for name, stored in FIXED.items():
        value = row[stored]
        if value is None:
            continue
        if KINDS[name] == "date":
            values[name] = _EPOCH + pd.Timedelta(days=value)
        else:
            values[name] = value / 10**digits if name in MONEY else value
    values.update(json.loads(row["families"]))
    return values


def rows_of(jobs: pd.DataFrame, digits: int) -> list[dict[str, Any]]:
    """Turn a history's jobs into rows of the book, all at once.

    Parameters
    ----------
    jobs
        In the schema's dtypes.
    digits
        Decimals of the currency's minor unit; amounts must not have more.
    """
    columns: dict[str, list[Any]] = {}
    for name, stored in FIXED.items():
        columns[stored] = _column_of(name, jobs[name], digits)
    columns["families"] = _families_of(jobs)
    names = list(columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _column_of(name: str, values: pd.Series, digits: int) -> list[Any]:
    missing = values.isna().to_numpy()
    if KINDS[name] == "date":
        whole = values.to_numpy("datetime64[D]").astype("int64")
        return _nones(whole, missing)
    if name in MONEY:
        return [
            None if gone else to_minor(v, digits) for v, gone in zip(values, missing, strict=True)
        ]
    if KINDS[name] == "whole":
        return _nones(np.where(missing, 0, values.to_numpy()).astype("int64"), missing)
    return _nones(values.to_numpy(dtype=object), missing)


def _nones(values: np.ndarray, missing: np.ndarray) -> list[Any]:
    given = values.astype(object)
    given[missing] = None
    return given.tolist()


def _families_of(jobs: pd.DataFrame) -> list[str]:
    names = sorted(str(name) for name in jobs.columns if str(name).startswith(FAMILIES))
    if not names:
        return ["{}"] * len(jobs)
    cells = [
        _nones(jobs[name].to_numpy(dtype=object), jobs[name].isna().to_numpy()) for name in names
    ]
    return [
        json.dumps(
            {name: v for name, v in zip(names, row, strict=True) if v is not None},
            ensure_ascii=False,
        )
        for row in zip(*cells, strict=True)
    ]


def history_of(parts: Iterable[Sequence[Any]], digits: int, source: str, currency: str) -> History:
    """Turn rows of the book into a history.

    Parameters
    ----------
    parts
        Rows by the thousands, so that they are never all there beside what is made of them; one
        row a job, the columns in the order of :data:`KEPT`.
    digits, source, currency
        As the book states them.
    """
    kept: dict[str, list[pa.Array]] = {stored: [] for stored in FIXED.values()}
    families = []
    for part in parts:
        cells = dict(zip(KEPT, zip(*part, strict=True), strict=True))
        families.append(_families_in(cells.pop("families")))
        for stored, values in cells.items():
            kept[stored].append(pa.array(values, _ARROW[stored]))
    data = {
        name: _series_of(name, pa.chunked_array(kept[stored], _ARROW[stored]), digits)
        for name, stored in FIXED.items()
    }
    for name in sorted(set().union(*(part.keys() for _, part in families))):
        empty = _arrow_of(name)
        chunks = [part.get(name, pa.nulls(size, empty)) for size, part in families]
        data[name] = _series_of(name, pa.chunked_array(chunks, empty), digits)
    return History(jobs=to_schema(pd.DataFrame(data)), source=source, currency=currency)


def _families_in(texts: Sequence[str]) -> tuple[int, dict[str, pa.Array]]:
    """Read the open columns of some jobs: how many jobs, and the columns they name."""
    # Read as one text: a call for each of a million jobs would take longer than the reading.
    jobs: list[dict[str, Any]] = json.loads(f"[{','.join(texts)}]")
    names = set().union(*jobs)
    columns = {
        name: pa.array([job.get(name) for job in jobs], type=_arrow_of(name)) for name in names
    }
    return len(jobs), columns


def _arrow_of(name: str) -> pa.DataType:
    kind = _kind_of(name)
    return pa.float64() if kind in ("number", "whole", "date") else pa.large_string()


def _kind_of(name: str) -> str:
    if name in KINDS:
        return KINDS[name]
    return "number" if name.startswith("reading_") else "code"


_ARROW = {stored: _arrow_of(name) for name, stored in FIXED.items()}


def _series_of(name: str, cells: pa.ChunkedArray, digits: int) -> pd.Series:
    kind = _kind_of(name)
    if kind in ("code", "choice"):
        return _categories(cells)
    if kind == "text":
        kept = pd.api.types.pandas_dtype(dtype_of("text"))
        return pd.Series(kept.__from_arrow__(cells))
    numbers = np.array(cells.to_numpy())
    if kind == "date":
        missing = np.isnan(numbers)
        days = np.where(missing, 0, numbers).astype("int64").astype("datetime64[D]")
        days[missing] = np.datetime64("NaT")
        return pd.Series(days.astype("datetime64[ns]"))
    return pd.Series(numbers / 10**digits if name in MONEY else numbers)


def _categories(cells: pa.ChunkedArray) -> pd.Series:
    encoded = pa.concat_arrays([pa.array([], cells.type), *cells.chunks]).dictionary_encode()
    names = encoded.dictionary.to_pylist()
    order = sorted(range(len(names)), key=names.__getitem__)
    place = np.append(np.argsort(order), -1)  # where code -1 points to: nothing known
    codes = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    categories = pd.Index([names[code] for code in order], dtype=object)
    return pd.Series(pd.Categorical.from_codes(place[codes], categories=categories))
