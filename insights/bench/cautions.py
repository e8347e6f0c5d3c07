"""What can hurt someone at the bench, said in one place; no limit here overrides a local code."""

from __future__ import annotations

CONFIRM = (
    "These limits come from secondary texts and common practice, not from a standard's own text, "
    "and editions differ. Confirm against your local code before you rely on them."
)
LICENSED = (
    "Some places ask for a licence, or an electrically skilled person, for this work and its "
    "tests. What your code or licence asks for goes before anything said here."
)
MAINS = (
    "Mains can kill. Unplug and let capacitors discharge before opening; prove it dead before "
    "touching; never test live without the training and protection for it."
)
TEST_VOLTAGE = (
    "Insulation is tested at several hundred volts. Keep hands and others off the unit and its "
    "lead, take out what the voltage would spoil, and discharge it afterwards."
)
HOT = "Plates, elements, boilers and steam burn long after switching off. Let it cool, or glove up."

FOR_QUANTITY: dict[str, tuple[str, ...]] = {
    "insulation": (TEST_VOLTAGE, MAINS),
    "earth": (MAINS,),
    "leakage": (MAINS,),
    "touch": (MAINS,),
    "element": (MAINS, HOT),
    "plate": (HOT,),
    "water": (HOT,),
    "steam": (HOT,),
}
"""Cautions to show beside a quantity (first word of its name)."""


def cautions_for(quantities: list[str] | tuple[str, ...]) -> tuple[str, ...]:
    """Gather the cautions for the quantities about to be measured, each once.

    Parameters
    ----------
    quantities
        Names such as ``insulation`` or ``plate_left``; mains and licensed work are always named.
    """
    found = [MAINS]
    for quantity in quantities:
        found += FOR_QUANTITY.get(quantity.split("_")[0], ())
    return tuple(dict.fromkeys([*found, LICENSED]))
