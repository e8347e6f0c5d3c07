"""What a user has said about a source, kept as JSON and remembered by its headings."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from insights.errors import FormatQuestion, HeadingsError, SourceError
from insights.history.schema import column

HOME_VARIABLE = "STAYSFIXED_HOME"
# Told apart from year-month-day by nothing in the cell, so it can't stand beside it.
_UNSAFE_FORMAT = "%Y-%d-%m"


@dataclass(frozen=True)
class Declared:
    """How a source is to be read, as the user states it.

    Parameters
    ----------
    headings
        The source's heading -> our heading; an empty value leaves the column aside.
    date_format
        A ``strptime`` format of the dates that are not year-month-day, such as ``%d/%m/%Y``;
        None: all dates are year-month-day (ISO 8601).
    decimal
        The decimal mark of amounts, ``.`` or ``,``.
    currency
        The one currency of every amount; empty: not stated.
    sheet
        The sheet of a workbook; None: the only one that holds anything.

    Raises
    ------
    HeadingsError
        A heading is mapped to a name that is not ours, or two to the same one.
    FormatQuestion
        The date format or the decimal mark can't be used.
    """

    headings: dict[str, str] = field(default_factory=dict)
    date_format: str | None = None
    decimal: str = "."
    currency: str = ""
    sheet: str | None = None

    def __post_init__(self) -> None:
        _check_headings(self.headings)
        if self.decimal not in (".", ","):
            raise FormatQuestion(
                f"The decimal mark {self.decimal!r} can't be used. Declare '.' or ','."
            )
        if self.date_format is not None:
            _check_format(self.date_format)

    def save(self, path: str | Path) -> None:
        """Write it as a JSON file.

        Parameters
        ----------
        path
            The file to write.
        """
        text = json.dumps(asdict(self), indent=2, ensure_ascii=False)
        try:
            Path(path).parent.mkdir(parents=True, exist_ok=True)
            Path(path).write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            raise SourceError(f"{path} can't be written: {error.strerror}.") from error

    @classmethod
    def load(cls, path: str | Path) -> Declared:
        """Read it from a JSON file.

        Parameters
        ----------
        path
            A file as :meth:`save` writes it; any of its keys may be absent.

        Raises
        ------
        SourceError
            The file can't be read, or is not such a file.
        """
        try:
            given = json.loads(Path(path).read_text(encoding="utf-8"))
        except OSError as error:
            raise SourceError(f"{path} can't be read: {error.strerror}.") from error
        except ValueError as error:
            raise SourceError(f"{path} is not a JSON file: {error}. Mend or remove it.") from error
        return cls(**_checked(given, path))


def remember(headings: Iterable[str], declared: Declared) -> Path:
    """Keep a declaration for every later source with the same headings.

    Parameters
    ----------
    headings
        All headings of the source, in any order.
    declared
        What the user confirmed.

    Returns
    -------
    pathlib.Path
        The file it was written to.
    """
    path = _remembered_path(headings)
    declared.save(path)
    return path


def recall(headings: Iterable[str]) -> Declared | None:
    """Find the declaration remembered for these headings, if there is one.

    Parameters
    ----------
    headings
        All headings of the source, in any order.
    """
    path = _remembered_path(headings)
    return Declared.load(path) if path.is_file() else None


def home_folder() -> Path:
    """Give the folder in which the program keeps what it is to remember.

    Raises
    ------
    SourceError
        The user has no home folder.
    """
    named = os.environ.get(HOME_VARIABLE)
    try:
        return Path(named) if named else Path.home() / ".staysfixed"
    except RuntimeError as error:
        raise SourceError(
            f"There is no home folder to remember things in. Set {HOME_VARIABLE} to a folder."
        ) from error


def _remembered_path(headings: Iterable[str]) -> Path:
    key = json.dumps(sorted(headings), ensure_ascii=False)
    name = f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.json"
    return home_folder() / "headings" / name


def _check_headings(headings: dict[str, str]) -> None:
    taken: dict[str, str] = {}
    for theirs, ours in headings.items():
        if not ours:
            continue
        if column(ours) is None:
            raise HeadingsError(
                f"The heading {theirs!r} is mapped to {ours!r}, which is not a column of the job "
                "history. Map it to one, or to nothing to leave it aside."
            )
        if ours in taken:
            raise HeadingsError(
                f"The headings {taken[ours]!r} and {theirs!r} are both mapped to {ours!r}. "
                "Keep one of them."
            )
        taken[ours] = theirs


def _check_format(date_format: str) -> None:
    sample = datetime(2026, 11, 23)
    written = sample.strftime(date_format)
    try:
        # Without a year nothing is read back: Python is about to refuse that in its own way.
        has_year = written != sample.replace(year=2025).strftime(date_format)
        back = datetime.strptime(written, date_format) if has_year else None
    except ValueError:
        back = None
    if back is None or back.date() != sample.date() or _UNSAFE_FORMAT in date_format:
        raise FormatQuestion(
            f"The date format {date_format!r} can't be used: it must hold day, month and year, "
            "for instance %d/%m/%Y. Declare the format your dates are written in."
        )
    if "%z" in date_format or "%Z" in date_format:
        raise FormatQuestion(
            f"The date format {date_format!r} holds a time zone, and days have none. "
            "Declare a format without it."
        )


def _checked(given: Any, path: str | Path) -> dict[str, Any]:
    known = {f.name for f in fields(Declared)}
    if not isinstance(given, dict) or set(given) - known:
        raise SourceError(f"{path} is not a declaration: it may hold {', '.join(sorted(known))}.")
    headings = given.get("headings", {})
    texts = {name: value for name, value in given.items() if name != "headings"}
    optional = ("date_format", "sheet")
    fine = isinstance(headings, dict) and all(isinstance(v, str) for v in headings.values())
    for name, value in texts.items():
        fine = fine and (isinstance(value, str) or (value is None and name in optional))
    if not fine:
        raise SourceError(f"{path} is not a declaration: every value in it must be a text.")
    return given
