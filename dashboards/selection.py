"""Which hand-backs and which rules an answer is for, and how that is written in an address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from insights.errors import RequestError
from insights.followup import COUNTS, FOLLOWS, Count, Follow, as_day
from insights.grouping import DERIVED

FILTER_COLUMNS = ("model", "technician")


@dataclass(frozen=True)
class Selection:
    """What the reader asked for.

    Parameters
    ----------
    since, until
        First and last day of hand-back, as ``2026-03-09``; None: no limit.
    model, technician
        Values to keep; none: all of them.
    follow, count
        The clock's rules (:func:`insights.followup.follow_up`).
    by
        The column whose groups are compared; None: all jobs together.
    """

    since: str | None = None
    until: str | None = None
    model: tuple[str, ...] = ()
    technician: tuple[str, ...] = ()
    follow: Follow = "covered"
    count: Count = "faults"
    by: str | None = None

    @property
    def where(self) -> dict[str, tuple[str, ...]]:
        """The values to keep, for :func:`insights.followup.select`."""
        kept = {"model": self.model, "technician": self.technician}
        return {name: values for name, values in kept.items() if values}


def to_address(selection: Selection) -> dict[str, list[str]]:
    """Write what differs from the default as an address's query.

    Parameters
    ----------
    selection
        Anything.
    """
    query = {}
    for field in fields(Selection):
        value = getattr(selection, field.name)
        if value != field.default:
            query[field.name] = list(value) if isinstance(value, tuple) else [value]
    return query


def from_address(query: Mapping[str, Sequence[str]]) -> tuple[Selection, tuple[str, ...]]:
    """Read a selection from an address's query.

    Parameters
    ----------
    query
        Values by name, as :func:`to_address` writes them. Whether the record has such a model,
        technician or column is left to the widgets, which know the record.

    Returns
    -------
    Selection
    tuple of str
        What was asked for and means nothing, each as ``name = value``.
    """
    wanted: dict[str, object] = {}
    refused = []
    for name, values in query.items():
        good = [value for value in values if _makes_sense(name, value)]
        refused += [f"{name} = {value}" for value in values if value not in good]
        if good:
            wanted[name] = tuple(good) if name in FILTER_COLUMNS else good[-1]
    return Selection(**wanted), tuple(refused)  # type: ignore[arg-type]


def label_of(name: str) -> str:
    """Name a grouping column in words.

    Parameters
    ----------
    name
        One of :attr:`insights.followup.Followup.groupable`.
    """
    for prefix, label in (("practice_", "Practice: "), ("lot_", "Lot of ")):
        if name.startswith(prefix):
            return label + name.removeprefix(prefix).replace("_", " ")
    if name in DERIVED:
        return _capital(DERIVED[name])
    return _capital(name.replace("_", " "))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _makes_sense(name: str, value: str) -> bool:
    if name in ("since", "until"):
        return _is_day(value)
    rules = {"follow": FOLLOWS, "count": COUNTS}
    return value in rules[name] if name in rules else name in (*FILTER_COLUMNS, "by")


def _is_day(text: str) -> bool:
    try:
        as_day(text, "day")
    except RequestError:
        return False
    return True
