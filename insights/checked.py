"""How the program was checked: what its tests found, as written down when they were run.

The file beside this module is written by ``python tests/write_checks.py`` and by nothing else.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

RECORD = Path(__file__).with_name("checks.json")
SPEED = "Speed"
"""The name of the table of times."""

OUTSIDE = (
    "test", "what", "source", "values", "expected", "found", "difference",
    "allowed_abs", "allowed_rel", "date",
)  # fmt: skip


@dataclass(frozen=True)
class Measured:
    """One table of figures measured on seeded shops, or of times.

    Parameters
    ----------
    name
        What was measured.
    rows
        The figures, units in the columns' names; shares between 0 and 1.
    dates
        The days of the runs the rows are from, in order.
    """

    name: str
    rows: pd.DataFrame
    dates: tuple[pd.Timestamp, ...]

    @property
    def key(self) -> str:
        """The name as a file may bear it."""
        return "-".join(re.findall("[a-z0-9]+", self.name.lower()))


@dataclass(frozen=True)
class Checked:
    """What was compared with values from outside the project, and what was measured.

    Parameters
    ----------
    outside
        One row a comparison: ``test``, its ``room`` (the folder of the tests; empty for the whole
        program), ``what``, ``source``, ``work`` (the source without the place in it), ``values``
        compared, of which the one farthest apart is given as
        ``expected``, ``found`` and ``difference``; the difference ``allowed_abs`` or
        ``allowed_rel`` (of the expected value); ``date``.
    recovered
        Tables of how often intervals held the truth of invented shops, and the like.
    speed
        Times on the machine of the run; None where none were taken.
    runs
        One row a run: ``date``, ``commit``, ``python``, ``processors``, ``libraries``.
    """

    outside: pd.DataFrame
    recovered: tuple[Measured, ...]
    speed: Measured | None
    runs: pd.DataFrame


def read_checked(path: Path = RECORD) -> Checked:
    """Read what was written down.

    Parameters
    ----------
    path
        The file; the one that came with the program when not given.

    Returns
    -------
    Checked
        Comparisons, tables and runs.
    """
    record = json.loads(path.read_text("utf-8"))
    dates = {name: pd.Timestamp(run["date"]) for name, run in record["runs"].items()}
    measured = _tables(record["measured"], dates)
    return Checked(
        _outside(record["outside"], dates),
        tuple(table for name, table in measured.items() if name != SPEED),
        measured.get(SPEED),
        pd.DataFrame(
            list(record["runs"].values()),
            columns=["date", "commit", "python", "processors", "libraries"],
        ),
    )


def _outside(entries: list[dict[str, Any]], dates: dict[str, pd.Timestamp]) -> pd.DataFrame:
    rows = [
        entry
        | {
            "allowed_abs": entry["allowed"]["abs"],
            "allowed_rel": entry["allowed"]["rel"],
            "date": dates[entry["run"]],
        }
        for entry in entries
    ]
    frame = pd.DataFrame(rows, columns=list(OUTSIDE))
    for name in ("allowed_abs", "allowed_rel"):
        frame[name] = frame[name].astype(float)
    # What stands before the first semicolon names the work, the rest the place in it.
    return frame.assign(
        work=frame["source"].str.partition(";")[0],
        room=frame["test"].str.extract("tests/([a-z]+)/", expand=False).fillna(""),
    )


def _tables(entries: list[dict[str, Any]], dates: dict[str, pd.Timestamp]) -> dict[str, Measured]:
    by_name: dict[str, list[dict[str, Any]]] = {}
    for entry in entries:
        by_name.setdefault(entry["table"], []).append(entry)
    return {
        name: Measured(
            name,
            pd.DataFrame([entry["figures"] for entry in rows]),
            tuple(sorted({dates[entry["run"]] for entry in rows})),
        )
        for name, rows in by_name.items()
    }
