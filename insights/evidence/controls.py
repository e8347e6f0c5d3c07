"""What would give an unmeasured reason for the choice away, and how strong it would have to be."""

from __future__ import annotations

import math

from insights.evidence.result import Control, ControlVerdict, RiskDifference


def e_value(ratio: float, low: float | None = None, high: float | None = None) -> float:
    """Say how strong an unmeasured reason would have to be to explain a risk ratio away.

    Parameters
    ----------
    ratio
        The risk ratio, above zero.
    low, high
        Limits of its interval; given, the answer is for the limit nearer to 1, and 1 where
        the interval holds 1.

    Returns
    -------
    float
        The smallest risk ratio by which the reason would have to be tied to both the choice
        and the comeback; NaN where the ratio is not a positive number.

    Notes
    -----
    ``RR + sqrt(RR (RR - 1))``, the inverse taken first of a ratio below 1 (VanderWeele and
    Ding 2017, Annals of Internal Medicine 167:268-274).
    """
    if low is not None and high is not None:
        if low <= 1 <= high:
            return 1.0
        ratio = high if high < 1 else low
    if not (math.isfinite(ratio) and ratio > 0):
        return float("nan")
    ratio = max(ratio, 1 / ratio)
    return ratio + math.sqrt(ratio * (ratio - 1))


def check_control(
    causes: tuple[str, ...], control: RiskDifference, claimed: RiskDifference
) -> Control:
    """Judge the difference in causes that the practice can't touch.

    A difference there shows that the groups were different units (Lipsitch, Tchetgen Tchetgen
    and Cohen 2010, Epidemiology 21:383-388). An interval that holds zero but also a
    difference as large as the one claimed shows nothing.
    """
    verdict: ControlVerdict = "near_zero"
    if not causes:
        verdict = "not_asked"
    elif not control.low <= 0 <= control.high:
        verdict = "differs"
    elif max(-control.low, control.high) > abs(claimed.difference):
        verdict = "says_little"
    return Control(causes, control, verdict)
