"""Parts fitted and their lots, as lines of a form and as the history's columns."""

from __future__ import annotations

import re
from collections.abc import Mapping

from insights.errors import EntryError

PART, LOT = "part", "lot"
_PREFIX = "lot_"


def lines_of(values: Mapping[str, object]) -> dict[str, str]:
    """Write a job's lots as lines: ``part-1``, ``lot-1``, ``part-2``, ...

    Parameters
    ----------
    values
        A job's values under the history's headings.
    """
    lines: dict[str, str] = {}
    lots = [name for name in sorted(values) if name.startswith(_PREFIX)]
    for number, name in enumerate(lots, start=1):
        lines[f"{PART}-{number}"] = name.removeprefix(_PREFIX)
        lines[f"{LOT}-{number}"] = str(values[name])
    return lines


def lots_from(lines: Mapping[str, str], before: Mapping[str, object]) -> dict[str, str | None]:
    """Read lines into the history's columns.

    Parameters
    ----------
    lines
        ``part-<n>`` and ``lot-<n>`` as typed; other names are passed over.
    before
        The job's values, whose lots that are in no line any more are taken out.

    Returns
    -------
    dict
        ``lot_<part>`` -> lot; None: taken out.

    Raises
    ------
    EntryError
        A part without its lot, a lot without its part, a part named twice, or a name that makes
        no column.
    """
    lots: dict[str, str | None] = {name: None for name in before if name.startswith(_PREFIX)}
    problems: list[tuple[str, str, str, str]] = []
    seen: set[str] = set()
    for number in _numbers(lines):
        part, lot = (lines.get(f"{kind}-{number}", "").strip() for kind in (PART, LOT))
        if not part and not lot:
            continue
        column = column_of(part)
        problem = _problem(number, part, lot, column, seen)
        if problem:
            problems.append(problem)
        seen.add(column)
        lots[column] = lot
    if problems:
        raise EntryError(tuple(problems))
    return lots


def next_line(lines: Mapping[str, str]) -> int:
    """Give the number of the first line after those that hold anything."""
    return max((number for number in _numbers(lines) if _holds(lines, number)), default=0) + 1


def column_of(part: str) -> str:
    """Name the history's column of a part: "Steam valve" is ``lot_steam_valve``."""
    return _PREFIX + re.sub(r"[^a-z0-9]+", "_", part.strip().lower()).strip("_")


def _holds(lines: Mapping[str, str], number: int) -> bool:
    return any(lines.get(f"{kind}-{number}", "").strip() for kind in (PART, LOT))


def _numbers(lines: Mapping[str, str]) -> list[int]:
    matches = (re.fullmatch(rf"(?:{PART}|{LOT})-(\d+)", name) for name in lines)
    return sorted({int(found[1]) for found in matches if found})


def _problem(
    number: int, part: str, lot: str, column: str, seen: set[str]
) -> tuple[str, str, str, str] | None:
    if not part:
        return (f"{PART}-{number}", lot, "a lot without its part", "name the part it is of")
    if column == _PREFIX:
        remedy = "write it with letters a to z or digits"
        return (f"{PART}-{number}", part, "this makes no name of a part", remedy)
    if column in seen:
        remedy = "name them apart, such as valve left and valve right"
        return (f"{PART}-{number}", part, "the part is there already", remedy)
    if not lot:
        remedy = "scan the lot from its bag, or write unmarked where it bears none"
        return (f"{LOT}-{number}", "", "the lot is missing", remedy)
    return None
