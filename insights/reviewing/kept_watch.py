"""What the job book keeps for the watch: settings, actions on signals, how far each call is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from insights.errors import RequestError
from insights.history.book.kinds import CALL_IN, SIGNAL_ACTION, WATCH, WHOLE_BOOK
from insights.history.book.people import OWNER
from insights.reviewing.recall import STATUS_COLUMNS, STATUSES
from insights.reviewing.signals import ACTION_COLUMNS, CHANCE
from insights.reviewing.watch import FALSE_ALARMS_A_YEAR

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.history.book.entries import Record
    from insights.history.book.people import Person


@dataclass(frozen=True)
class WatchSettings:
    """What the owner wants watched.

    Parameters
    ----------
    dangerous
        Root causes of which the first case is a signal.
    false_alarms_a_year
        Put up with over all charts together.

    Raises
    ------
    RequestError
        A number of false alarms that is not above zero.
    """

    dangerous: tuple[str, ...] = ()
    false_alarms_a_year: float = FALSE_ALARMS_A_YEAR

    def __post_init__(self) -> None:
        if not self.false_alarms_a_year > 0:
            raise RequestError("False alarms a year: give a number above zero, such as 1.")


def settings_of(book: Book) -> WatchSettings:
    """Read what the owner wants watched."""
    kept = book.get(WATCH, WHOLE_BOOK)
    if kept is None or kept.body is None:
        return WatchSettings()
    return WatchSettings(tuple(kept.body["dangerous"]), float(kept.body["false_alarms_a_year"]))


def keep_settings(book: Book, settings: WatchSettings, *, by: Person) -> Record:
    """Store what is to be watched; only an owner may."""
    body = {
        "dangerous": list(settings.dangerous),
        "false_alarms_a_year": settings.false_alarms_a_year,
    }
    return book.put(WATCH, WHOLE_BOOK, body, by=by, roles=OWNER)


def actions_of(book: Book) -> pd.DataFrame:
    """List what was done about signals, as :func:`insights.reviewing.watch.watch` takes it."""
    bodies = [record.body for record in book.all_of(SIGNAL_ACTION).values() if record.body]
    return pd.DataFrame(bodies, columns=[*ACTION_COLUMNS, CHANCE])


def keep_action(
    book: Book, chart: str, date: str, done: str, *, chance: bool, by: Person
) -> Record:
    """Store what was done about a signal; the same chart and day again replaces it.

    Raises
    ------
    RequestError
        Nothing is said of what was done.
    """
    if not done.strip():
        raise RequestError("Write what was done about it, if only 'looked, nothing found'.")
    body = {"chart": chart, "date": date, "done": done.strip(), CHANCE: "yes" if chance else "no"}
    return book.put(SIGNAL_ACTION, f"{chart} {date}", body, by=by)


def statuses_of(book: Book, chart: str) -> pd.DataFrame:
    """List how far each call about a chart is, as a recall list takes it."""
    bodies = [record.body for record in book.all_of(CALL_IN).values() if record.body]
    rows = [body for body in bodies if body["chart"] == chart]
    return pd.DataFrame(rows, columns=["chart", *STATUS_COLUMNS])[list(STATUS_COLUMNS)]


def keep_status(book: Book, chart: str, job_id: str, status: str, *, by: Person) -> Record:
    """Store how far the call about one unit is.

    Raises
    ------
    RequestError
        There is no such status.
    """
    if status not in STATUSES:
        raise RequestError(f"'{status}' is no status. Write one of: {', '.join(STATUSES)}.")
    body = {"chart": chart, "job_id": job_id, "status": status}
    return book.put(CALL_IN, f"{chart} {job_id}", body, by=by)
