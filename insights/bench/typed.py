"""The owner's lists as typed into a form, and back: limits, sheets, instruments."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date
from typing import Any

from insights.bench.readings import CALIBRATION_DAYS, Limit
from insights.bench.rules import RULES, rule_from_json, rule_to_json
from insights.bench.sheets import Instrument, ModelSheet, Practice
from insights.errors import EntryError
from insights.history.book.checking import checked
from insights.history.book.entries import Settings
from insights.history.declared import Declared

YES, NO = "yes", "no"
_NUMBER, _DAY = "reading_typed_n", "received"
"""Columns whose rules a number and a day are read by, as everywhere else in the book."""


def numbers_of(rule: str) -> tuple[str, ...]:
    """Name the numbers that a kind of limit asks for; shares are typed in percent."""
    return tuple(field.name for field in dataclasses.fields(RULES[rule]))


def limit_from_typed(typed: Mapping[str, str], settings: Settings, today: date) -> Limit:
    """Read a limit.

    Parameters
    ----------
    typed
        ``rule`` (a key of :data:`insights.bench.rules.RULES`), its numbers, ``quantity``,
        ``unit``, ``model``, ``protection``, ``required`` and ``confirmed`` (yes or no),
        ``source``.
    settings
        The book's decimal mark.
    today
        The day it is typed.

    Raises
    ------
    EntryError
        A number is missing or can't be read.
    RequestError
        The kind, the names or a number make no sense.
    """
    name = typed.get("rule", "")
    numbers = {}
    for number in numbers_of(name) if name in RULES else ():
        numbers[number] = _rule_number(number, typed.get(number, ""), settings, today)
    return Limit(
        quantity=typed.get("quantity", "").strip(),
        unit=typed.get("unit", "").strip(),
        rule=rule_from_json({"rule": name, **numbers}),
        model=typed.get("model", "").strip(),
        protection=typed.get("protection", ""),
        required=typed.get("required", YES) != NO,
        confirmed=typed.get("confirmed", NO) == YES,
        source=typed.get("source", "").strip(),
    )


def limit_as_typed(limit: Limit, settings: Settings) -> dict[str, str]:
    """Write a limit as it would be typed; :func:`limit_from_typed` reads it again."""
    data = rule_to_json(limit.rule)
    numbers = {
        name: _as_typed(value * 100 if name.endswith("_share") else value, settings)
        for name, value in data.items()
        if name != "rule"
    }
    return {
        "rule": data["rule"],
        **numbers,
        "quantity": limit.quantity,
        "unit": limit.unit,
        "model": limit.model,
        "protection": limit.protection,
        "required": YES if limit.required else NO,
        "confirmed": YES if limit.confirmed else NO,
        "source": limit.source,
    }


def numbers_to_start_from(rule: str, settings: Settings) -> dict[str, str]:
    """Write the numbers a kind of limit has of its own, such as the tolerance of an element."""
    usual = {
        field.name: field.default
        for field in dataclasses.fields(RULES[rule])
        if field.default is not dataclasses.MISSING
    }
    return {
        name: _as_typed(value * 100 if name.endswith("_share") else value, settings)
        for name, value in usual.items()
    }


def sheet_from_typed(typed: Mapping[str, str]) -> ModelSheet:
    """Read a model's sheet.

    Parameters
    ----------
    typed
        ``model``, ``protection``, and ``checklist``: one practice a line with its levels, such
        as ``contacts: cleaned, left``.

    Raises
    ------
    EntryError
        A line of the checklist is not written so.
    RequestError
        A name or a level makes no sense.
    """
    practices = []
    for line in typed.get("checklist", "").splitlines():
        if not line.strip():
            continue
        name, colon, levels = line.partition(":")
        if not colon:
            remedy = "write a name, a colon and its levels, like contacts: cleaned, left"
            raise EntryError((("checklist", line, f"'{line.strip()}' has no levels", remedy),))
        words = tuple(level.strip() for level in levels.split(","))
        practices.append(Practice(name.strip(), words))
    return ModelSheet(typed.get("model", "").strip(), typed.get("protection", ""), tuple(practices))


def sheet_as_typed(sheet: ModelSheet) -> dict[str, str]:
    """Write a sheet as it would be typed; :func:`sheet_from_typed` reads it again."""
    lines = [f"{practice.name}: {', '.join(practice.levels)}" for practice in sheet.checklist]
    return {
        "model": sheet.model,
        "protection": sheet.protection,
        "checklist": "\n".join(lines),
    }


def instrument_from_typed(typed: Mapping[str, str], settings: Settings, today: date) -> Instrument:
    """Read an instrument.

    Parameters
    ----------
    typed
        ``name``, ``calibrated_on`` (a day, or empty), ``calibration_days``, ``in_use`` (yes or
        no).
    settings, today
        The book's decimal mark; no calibration lies after this day.

    Raises
    ------
    EntryError
        A day or a number can't be read.
    RequestError
        It has no name, or the interval is no day long.
    """
    day = _read(_DAY, "calibrated_on", typed.get("calibrated_on", ""), settings, today)
    interval = typed.get("calibration_days", "").strip()
    days = CALIBRATION_DAYS
    if interval:
        days = int(_read(_NUMBER, "calibration_days", interval, settings, today))
    return Instrument(
        typed.get("name", "").strip(),
        None if day is None else day.date(),
        days,
        typed.get("in_use", YES) != NO,
    )


def instrument_as_typed(instrument: Instrument) -> dict[str, str]:
    """Write an instrument as it would be typed."""
    return {
        "name": instrument.name,
        "calibrated_on": f"{instrument.calibrated_on or ''}",
        "calibration_days": str(instrument.calibration_days),
        "in_use": YES if instrument.in_use else NO,
    }


def _rule_number(name: str, text: str, settings: Settings, today: date) -> float:
    value = _read(_NUMBER, name, text, settings, today)
    if value is None:
        raise EntryError(((name, "", "the field is empty", "give a number"),))
    if name.endswith("_share"):
        return float(value) / 100
    return int(value) if name == "elements" and value == int(value) else float(value)


def _read(column: str, name: str, text: str, settings: Settings, today: date) -> Any:
    """Read a cell by a column's rules, and name the form's field where it can't be read."""
    declared = Declared(decimal=settings.decimal)
    try:
        digits = settings.minor_digits
        cell = checked({column: text}, digits=digits, declared=declared, today=today)
    except EntryError as error:
        problems = ((name, found, said, remedy) for _, found, said, remedy in error.problems)
        raise EntryError(tuple(problems)) from None
    return cell[column]


def _as_typed(value: float, settings: Settings) -> str:
    return f"{value:.12g}".replace(".", settings.decimal)
