"""Repeat claims: how many claims one job makes when each is put right and may fail again."""

from __future__ import annotations

from typing import Literal

import numpy as np
from scipy import signal

from insights.errors import RequestError

Kind = Literal["non_renewing", "minimal_repair", "renewing", "pro_rata"]
KINDS: tuple[Kind, ...] = ("non_renewing", "minimal_repair", "renewing", "pro_rata")
NEGLIGIBLE = 1e-12
MOST_REPEATS = 200


def repeat_moments(cuts: np.ndarray) -> np.ndarray:
    """Sum up how a first claim makes room for a second, third, ... inside one term.

    With c from here, mean claims per job are c1 F + c2 F^2 + c3 F^3 + ..., where F is the share
    with a first claim by the end of the term (:func:`claims_per_job`). Only the course of the
    share within the term matters, so the same c serve every height of it.

    Parameters
    ----------
    cuts
        Share with a first claim at equally spaced times from 0 to the end of the term. For a
        smooth share of one half, 1,000 are good for 1e-6; for a Weibull share of shape 0.5, whose
        hazard at time 0 is endless, 4,000.

    Returns
    -------
    numpy.ndarray
        c1 = 1, c2, ..., up to the last that matters.

    Raises
    ------
    RequestError
        Nothing is back by the end of the term, or the share falls.

    Notes
    -----
    The renewal function is the sum of the convolution powers of F (Cox 1962, Renewal Theory,
    section 4.1). Rounding every lifetime up to the next cut makes it too low, rounding down too
    high; lifetimes split evenly between both ends of their step cancel the error to first order.
    """
    height = float(cuts[-1])
    course = np.diff(cuts) / height if 0 < height <= 1 else np.array([-1.0])
    if not (course >= 0).all():
        raise RequestError(
            f"The share back by the end of the term is {height}. Repeat claims need one above 0 "
            "and up to 1 that never falls on the way."
        )
    weight = (np.append(course, 0.0) + np.append(0.0, course)) / 2
    power, moments = weight, [1.0]
    while moments[-1] * height ** len(moments) > NEGLIGIBLE and len(moments) < MOST_REPEATS:
        power = signal.fftconvolve(power, weight)[: len(weight)]
        # On the last cut a unit is at the very edge of the term: half of it is past.
        moments.append(max(float(power.sum() - power[-1] / 2), 0.0))
    return np.array(moments)


def claims_per_job(share: np.ndarray, kind: Kind, moments: np.ndarray) -> np.ndarray:
    """Count mean claims per job, repeats included.

    Parameters
    ----------
    share
        Share of jobs with a first claim inside the term, shape (...).
    kind
        ``non_renewing``: the term runs on after a claim, the repair as good as new;
        ``minimal_repair``: the same, the repair leaving the unit as worn as it was, so that
        claims are a Poisson process with mean -ln(1 - F); ``renewing``: each claim starts a
        whole new term, F / (1 - F); ``pro_rata``: the first claim ends the warranty by a refund.
    moments
        :func:`repeat_moments`, for ``non_renewing``.

    Notes
    -----
    The models of Blischke and Murthy (1994, Warranty Cost Analysis).
    """
    share = np.asarray(share, dtype=float)
    if kind == "pro_rata":
        return share
    if kind == "renewing":
        return np.divide(share, 1 - share, out=np.full_like(share, np.inf), where=share < 1)
    if kind == "minimal_repair":
        return -np.log1p(-share)
    return np.polynomial.polynomial.polyval(share, np.append(0.0, moments))


def refund_share(cuts: np.ndarray) -> float:
    """Give the mean share of the price refunded when refunds shrink in line with the term.

    The integral of (1 - t / W) dF, which is the mean of F over the term.

    Parameters
    ----------
    cuts
        As in :func:`repeat_moments`.
    """
    return float((cuts[:-1] + cuts[1:]).mean() / 2)
