"""Final readings against the owner's limits: what is in, what is out, what holds a unit back."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from insights.bench.cautions import CONFIRM
from insights.bench.readings import Limit, Reading, check_protection
from insights.bench.rules import Rule
from insights.errors import RequestError
from insights.notes import Note

Verdict = Literal["in", "out", "not_measured", "no_limit"]


@dataclass(frozen=True)
class Judged:
    """One reading beside its limit.

    Parameters
    ----------
    quantity, unit
        What it is about.
    verdict
        A :data:`Verdict`.
    blocks
        Whether it holds the unit back: out of its limit, or required and not measured.
    limit, reading
        What was compared; None where there is none.
    half_bands
        Where the reading lies in a two-sided limit: 0 on target, -1 and 1 at its ends; None
        for a one-sided limit or without one.
    used_share
        How much of what the limit allows is used up: 1 at the limit, more outside. The distance
        from the target in half-bands; for a maximum reading/limit, for a minimum limit/reading.
        None without a limit or a reading.
    """

    quantity: str
    unit: str
    verdict: Verdict
    blocks: bool
    limit: Limit | None
    reading: Reading | None
    half_bands: float | None = None
    used_share: float | None = None


@dataclass(frozen=True)
class Judgement:
    """All final readings of one job, judged.

    Parameters
    ----------
    lines
        One a quantity: those with a limit in its order, then readings without one.
    retakes
        Readings that a later one of the same quantity replaced, oldest first.
    notes
        ``calibration`` (old), ``no_calibration`` (not recorded), ``unconfirmed`` limits,
        ``no_limits`` at all.
    method
        How it was judged.
    """

    lines: tuple[Judged, ...]
    retakes: tuple[Reading, ...] = ()
    notes: tuple[Note, ...] = ()
    method: str = "each reading against its own limit; never averaged, the last one counts"

    @property
    def blocking(self) -> tuple[Judged, ...]:
        """The lines that hold the unit back."""
        return tuple(line for line in self.lines if line.blocks)

    @property
    def may_be_handed_back(self) -> bool:
        """Whether nothing holds the unit back."""
        return not self.blocking

    @property
    def table(self) -> pd.DataFrame:
        """One row a line: names, value, limit's ends, verdict, distances, instrument."""
        return pd.DataFrame([_row(line) for line in self.lines], columns=list(TABLE))


TABLE = (
    "quantity",
    "unit",
    "value",
    "low",
    "high",
    "target",
    "verdict",
    "blocks",
    "half_bands",
    "used_share",
    "instrument",
    "calibrated_on",
)


def judge(readings: Iterable[Reading], limits: Iterable[Limit]) -> Judgement:
    """Judge the final readings of one job.

    Parameters
    ----------
    readings
        In the order taken; where a quantity was read again, the last one counts.
    limits
        Those of this unit, at most one a quantity (:func:`limits_for`).

    Returns
    -------
    Judgement
        ``blocking`` lists what holds the unit back: a reading out of its limit or a required one
        not taken, until it is measured again within the limit. A reading on the limit is in.

    Raises
    ------
    RequestError
        Two limits for one quantity.

    See Also
    --------
    check_hand_back : refuses a hand-back that is held back.
    insights.wording.bench.of_judgement : the same in sentences.
    """
    taken = tuple(readings)
    last = {reading.column: reading for reading in taken}
    wanted = _by_column(limits)
    lines = [_judged(limit, last.get(name)) for name, limit in wanted.items()]
    lines += [
        Judged(reading.quantity, reading.unit, "no_limit", False, None, reading)
        for name, reading in last.items()
        if name not in wanted
    ]
    return Judgement(
        lines=tuple(lines),
        retakes=tuple(reading for reading in taken if reading is not last[reading.column]),
        notes=_remarks(last.values(), wanted.values()),
    )


def check_hand_back(judgement: Judgement, not_returned: str = "") -> None:
    """Refuse a hand-back that the readings hold back.

    Parameters
    ----------
    judgement
        Of the job's readings.
    not_returned
        Why the unit leaves all the same, not returned to use (sent back unrepaired and labelled,
        scrapped); the workshop's own words, kept with the job. Empty: it returns to use.

    Raises
    ------
    RequestError
        Something is out of its limit or was not measured, and no reason is given.
    """
    if judgement.blocking and not not_returned.strip():
        held = ", ".join(f"{line.quantity} {line.verdict}" for line in judgement.blocking)
        raise RequestError(
            f"This unit can't be handed back for use: {held.replace('_', ' ')}. Put it right and "
            "measure again, or mark it as not returned to use and say why."
        )


