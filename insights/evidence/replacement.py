"""At what age to renew a part that wears out, if at any."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import optimize, special

from insights.errors import RequestError

Policy = Literal["age", "minimal_repair"]
WIDEST_LOG_AGE = 60.0


@dataclass(frozen=True)
class Replacement:
    """The age of renewal at which the cost per day is least.

    Parameters
    ----------
    policy
        ``age``: renew at this age or at failure, whichever is first. ``minimal_repair``: renew
        at this age, and between times only mend so that the part goes on as old as it was.
    at_days
        The age; infinity where renewing before failure never pays.
    cost_per_day
        At that age.
    cost_per_day_unplanned
        When a part is renewed at failure only (``age``), or never (``minimal_repair``, where
        it grows without end for a part that wears out).
    saving_share
        Share of the unplanned cost that is saved.
    """

    policy: Policy
    at_days: float
    cost_per_day: float
    cost_per_day_unplanned: float
    saving_share: float


def renew_at_age(
    shape: float, scale_days: float, *, planned_cost: float, failure_cost: float
) -> Replacement:
    """Find the best age at which to renew a part before it fails.

    Parameters
    ----------
    shape, scale_days
        Its Weibull life.
    planned_cost
        Cost of renewing it in good time.
    failure_cost
        Cost of renewing it after it failed, the comeback included.

    Returns
    -------
    Replacement

    Raises
    ------
    RequestError
        A number that is not above zero.

    Notes
    -----
    Policy I of Barlow and Hunter (1960, Operations Research 8:90-100): the cost per day
    ``(planned R(T) + failure F(T)) / mean time to renewal`` is least where ``h(T) m(T) - F(T) =
    planned / (failure - planned)``, ``m`` being the integral of ``R`` to ``T``. The left side
    rises from 0 without end for a shape above 1 and never gets there otherwise, so a part
    whose rate does not rise is best run to failure.
    """
    _check(shape, scale_days, planned_cost, failure_cost)
    mean = scale_days * special.gamma(1 + 1 / shape)
    unplanned = failure_cost / mean
    if shape <= 1 or failure_cost <= planned_cost:
        return Replacement("age", float("inf"), unplanned, unplanned, 0.0)
    ratio = planned_cost / (failure_cost - planned_cost)

    def short(log_age: float) -> float:
        z = np.exp(shape * log_age)
        lived = special.gamma(1 + 1 / shape) * special.gammainc(1 / shape, z)
        return shape * np.exp((shape - 1) * log_age) * lived + np.expm1(-z) - ratio

    high = 1.0
    while short(high) < 0 and high < WIDEST_LOG_AGE:
        high += 1.0
    if short(high) < 0:
        return Replacement("age", float("inf"), unplanned, unplanned, 0.0)
    age = float(np.exp(optimize.brentq(short, -WIDEST_LOG_AGE, high, xtol=1e-13)))
    hazard = shape / scale_days * age ** (shape - 1)
    cost = (failure_cost - planned_cost) * hazard  # the condition, read as a cost per day
    return Replacement("age", age * scale_days, cost, unplanned, 1 - cost / unplanned)


def renew_between_repairs(
    shape: float, scale_days: float, *, planned_cost: float, repair_cost: float
) -> Replacement:
    """Find the best age at which to renew a part that is only mended when it fails.

    Parameters
    ----------
    shape, scale_days
        Its Weibull life.
    planned_cost
        Cost of renewing it.
    repair_cost
        Cost of a failure mended so that the part goes on as old as it was.

    Returns
    -------
    Replacement

    Raises
    ------
    RequestError
        A number that is not above zero.

    Notes
    -----
    Policy II of Barlow and Hunter (1960): ``(planned + repair (T / scale) ** shape) / T`` is
    least at ``T = scale (planned / (repair (shape - 1))) ** (1 / shape)``.
    """
    _check(shape, scale_days, planned_cost, repair_cost)
    if shape <= 1:
        forever = repair_cost / scale_days if shape == 1 else 0.0
        return Replacement("minimal_repair", float("inf"), forever, forever, 0.0)
    age = (planned_cost / (repair_cost * (shape - 1))) ** (1 / shape)
    cost = (planned_cost + repair_cost * age**shape) / (age * scale_days)
    return Replacement("minimal_repair", age * scale_days, cost, float("inf"), 1.0)


def _check(*numbers: float) -> None:
    if not all(np.isfinite(number) and number > 0 for number in numbers):
        raise RequestError(
            "Shape, scale and both costs must be above zero; found "
            f"{', '.join(f'{number:g}' for number in numbers)}."
        )
