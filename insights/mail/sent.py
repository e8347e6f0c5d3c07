"""Which months were mailed: begun before the mail goes out, so that none goes out twice."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from insights.errors import MailError, SourceError
from insights.history.book.kinds import MONTH_MAILED
from insights.history.declared import home_folder

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.history.book.people import Person

BEGUN, SENT = "begun", "sent"
State = dict[str, Any]


class Log(Protocol):
    """Where it is written down how far a month's mail is."""

    def read(self, month: str) -> State | None:
        """Read how far a month is; None: not begun."""

    def begin(self, month: str, state: State, before: State | None) -> None:
        """Write that it is begun; fails where someone else began it since ``before`` was read."""

    def write(self, month: str, state: State | None) -> None:
        """Write how far it is; None: not begun after all."""


def already_sent(log: Log, month: str) -> State | None:
    """Give what is known of a month that was mailed; None where it was not.

    Raises
    ------
    MailError
        Its mail was begun and never ended.
    """
    found = log.read(month)
    if found is not None and found["state"] == BEGUN:
        raise MailError(
            f"Mailing the summary of {month} was begun on {found['at']} and never ended: it may "
            "have been sent. Look into the mailbox, then say --again to send it once more."
        )
    return found


def begun(to: tuple[str, ...]) -> State:
    """Say that a mail is begun now."""
    return {"state": BEGUN, "at": _now(), "to": list(to)}


def sent(to: tuple[str, ...]) -> State:
    """Say that a mail was sent now."""
    return {"state": SENT, "at": _now(), "to": list(to)}


def _now() -> str:
    return datetime.now(UTC).isoformat(sep=" ", timespec="minutes")


class BookLog:
    """Months mailed, as records of the book.

    Parameters
    ----------
    book, person
        Opened for writing, and who writes.
    """

    def __init__(self, book: Book, person: Person) -> None:
        self._book, self._person = book, person
        self._numbers: dict[str, int] = {}

    def read(self, month: str) -> State | None:
        """Read how far a month is."""
        found = self._book.get(MONTH_MAILED, month)
        self._numbers[month] = 0 if found is None else found.number
        return None if found is None else found.body

    def begin(self, month: str, state: State, before: State | None) -> None:
        """Write that it is begun, unless someone else wrote since it was read."""
        expected = self._numbers[month]
        self._book.put(MONTH_MAILED, month, state, by=self._person, expected=expected)

    def write(self, month: str, state: State | None) -> None:
        """Write how far it is."""
        self._book.put(MONTH_MAILED, month, state, by=self._person)


class FileLog:
    """Months mailed of a source that is a file, in a small file each in the user's folder.

    Parameters
    ----------
    source
        The file's path.
    """

    def __init__(self, source: str | Path) -> None:
        mark = hashlib.sha256(str(Path(source).resolve()).encode()).hexdigest()[:16]
        self._folder = home_folder() / "mailed" / mark

    def read(self, month: str) -> State | None:
        """Read how far a month is."""
        path = self._path(month)
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        except OSError as error:
            raise SourceError(f"{path} can't be read: {error.strerror}.") from error
        except ValueError as error:
            raise SourceError(
                f"{path} says which month was mailed and can't be read. Look into the mailbox, "
                "then remove it."
            ) from error
        if not isinstance(found, dict) or found.get("state") not in (BEGUN, SENT):
            raise SourceError(f"{path} is not what was written there. Remove it.")
        return found

    def begin(self, month: str, state: State, before: State | None) -> None:
        """Write that it is begun, unless another run did in the same moment."""
        if before is not None:
            self.write(month, state)
            return
        path = self._path(month)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8") as file:
                json.dump(state, file)
        except FileExistsError as error:
            raise MailError(f"The summary of {month} is being mailed by another run.") from error
        except OSError as error:
            raise SourceError(f"{path} can't be written: {error.strerror}.") from error

    def write(self, month: str, state: State | None) -> None:
        """Write how far it is."""
        path = self._path(month)
        try:
            if state is None:
                path.unlink(missing_ok=True)
                return
            beside = path.with_suffix(".part")
            beside.write_text(json.dumps(state), encoding="utf-8")
            beside.replace(path)
        except OSError as error:
            raise SourceError(f"{path} can't be written: {error.strerror}.") from error

    def _path(self, month: str) -> Path:
        return self._folder / f"{month}.json"
