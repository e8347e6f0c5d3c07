"""What tests keep of what they found, for the page that shows how the program was checked."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from insights.reviewing import alarm_limits

FOLDER_VARIABLE = "STAYSFIXED_CHECKS"
"""A folder: what is checked against outside values, and what is measured, is written there."""


class Kept:
    """What one test found, written only where :data:`FOLDER_VARIABLE` names a folder."""

    def __init__(self, test: str) -> None:
        self.test = test
        self.lines: list[dict[str, Any]] = []

    def write(self) -> None:
        folder = os.environ.get(FOLDER_VARIABLE)
        if not folder or not self.lines:
            return
        # One file a worker: tests may run side by side.
        path = Path(folder) / f"{os.environ.get('PYTEST_XDIST_WORKER', 'main')}.jsonl"
        with path.open("a", encoding="utf-8") as file:
            file.writelines(json.dumps(line, ensure_ascii=False) + "\n" for line in self.lines)


class Outside(Kept):
    """Holds what we find to a value from outside the project, and keeps both."""

    def agrees(
        self,
        what: str,
        found: Any,
        expected: Any,
        *,
        source: str,
        abs: float | None = None,
        rel: float | None = None,
    ) -> None:
        """Assert that a value, or several, is the outside one within a stated tolerance.

        Parameters
        ----------
        what
            What is compared, in words.
        found, expected
            Numbers or arrays of one shape.
        source
            The work or library the expected value is from; after ``"; "``, where in it and how it
            came to us.
        abs, rel
            The tolerance, as ``pytest.approx`` takes it.
        """
        ours, theirs = np.asarray(found, dtype=float), np.asarray(expected, dtype=float)
        assert ours.shape == theirs.shape, (ours.shape, theirs.shape)
        apart = np.nan_to_num(np.abs(ours - theirs).ravel(), nan=0.0)
        farthest = int(apart.argmax())
        self.lines.append(
            {
                "kind": "outside",
                "test": self.test,
                "what": what,
                "source": source,
                "values": int(theirs.size),
                "expected": float(theirs.ravel()[farthest]),
                "found": float(ours.ravel()[farthest]),
                "difference": float(apart[farthest]),
                "allowed": {"abs": abs, "rel": rel},
            }
        )
        assert ours == pytest.approx(theirs, abs=abs, rel=rel, nan_ok=True), what


class Measured(Kept):
    """Keeps what a test measured: coverage, bias, speed."""

    def row(self, table: str, **figures: Any) -> None:
        """Keep one row of a table.

        Parameters
        ----------
        table
            The table's name, the same for each of its rows.
        figures
            Column name to figure, units in the names.
        """
        plain = {
            name: one.item() if isinstance(one, np.generic) else one
            for name, one in figures.items()
        }
        self.lines.append({"kind": "measured", "test": self.test, "table": table, "figures": plain})

    def seconds(self, what: str, benchmark: Any, **figures: Any) -> None:
        """Keep the median time of a benchmark; nothing where none was timed.

        Parameters
        ----------
        what
            What was timed, in words.
        benchmark
            The fixture of pytest-benchmark, after it ran.
        figures
            More of the same row.
        """
        if benchmark.stats is not None:
            median = benchmark.stats.stats.median
            self.row("Speed", what=what, **figures, seconds=float(f"{median:.3g}"))


@pytest.fixture
def outside(request: pytest.FixtureRequest) -> Iterator[Outside]:
    kept = Outside(request.node.nodeid)
    yield kept
    kept.write()


@pytest.fixture
def measured(request: pytest.FixtureRequest) -> Iterator[Measured]:
    kept = Measured(request.node.nodeid)
    yield kept
    kept.write()


@pytest.fixture(scope="module")
def rough_limits() -> Iterator[None]:
    """Work limits of charts out on few walks, for tests of what is said and not of how well."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alarm_limits, "PATHS", alarm_limits.FEWEST_PATHS)
        alarm_limits._walks.cache_clear()
        yield
    alarm_limits._walks.cache_clear()
