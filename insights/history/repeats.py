"""Rows of one source under the same job number: identical ones skipped, others refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from insights.history.raw import Flaw, Raw
from insights.history.values import plain_text, trimmed


@dataclass(frozen=True)
class Repeats:
    """What was found.

    Parameters
    ----------
    skipped
        True where a row repeats an earlier one in every cell, shape (N,).
    flaws
        Rows that share a job number and differ otherwise.
    """

    skipped: np.ndarray
    flaws: tuple[Flaw, ...]


def find_repeats(raw: Raw, heading: str) -> Repeats:
    """Find rows under the same job number.

    Parameters
    ----------
    raw
        The source as text.
    heading
        What the source calls the job's number.
    """
    skipped = np.zeros(raw.table.num_rows, dtype=bool)
    codes = trimmed(raw.table[heading]).dictionary_encode().indices
    known = codes.fill_null(0).to_numpy(zero_copy_only=False)
    several = (np.bincount(known)[known] > 1) | np.asarray(codes.is_null())
    rows = np.flatnonzero(several)
    if not len(rows):
        return Repeats(skipped, ())
    alike = raw.table.take(pa.array(rows))
    texts = {name: plain_text(trimmed(alike[name])) for name in alike.column_names}
    cells = pd.DataFrame({name: pc.fill_null(cell, "").to_pandas() for name, cell in texts.items()})
    skipped[rows] = cells.duplicated().to_numpy()
    left = cells.loc[~skipped[rows], heading]
    left = left[left != ""]
    left = left[left.duplicated(keep=False)]
    return Repeats(skipped, (_clash(raw, heading, rows, left),) if len(left) else ())


def _clash(raw: Raw, heading: str, rows: np.ndarray, ids: pd.Series) -> Flaw:
    """Name, for each row, another one with the same number: the first, or for it the second."""
    positions = rows[ids.index.to_numpy()]
    number = pd.Series(raw.rows[positions], index=ids.index)
    groups = number.groupby(ids, sort=False)
    first, second = groups.transform("first"), _second(number, ids)
    other = first.where(number != first, second).astype(str)
    more = np.where(groups.transform("size") > 2, " and others", "")
    return Flaw(
        positions,
        heading,
        ("the same job number as row " + other + more + ", with different content").to_numpy(),
        "keep the right row, or give the other job a number of its own",
    )


def _second(number: pd.Series, ids: pd.Series) -> pd.Series:
    """Find the second row number of each job number, one a row."""
    later = number[ids.duplicated()]
    later = later.groupby(ids[later.index], sort=False).first()
    return ids.map(later)
