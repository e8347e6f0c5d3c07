"""A source as it stands: every cell as text, every row with the number a spreadsheet shows."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

TEXT = pa.large_string()
FEWEST_HEADINGS = 3
"""A job history needs as many; a row that fills fewer cells is not its heading row."""
_MOST_TITLES = 10


@dataclass(frozen=True)
class Flaw:
    """One kind of problem in one column, and the rows that have it.

    Parameters
    ----------
    rows
        Positions in the raw table.
    heading
        The column, as the source calls it; empty where the whole row is meant.
    problem
        What is wrong: one text for all, or an array of one text per row.
    remedy
        What to do about it.
    """

    rows: np.ndarray
    heading: str
    problem: str | np.ndarray
    remedy: str

    def where(self, rows: np.ndarray) -> Flaw:
        """Keep it for some rows only.

        Parameters
        ----------
        rows
            True for each row of the raw table to keep, shape (N,).
        """
        kept = rows[self.rows]
        told = self.problem if isinstance(self.problem, str) else self.problem[kept]
        return replace(self, rows=self.rows[kept], problem=told)


@dataclass(frozen=True)
class Raw:
    """Cells as text.

    Parameters
    ----------
    table
        One text column per heading, of plain text or of distinct texts and where each stands
        (:func:`each_once`); empty cells are null.
    rows
        The row number of each row as a spreadsheet shows it (the first line is 1), shape (N,).
    flaws
        Problems already met while reading.
    remarks
        What a reader should know, as pairs of code and text.
    """

    table: pa.Table
    rows: np.ndarray
    flaws: tuple[Flaw, ...] = ()
    remarks: tuple[tuple[str, str], ...] = ()

    @property
    def headings(self) -> tuple[str, ...]:
        """The source's own headings."""
        return tuple(self.table.column_names)

    def head(self, limit: int = 1000) -> pd.DataFrame:
        """Show the first rows as a frame of text.

        Parameters
        ----------
        limit
            At most this many rows.
        """
        return self.table.slice(0, limit).to_pandas().astype(object)


def titles_above(rows: Iterable[Sequence[str | None]]) -> int:
    """Count the rows above the heading row: a title, a date, an empty line.

    Parameters
    ----------
    rows
        Cells of the first rows.

    Returns
    -------
    int
        0 where no row soon fills as many cells as a job history has headings.
    """
    for place, cells in enumerate(itertools.islice(rows, _MOST_TITLES + 1)):
        if sum(bool((cell or "").strip()) for cell in cells) >= FEWEST_HEADINGS:
            return place
    return 0


def titles_remark(titles: Sequence[Sequence[str | None]]) -> tuple[tuple[str, str], ...]:
    """Say which rows above the heading row are left aside; nothing where none are."""
    words = [" ".join(cell for cell in cells if cell) for cells in titles]
    shown = "; ".join(text for text in words if text.strip())
    if not shown:
        return ()
    return (("titles", f"Left aside above the heading row: {shown}."),)


def distinct_headings(given: Iterable[str | None]) -> list[str]:
    """Give every column a heading of its own.

    Parameters
    ----------
    given
        The cells of the heading row. An empty one is called after its letter in a spreadsheet,
        a repeated one gets a number.
    """
    seen: dict[str, int] = {}
    names = []
    for place, cell in enumerate(given):
        name = " ".join((cell or "").split()) or f"column {_letters(place)}"
        seen[name] = seen.get(name, 0) + 1
        while seen[name] > 1:
            name = f"{name} ({seen[name]})"
            seen[name] = seen.get(name, 0) + 1
        names.append(name)
    return names


def each_once(places: pa.Array, texts: pa.Array) -> pa.DictionaryArray:
    """Keep a column of few distinct texts as these texts and the place of each cell's.

    Parameters
    ----------
    places
        Where in ``texts`` each cell's is; null where it is empty.
    texts
        Texts, some of which may be alike or null.
    """
    encoded = texts.dictionary_encode()
    return pa.DictionaryArray.from_arrays(encoded.indices.take(places), encoded.dictionary)


def text_table(headings: Sequence[str], columns: Sequence[Sequence[str | None]]) -> pa.Table:
    """Build the table of text from lists of cells."""
    arrays = [pa.array(cells, type=TEXT) for cells in columns]
    return pa.Table.from_arrays(arrays, names=list(headings))


def _letters(place: int) -> str:
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
