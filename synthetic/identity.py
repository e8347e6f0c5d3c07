"""How a unit and its owner are written on the job card, with the usual mistakes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from synthetic.scenario import Scenario
from synthetic.visits import Facts, Units

SERIALS = 10_000_000
SERIAL_STEP = 7_368_787  # coprime to SERIALS: neighbours in our list get distant serials
CHECK_LETTERS = "ABCDEFGHKLMNPRSTUVWXYZ"
SLIPS = "0123456789ABCDEFGHKLMNPRSTUVWXYZ"


def identify(
    scenario: Scenario, units: Units, facts: Facts, random: np.random.Generator
) -> dict[str, pd.Series]:
    """Write job numbers, serials and owners for all jobs, in their order.

    Parameters
    ----------
    scenario, units, facts
        The truth.
    random
        Source of chance.

    Returns
    -------
    dict
        ``job_id``, ``unit_serial``, ``customer``, ``postcode``, ``phone``.
    """
    count = len(facts["unit"])
    owner = units.customer[facts["unit"]]
    moved = random.random(count) < scenario.paperwork.moved_share
    phone = (owner * 48_271 + 104_729) % 1_000_000 + np.where(moved, 1_000_000, 0)
    district = owner * 7_919 % 400
    return {
        "job_id": _series(_joined("J", _padded(np.arange(1, count + 1), 7))),
        "unit_serial": _written_serials(scenario, units, facts, random),
        "customer": _series(_joined("C", _padded(owner + 1, 6))),
        "postcode": _series(
            _joined("Q", _padded(district // 10, 2), " ", _padded(district % 10, 1), "CF")
        ),
        "phone": _series(_joined("0555 ", _padded(phone, 7))),
    }


def serials(scenario: Scenario, units: Units) -> pa.Array:
    """Give every unit its true serial: a prefix, seven digits and a check letter."""
    number = (np.arange(len(units.model)) + 1) * SERIAL_STEP % SERIALS
    prefixes = pa.array([model.prefix for model in scenario.models])
    letters = pa.array(list(CHECK_LETTERS))
    return _joined(
        prefixes.take(pa.array(units.model)),
        "-",
        _padded(number, 7),
        letters.take(pa.array(number % len(CHECK_LETTERS))),
    )


def _written_serials(
    scenario: Scenario, units: Units, facts: Facts, random: np.random.Generator
) -> pd.Series:
    paper = scenario.paperwork
    count = len(facts["unit"])
    true = serials(scenario, units).take(pa.array(facts["unit"]))
    mistyped = random.random(count) < paper.mistyped_share
    restyled = random.random(count) < paper.restyled_share
    missing = random.random(count) < paper.missing_serial_share
    touched = np.flatnonzero((mistyped | restyled) & ~missing)
    changed = [
        _restyle(mistype(text, random) if typo else text, random)
        if style
        else mistype(text, random)
        for text, typo, style in zip(
            true.take(pa.array(touched)).to_pylist(),
            mistyped[touched],
            restyled[touched],
            strict=True,
        )
    ]
    mask = np.zeros(count, dtype=bool)
    mask[touched] = True
    written = pc.replace_with_mask(true, pa.array(mask), pa.array(changed, pa.string()))
    return _series(pc.if_else(pa.array(missing), pa.scalar(None, pa.string()), written))


def mistype(text: str, random: np.random.Generator) -> str:
    """Make one slip: another character, two swapped, one left out."""
    place = int(random.integers(1, len(text) - 1))
    kind = random.random()
    if kind < 0.6:
        return text[:place] + SLIPS[int(random.integers(len(SLIPS)))] + text[place + 1 :]
    if kind < 0.85:
        return text[:place] + text[place + 1] + text[place] + text[place + 2 :]
    return text[:place] + text[place + 1 :]


def _restyle(text: str, random: np.random.Generator) -> str:
    """Write the same serial in another case, or with other signs between."""
    styles = (text.lower(), text.replace("-", " "), text.replace("-", ""), f" {text} ")
    return styles[int(random.integers(len(styles)))]


def _padded(numbers: np.ndarray, width: int) -> pa.Array:
    return pc.utf8_lpad(pa.array(numbers).cast(pa.string()), width=width, padding="0")


def _joined(*pieces: pa.Array | str) -> pa.Array:
    return pc.binary_join_element_wise(*pieces, "")


def _series(values: pa.Array) -> pd.Series:
    return pd.Series(pd.array(values, dtype="string[pyarrow]"))
