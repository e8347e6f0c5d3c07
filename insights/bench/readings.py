"""What is measured before a unit leaves, and how far it may go; both as data that is kept."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal

from insights.bench.from_json import kept_as
from insights.bench.rules import Rule, rule_from_json, rule_to_json
from insights.errors import RequestError
from insights.history.schema import column

PROTECTIONS: dict[str, str] = {
    "I": "class I (earthed)",
    "I_heating": "class I with heating elements, below 3 kW",
    "II": "class II (double insulated)",
    "III": "class III (extra-low voltage)",
}
CALIBRATION_DAYS = 365


@dataclass(frozen=True)
class Limit:
    """How far one reading may go on one kind of unit.

    Parameters
    ----------
    quantity, unit
        What is measured, as in the history's column ``reading_<quantity>_<unit>``.
    rule
        One of :mod:`insights.bench.rules`.
    model
        The model it is for; empty: every model.
    protection
        The protection it is for, a key of :data:`PROTECTIONS`; empty: every one.
    required
        Whether the reading must be taken before hand-back.
    confirmed
        Whether the owner has confirmed it against the local code or the maker's sheet.
    source
        Where it comes from, in the owner's words.

    Raises
    ------
    RequestError
        The names make no column of the history, or there is no such protection.
    """

    quantity: str
    unit: str
    rule: Rule
    model: str = ""
    protection: str = ""
    required: bool = True
    confirmed: bool = False
    source: str = ""

    def __post_init__(self) -> None:
        _check_column(self.quantity, self.unit)
        if self.protection:
            check_protection(self.protection)

    @property
    def column(self) -> str:
        """The history's column it is about."""
        return f"reading_{self.quantity}_{self.unit}"

    @property
    def key(self) -> str:
        """What tells it from the others: one limit a reading, model and protection."""
        return "|".join((self.column, self.model, self.protection))

    def to_json(self) -> dict[str, Any]:
        """Write it as plain data; :func:`limit_from_json` reads it again."""
        return {**vars(self), "rule": rule_to_json(self.rule)}


@dataclass(frozen=True)
class Reading:
    """One measurement as it was taken, with what it was taken with.

    Parameters
    ----------
    quantity, unit
        As in :class:`Limit`.
    value
        What was read; a reading over the instrument's range is entered as the top of its range.
    measured_on
        The day.
    instrument
        Its name; empty: not recorded.
    calibrated_on
        When it was last calibrated, as known that day.
    calibration_days
        The owner's interval between calibrations.

    Raises
    ------
    RequestError
        The names make no column of the history, the value is no finite number, or the
        calibration lies after the measurement.
    """

    quantity: str
    unit: str
    value: float
    measured_on: date
    instrument: str = ""
    calibrated_on: date | None = None
    calibration_days: int = CALIBRATION_DAYS

    def __post_init__(self) -> None:
        _check_column(self.quantity, self.unit)
        if not isinstance(self.value, int | float) or not math.isfinite(self.value):
            raise RequestError(
                f"The reading of {self.quantity} is {self.value!r}. Give a number; over the "
                "instrument's range, give the top of its range."
            )
        if self.calibrated_on is not None and self.calibrated_on > self.measured_on:
            raise RequestError(
                f"'{self.instrument}' is said to be calibrated on {self.calibrated_on}, after "
                f"the reading of {self.measured_on}. Correct one of the two days."
            )

    @property
    def column(self) -> str:
        """The history's column it is kept in."""
        return f"reading_{self.quantity}_{self.unit}"

    @property
    def calibration(self) -> Literal["fresh", "old", "unknown"]:
        """How its instrument's calibration stood on the day."""
        if not self.instrument or self.calibrated_on is None:
            return "unknown"
        age_days = (self.measured_on - self.calibrated_on).days
        return "old" if age_days > self.calibration_days else "fresh"

    def to_json(self) -> dict[str, Any]:
        """Write it as plain data, days as ISO text; :func:`reading_from_json` reads it again."""
        data = asdict(self)
        for name in ("measured_on", "calibrated_on"):
            data[name] = data[name] and data[name].isoformat()
        return data


def limit_from_json(data: dict[str, Any]) -> Limit:
    """Read a limit written by :meth:`Limit.to_json`.

    Raises
    ------
    RequestError
        A part is missing, unknown or impossible.
    """
    with kept_as("a limit"):
        return Limit(**{**data, "rule": rule_from_json(data["rule"])})


def reading_from_json(data: dict[str, Any]) -> Reading:
    """Read a reading written by :meth:`Reading.to_json`.

    Raises
    ------
    RequestError
        A part is missing, unknown or impossible.
    """
    with kept_as("a reading"):
        calibrated_on = data["calibrated_on"]
        days = {
            "measured_on": date.fromisoformat(data["measured_on"]),
            "calibrated_on": date.fromisoformat(calibrated_on) if calibrated_on else None,
        }
        return Reading(**{**data, **days})


def _check_column(quantity: str, unit: str) -> None:
    if column(f"reading_{quantity}_{unit}") is None or "_" in unit:
        raise RequestError(
            f"'{quantity}' in '{unit}' makes no name of a reading. Use small letters, digits and "
            "_ for the quantity, small letters and digits for the unit, like plate and c."
        )


def check_protection(protection: str) -> None:
    """Refuse a protection that is not one of :data:`PROTECTIONS`.

    Raises
    ------
    RequestError
        It is another, or empty.
    """
    if protection not in PROTECTIONS:
        raise RequestError(
            f"The protection is '{protection}'. Choose one of: {', '.join(PROTECTIONS)}; it is "
            "on the rating plate."
        )