def limits_for(limits: Iterable[Limit], model: str, protection: str) -> tuple[Limit, ...]:
    """Choose the limits of one unit.

    Parameters
    ----------
    limits
        All of the owner's.
    model, protection
        The unit's.

    Returns
    -------
    tuple of Limit
        At most one a quantity, the closest: one for this model and protection, else this model,
        else this protection, else every unit.

    Raises
    ------
    RequestError
        The protection is not one of :data:`PROTECTIONS`, or two limits are equally close.
    """
    check_protection(protection)
    fitting = [
        limit
        for limit in limits
        if limit.model in ("", model) and limit.protection in ("", protection)
    ]
    fitting.sort(key=lambda limit: (bool(limit.model), bool(limit.protection)))
    _check_distinct(fitting)
    return tuple({limit.column: limit for limit in fitting}.values())


def _judged(limit: Limit, reading: Reading | None) -> Judged:
    if reading is None:
        return Judged(
            limit.quantity, limit.unit, "not_measured", limit.required, limit, None, None, None
        )
    low, high, target = limit.rule.low, limit.rule.high, limit.rule.target
    value = reading.value
    out = (low is not None and value < low) or (high is not None and value > high)
    return Judged(
        quantity=limit.quantity,
        unit=limit.unit,
        verdict="out" if out else "in",
        blocks=out,
        limit=limit,
        reading=reading,
        half_bands=_half_bands(value, low, high, target),
        used_share=_used_share(value, low, high, target),
    )


def _half_bands(
    value: float, low: float | None, high: float | None, target: float | None
) -> float | None:
    if target is None or low is None or high is None:
        return None
    return (value - target) / (high - target if value >= target else target - low)


def _used_share(
    value: float, low: float | None, high: float | None, target: float | None
) -> float | None:
    half_bands = _half_bands(value, low, high, target)
    if half_bands is not None:
        return abs(half_bands)
    if high is not None:
        return value / high
    if low is not None:
        return low / value if value > 0 else math.inf
    return None


def _by_column(limits: Iterable[Limit]) -> dict[str, Limit]:
    found: dict[str, Limit] = {}
    for limit in limits:
        if limit.column in found:
            raise RequestError(
                f"There are two limits for {limit.quantity}. Choose one with limits_for, or "
                "withdraw one of them."
            )
        found[limit.column] = limit
    return found


def _check_distinct(limits: list[Limit]) -> None:
    seen: set[str] = set()
    for limit in limits:
        if limit.key in seen:
            raise RequestError(
                f"There are two limits for {limit.quantity} (model '{limit.model or 'every'}', "
                f"protection '{limit.protection or 'every'}'). Withdraw one of them."
            )
        seen.add(limit.key)


def _remarks(readings: Iterable[Reading], limits: Iterable[Limit]) -> tuple[Note, ...]:
    readings, limits = list(readings), list(limits)
    notes = []
    for reading in readings:
        if reading.calibration == "old":
            notes.append(
                Note(
                    "calibration",
                    f"'{reading.instrument}', used for {reading.quantity}, was calibrated on "
                    f"{reading.calibrated_on}, more than {reading.calibration_days} days before.",
                )
            )
    unknown = [reading.quantity for reading in readings if reading.calibration == "unknown"]
    if unknown:
        notes.append(
            Note(
                "no_calibration",
                f"No instrument or no calibration is recorded for: {', '.join(unknown)}.",
            )
        )
    if not limits:
        notes.append(Note("no_limits", "There are no limits for this unit, so nothing is judged."))
    elif not all(limit.confirmed for limit in limits):
        open_ones = ", ".join(limit.quantity for limit in limits if not limit.confirmed)
        notes.append(Note("unconfirmed", f"Not yet confirmed: {open_ones}. {CONFIRM}"))
    return tuple(notes)


def _row(line: Judged) -> dict[str, Any]:
    rule = line.limit.rule if line.limit else Rule()
    reading = line.reading
    return {
        "quantity": line.quantity,
        "unit": line.unit,
        "value": reading.value if reading else math.nan,
        "low": _number(rule.low),
        "high": _number(rule.high),
        "target": _number(rule.target),
        "verdict": line.verdict,
        "blocks": line.blocks,
        "half_bands": _number(line.half_bands),
        "used_share": _number(line.used_share),
        "instrument": reading.instrument if reading else "",
        "calibrated_on": reading.calibrated_on if reading else None,
    }


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
