"""What the owner keeps for the bench: a sheet a model, instruments, limits to start from."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from insights.bench.from_json import kept_as
from insights.bench.readings import CALIBRATION_DAYS, Limit, Reading, check_protection
from insights.bench.rules import EarthByLength, Maximum, Minimum
from insights.errors import RequestError

UK_TEXTS = "British trade texts"
BOTH_TEXTS = "British trade texts; trade texts on EN 50678 and 50699, partly from memory"
EARTH_TEXTS = "a trade article on EN 50699"

_NAME = re.compile(r"[a-z0-9_]+")


@dataclass(frozen=True)
class Practice:
    """One line of a model's checklist.

    Parameters
    ----------
    name
        As in the history's column ``practice_<name>``.
    levels
        What can be answered, such as ``("cleaned", "left")``.

    Raises
    ------
    RequestError
        The name makes no column, or there are not at least two different levels.
    """

    name: str
    levels: tuple[str, ...]

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            raise RequestError(
                f"'{self.name}' makes no name of a practice. Use small letters, digits and _."
            )
        levels = [level.strip() for level in self.levels]
        if len(set(levels)) < 2 or len(set(levels)) < len(levels) or not all(levels):
            raise RequestError(
                f"The practice '{self.name}' has the levels {', '.join(self.levels) or 'none'}. "
                "Give two or more different ones, such as cleaned, left."
            )


@dataclass(frozen=True)
class ModelSheet:
    """What the bench keeps about one model.

    Parameters
    ----------
    model
        The model.
    protection
        A key of :data:`insights.bench.readings.PROTECTIONS`, from its rating plate.
    checklist
        What to answer on every job of this model, in this order.
    """

    model: str
    protection: str
    checklist: tuple[Practice, ...] = ()

    def __post_init__(self) -> None:
        if not self.model.strip():
            raise RequestError("The sheet needs its model. Fill it in.")
        check_protection(self.protection)
        names = [practice.name for practice in self.checklist]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise RequestError(
                f"The checklist of {self.model} asks twice for {', '.join(twice)}. Drop one."
            )

    def to_json(self) -> dict[str, Any]:
        """Write it as plain data; :func:`sheet_from_json` reads it again."""
        data = asdict(self)
        data["checklist"] = [
            {"name": practice.name, "levels": list(practice.levels)} for practice in self.checklist
        ]
        return data


@dataclass(frozen=True)
class Instrument:
    """What readings are taken with.

    Parameters
    ----------
    name
        What the bench calls it.
    calibrated_on
        When it was last calibrated; None: not known.
    calibration_days
        The owner's interval between calibrations.
    in_use
        False once it is laid aside.
    """

    name: str
    calibrated_on: date | None = None
    calibration_days: int = CALIBRATION_DAYS
    in_use: bool = True

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise RequestError("The instrument needs a name. Fill it in.")
        if self.calibration_days < 1:
            raise RequestError(
                f"The interval of '{self.name}' is {self.calibration_days} days. Give one or more."
            )

    def reading(self, quantity: str, unit: str, value: float, measured_on: date) -> Reading:
        """Record a reading with this instrument and its calibration as known now."""
        return Reading(
            quantity,
            unit,
            value,
            measured_on,
            self.name,
            self.calibrated_on,
            self.calibration_days,
        )

    def to_json(self) -> dict[str, Any]:
        """Write it as plain data; :func:`instrument_from_json` reads it again."""
        return asdict(self) | {"calibrated_on": self.calibrated_on and f"{self.calibrated_on}"}


def sheet_from_json(data: dict[str, Any]) -> ModelSheet:
    """Read a sheet written by :meth:`ModelSheet.to_json`.

    Raises
    ------
    RequestError
        A part is missing, unknown or impossible.
    """
    with kept_as("a sheet"):
        checklist = tuple(
            Practice(line["name"], tuple(line["levels"])) for line in data["checklist"]
        )
        return ModelSheet(**{**data, "checklist": checklist})


def instrument_from_json(data: dict[str, Any]) -> Instrument:
    """Read an instrument written by :meth:`Instrument.to_json`.

    Raises
    ------
    RequestError
        A part is missing, unknown or impossible.
    """
    with kept_as("an instrument"):
        day = data["calibrated_on"]
        return Instrument(**{**data, "calibrated_on": day and date.fromisoformat(day)})


def limits_to_start_from() -> tuple[Limit, ...]:
    """Give limits by protection that an owner can start from, none of them confirmed.

    Returns
    -------
    tuple of Limit
        Insulation at 500 V DC and earth continuity (for leads up to 5 m), required; leakage
        current where it does not depend on power. Where two texts differ, the stricter.

    Notes
    -----
    From secondary texts, not from a standard or code of practice itself; editions differ.
    :data:`insights.bench.cautions.CONFIRM` is shown wherever they are.
    """
    lead = EarthByLength(EarthByLength.BASE_M)
    return (
        Limit("insulation", "mohm", Minimum(1.0), protection="I", source=BOTH_TEXTS),
        Limit("earth", "ohm", lead, protection="I", source=EARTH_TEXTS),
        Limit("insulation", "mohm", Minimum(0.3), protection="I_heating", source=BOTH_TEXTS),
        Limit("earth", "ohm", lead, protection="I_heating", source=EARTH_TEXTS),
        Limit("insulation", "mohm", Minimum(2.0), protection="II", source=BOTH_TEXTS),
        Limit("insulation", "mohm", Minimum(0.25), protection="III", source=BOTH_TEXTS),
        Limit("leakage", "ma", Maximum(3.5), protection="I", required=False, source=BOTH_TEXTS),
        Limit("leakage", "ma", Maximum(0.25), protection="II", required=False, source=UK_TEXTS),
        Limit("leakage", "ma", Maximum(0.5), protection="III", required=False, source=UK_TEXTS),
    )
