"""How far a final reading may go: the kinds of limit, each from the numbers its owner knows."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, ClassVar

from insights.errors import RequestError


@dataclass(frozen=True)
class Rule:
    """What every kind of limit tells; ``low`` and ``high`` are themselves still inside.

    Raises
    ------
    RequestError
        A number is missing, not finite, or impossible.
    """

    POSITIVE: ClassVar[tuple[str, ...]] = ()
    SHARES: ClassVar[tuple[str, ...]] = ()

    def __post_init__(self) -> None:
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            number = isinstance(value, int | float) and not isinstance(value, bool)
            if not number or not math.isfinite(value):
                raise RequestError(f"{field.name} is {value!r}. Give a number.")
        for name in self.POSITIVE:
            if getattr(self, name) <= 0:
                raise RequestError(f"{name} is {getattr(self, name)}. Give a number above zero.")
        for name in self.SHARES:
            if not 0 <= getattr(self, name) < 1:
                raise RequestError(
                    f"{name} is {getattr(self, name)}. Give a share from 0 to below 1 "
                    "(10% is 0.10)."
                )

    @property
    def low(self) -> float | None:
        """Lowest reading still inside; None: no lower end."""
        return None

    @property
    def high(self) -> float | None:
        """Highest reading still inside; None: no upper end."""
        return None

    @property
    def target(self) -> float | None:
        """The reading aimed at; None for a one-sided limit."""
        return None

    @property
    def basis(self) -> str:
        """Where the limit comes from, in plain words; empty where its numbers say all."""
        return ""

    def meaning(self, value: float) -> str:
        """Say what a reading outside points to; empty where to nothing special."""
        return ""


@dataclass(frozen=True)
class Band(Rule):
    """A target and how far from it a reading may be, as of a hot plate in °C.

    Parameters
    ----------
    aim
        The reading aimed at.
    half_band
        How far to either side is still inside.
    """

    aim: float
    half_band: float

    POSITIVE = ("half_band",)

    @property
    def low(self) -> float:
        """Aim less half the band."""
        return self.aim - self.half_band

    @property
    def high(self) -> float:
        """Aim and half the band."""
        return self.aim + self.half_band

    @property
    def target(self) -> float:
        """The reading aimed at."""
        return self.aim


@dataclass(frozen=True)
class Minimum(Rule):
    """The least a reading must be, as of insulation resistance in MΩ."""

    least: float

    POSITIVE = ("least",)

    @property
    def low(self) -> float:
        """The least."""
        return self.least


@dataclass(frozen=True)
class Maximum(Rule):
    """The most a reading may be, as of a leakage current in mA."""

    most: float

    POSITIVE = ("most",)

    @property
    def high(self) -> float:
        """The most."""
        return self.most


@dataclass(frozen=True)
class EarthByLength(Rule):
    """Earth continuity in ohms by length of lead, for conductors of up to 1.5 mm².

    Parameters
    ----------
    lead_m
        Length of the supply lead in metres.

    Notes
    -----
    0.3 ohm up to 5 m, 0.1 ohm more for each further 7.5 m, at most 1.0 ohm: as a trade article
    on EN 50699 gives it (a secondary source, not the standard's own text). It does not say
    whether a step begun counts; here only full steps do, which is the stricter reading.
    """

    lead_m: float

    POSITIVE = ("lead_m",)
    BASE_OHM: ClassVar[float] = 0.3
    BASE_M: ClassVar[float] = 5.0
    STEP_OHM: ClassVar[float] = 0.1
    STEP_M: ClassVar[float] = 7.5
    MOST_OHM: ClassVar[float] = 1.0

    @property
    def high(self) -> float:
        """Most ohms for this lead."""
        # Rounded first, so that 20.0 m counts as two full steps whatever its last binary digit.
        steps = math.floor(round(max(self.lead_m - self.BASE_M, 0) / self.STEP_M, 9))
        return round(min(self.BASE_OHM + self.STEP_OHM * steps, self.MOST_OHM), 9)

    @property
    def basis(self) -> str:
        """The length it is for."""
        return f"for a lead of {self.lead_m:g} m, up to 1.5 mm²"


@dataclass(frozen=True)
class EarthByLead(Rule):
    """Earth continuity in ohms: 0.1 ohm and the resistance of the lead's own earth conductor.

    Parameters
    ----------
    lead_ohm
        Resistance of the lead's earth conductor, measured or from its maker's table.

    Notes
    -----
    British trade texts give this rule (a secondary source, not the code of practice itself).
    """

    lead_ohm: float

    POSITIVE = ("lead_ohm",)
    CONTACT_OHM: ClassVar[float] = 0.1

    @property
    def high(self) -> float:
        """Most ohms for this lead."""
        return round(self.CONTACT_OHM + self.lead_ohm, 9)

    @property
    def basis(self) -> str:
        """The lead it is for."""
        return f"{self.CONTACT_OHM:g} Ω and {self.lead_ohm:g} Ω of the lead"


@dataclass(frozen=True)
class PerKilowatt(Rule):
    """The most a leakage current in mA may be, where it grows with the heating power.

    Parameters
    ----------
    power_w
        Rated heating power in watts.
    ma_per_kw
        Milliamperes allowed for each kilowatt.
    most_ma
        Never more than this.
    """

    power_w: float
    ma_per_kw: float
    most_ma: float

    POSITIVE = ("power_w", "ma_per_kw", "most_ma")

    @property
    def high(self) -> float:
        """Most milliamperes at this power."""
        return min(self.ma_per_kw * self.power_w / 1000, self.most_ma)

    @property
    def basis(self) -> str:
        """The power it is for."""
        return f"{self.ma_per_kw:g} mA per kW at {self.power_w:,g} W, at most {self.most_ma:g} mA"


@dataclass(frozen=True)
class Nominal(Rule):
    """A nominal value with a tolerance to either side.

    Parameters
    ----------
    nominal
        The value on the part or in the maker's sheet.
    under_share, over_share
        How far below and above is still inside, as shares of the nominal.
    """

    nominal: float
    under_share: float
    over_share: float

    POSITIVE = ("nominal", "under_share", "over_share")
    SHARES = ("under_share",)

    @property
    def low(self) -> float:
        """Nominal less its tolerance."""
        return self.nominal * (1 - self.under_share)

    @property
    def high(self) -> float:
        """Nominal and its tolerance."""
        return self.nominal * (1 + self.over_share)

    @property
    def target(self) -> float:
        """The nominal value."""
        return self.nominal

    @property
    def basis(self) -> str:
        """The nominal and its tolerance."""
        return f"{self.nominal:g} nominal, -{self.under_share:.0%}/+{self.over_share:.0%}"


@dataclass(frozen=True)
class Element(Rule):
    """Resistance in ohms of a cold heating element, from its rating plate.

    Parameters
    ----------
    power_w, voltage_v
        Rated power of all its elements together, and the voltage it is rated at.
    elements
        How many equal elements lie in parallel.
    over_share, under_share
        How much more and less power than rated is still inside, as shares.

    Notes
    -----
    R = V²/P, so more power is less resistance. With n equal elements in parallel of which k are
    open, n/(n - k) times as much is read: of two, one open doubles it. The tolerance of +5/-10%
    on power is common practice among makers, no source. A hot element reads higher than a cold
    one, so measure it cold.
    """

    power_w: float
    voltage_v: float
    elements: int = 1
    over_share: float = 0.05
    under_share: float = 0.10

    POSITIVE = ("power_w", "voltage_v", "over_share", "under_share")
    SHARES = ("under_share",)

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.elements < 1 or int(self.elements) != self.elements:
            raise RequestError(f"elements is {self.elements}. Give a whole number from 1.")

    @property
    def target(self) -> float:
        """Ohms at the rated power."""
        return self.voltage_v**2 / self.power_w

    @property
    def low(self) -> float:
        """Ohms at the most power still inside."""
        return self.target / (1 + self.over_share)

    @property
    def high(self) -> float:
        """Ohms at the least power still inside."""
        return self.target / (1 - self.under_share)

    def open_ohm(self, opened: int) -> float:
        """Ohms read where ``opened`` of the elements are open, the others as rated."""
        if not 0 <= opened < self.elements:
            raise RequestError(
                f"{opened} of {self.elements} elements open can't be read. "
                f"Give 0 to {self.elements - 1}."
            )
        return self.target * self.elements / (self.elements - opened)

    @property
    def tells_one_open(self) -> bool:
        """Whether one open element always reads outside the tolerance."""
        return self.elements > 1 and self.low * self.elements / (self.elements - 1) > self.high

    @property
    def basis(self) -> str:
        """The rating it comes from, and what one open element reads."""
        tolerance = f"+{self.over_share:.0%}/-{self.under_share:.0%} power"
        rated = f"{self.power_w:,g} W at {self.voltage_v:g} V, {tolerance}, measured cold"
        if self.elements == 1:
            return rated
        one_open = f"{self.open_ohm(1):.4g} Ω"
        rated += f"; {self.elements} equal elements in parallel, one open reads {one_open}"
        if not self.tells_one_open:
            rated += " and may hide in the tolerance, so measure each by itself"
        return rated

    def meaning(self, value: float) -> str:
        """Say how many open elements a reading above the tolerance fits, if any."""
        if value <= self.high:
            return ""
        fits = [
            str(opened)
            for opened in range(1, self.elements)
            if self.low <= value * (self.elements - opened) / self.elements <= self.high
        ]
        return f"fits {' or '.join(fits)} of its {self.elements} elements open" if fits else ""


RULES: dict[str, type[Rule]] = {
    "band": Band,
    "minimum": Minimum,
    "maximum": Maximum,
    "earth_by_length": EarthByLength,
    "earth_by_lead": EarthByLead,
    "per_kilowatt": PerKilowatt,
    "nominal": Nominal,
    "element": Element,
}
"""Every kind of limit under the name it is kept by."""


def rule_to_json(rule: Rule) -> dict[str, Any]:
    """Write a rule as plain data: its ``rule`` (a key of :data:`RULES`) and its numbers."""
    (name,) = (name for name, kind in RULES.items() if kind is type(rule))
    return {"rule": name, **dataclasses.asdict(rule)}


def rule_from_json(data: dict[str, Any]) -> Rule:
    """Read a rule written by :func:`rule_to_json`.

    Raises
    ------
    RequestError
        There is no such kind of limit, or its numbers are missing or impossible.
    """
    numbers = dict(data)
    name = numbers.pop("rule", None)
    if name not in RULES:
        raise RequestError(f"'{name}' is no kind of limit. Choose one of: {', '.join(RULES)}.")
    fields = {field.name: field for field in dataclasses.fields(RULES[name])}
    unknown = [key for key in numbers if key not in fields]
    missing = [
        key
        for key, field in fields.items()
        if field.default is dataclasses.MISSING and key not in numbers
    ]
    if unknown or missing:
        raise RequestError(
            f"A limit of the kind '{name}' takes {', '.join(fields)}; "
            f"missing: {', '.join(missing) or 'none'}, unknown: {', '.join(unknown) or 'none'}."
        )
    return RULES[name](**numbers)
