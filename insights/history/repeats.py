"""Rows of one source under the same job number: identical ones skipped, others refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from insights.history.raw import Flaw, Raw
from insights.history.values import trimmed

_NAMED = 5


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
    cells = pd.DataFrame(
        {name: pc.fill_null(trimmed(raw.table[name].take(pa.array(rows))), "").to_pandas()
         for name in raw.table.column_names}
    )  # fmt: skip
    skipped[rows] = cells.duplicated().to_numpy()
    left = cells[~skipped[rows]]
    left = left[left[heading] != ""]
    groups = left.groupby(heading, sort=False).indices
    positions = rows[left.index.to_numpy()]
    return Repeats(skipped, tuple(_clashes(raw, heading, positions, groups)))


def _clashes(
    raw: Raw, heading: str, positions: np.ndarray, groups: dict[str, np.ndarray]
) -> list[Flaw]:
    flaws = []
    for places in groups.values():
        if len(places) < 2:
            continue
        mine = positions[places]
        named = ", ".join(str(number) for number in raw.rows[mine][:_NAMED])
        more = " and more" if len(mine) > _NAMED else ""
        flaws.append(
            Flaw(
                mine,
                heading,
                f"the same job number in rows {named}{more}, with different content",
                "keep the right row, or give the other job a number of its own",
            )
        )
    return flaws
