"""Rows that can't be used: listed with reason and remedy, and written out to be mended."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from insights.errors import SourceError
from insights.harmless import harmless_frame
from insights.history.raw import Flaw, Raw
from insights.history.schema import REFUSAL_COLUMNS, History

SHOWN = 60
REASONS = ("row", "problem", "remedy")


def refusal_table(raw: Raw, flaws: Sequence[Flaw], job_id_heading: str) -> pd.DataFrame:
    """List every problem, in the order of the rows.

    Parameters
    ----------
    raw
        The source as text.
    flaws
        What was found.
    job_id_heading
        What the source calls the job's number.

    Returns
    -------
    pandas.DataFrame
        The columns of :data:`insights.history.schema.REFUSAL_COLUMNS`.
    """
    parts = []
    for flaw in (flaw for flaw in flaws if len(flaw.rows)):
        row = raw.rows[flaw.rows]
        parts.append(
            pd.DataFrame(
                {
                    "row": row,
                    "job_id": _texts(raw, job_id_heading, flaw.rows),
                    "column": flaw.heading,
                    "value": _texts(raw, flaw.heading, flaw.rows) if flaw.heading else "",
                    "problem": flaw.problem,
                    "remedy": flaw.remedy,
                }
            )
        )
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in REFUSAL_COLUMNS})
    whole = pd.concat(parts, ignore_index=True)
    return whole.sort_values("row", kind="stable", ignore_index=True)


def write_refused(history: History, path: str | Path | None = None) -> Path:
    """Write the refused rows, as they were given, with what is wrong and what to do.

    Cells that a spreadsheet would run as a formula are written with an apostrophe before them.

    Parameters
    ----------
    history
        With its refused rows.
    path
        The file to write; None: ``<name>.refused.csv`` beside the source.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    SourceError
        The file can't be written.
    """
    target = Path(path) if path is not None else refused_path(history.source)
    safe = harmless_frame(history.refused_rows.astype("string"))
    try:
        safe.to_csv(target, index=False, encoding="utf-8-sig")
    except OSError as error:
        raise SourceError(f"{target} can't be written: {error.strerror}.") from error
    return target


def refused_path(source: str | Path) -> Path:
    """Name the file of refused rows that belongs beside a source."""
    path = Path(source)
    return path.with_name(f"{path.stem}.refused.csv")


def refused_rows(raw: Raw, refused: np.ndarray, table: pd.DataFrame) -> pd.DataFrame:
    """Show the refused rows as they were given, each with all its problems and remedies.

    Parameters
    ----------
    raw
        The source as text.
    refused
        True for each row to show, shape (N,).
    table
        The problems, as :func:`refusal_table` lists them.

    Returns
    -------
    pandas.DataFrame
        ``row``, ``problem``, ``remedy``, then the source's own columns as text.
    """
    rows = np.flatnonzero(refused)
    given = raw.table.take(pa.array(rows)).to_pandas().astype(object)
    given.columns = pd.Index([f"{n} (given)" if n in REASONS else n for n in given.columns])
    given.insert(0, "row", raw.rows[rows])
    for place, what in enumerate(REASONS[1:], start=1):
        told = table[what].where(table["column"] == "", table["column"] + ": " + table[what])
        given.insert(place, what, _joined(table["row"], told, raw.rows[rows]))
    return given


def _joined(row: pd.Series, told: pd.Series, wanted: np.ndarray) -> list[str]:
    """Put together what is told of each row wanted, each thing once."""
    texts: dict[int, dict[str, None]] = {}
    for number, text in zip(row, told, strict=True):
        texts.setdefault(number, {})[text] = None
    return ["; ".join(texts[number]) for number in wanted]


def _texts(raw: Raw, heading: str, rows: np.ndarray) -> list[str]:
    cells = raw.table[heading].take(rows).to_pylist()
    return [_short(cell or "") for cell in cells]


def _short(text: str) -> str:
    line = " ".join(text[: 4 * SHOWN].split())
    return line if len(line) <= SHOWN and len(text) <= 4 * SHOWN else line[: SHOWN - 1] + "…"
