"""Repeat claims and refunds against closed forms, a power series and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from insights.errors import RequestError
from insights.money.renewal import claims_per_job, refund_share, repeat_moments


def renewals(share, until: float, steps: int) -> float:
    cuts = share(np.linspace(0, until, steps + 1))
    return float(claims_per_job(cuts[-1], "non_renewing", repeat_moments(cuts)))


def weibull(shape: float, scale: float = 1.0):
    return lambda time: -np.expm1(-((time / scale) ** shape))


# Ordinary renewal function of Weibull lifetimes of scale 1: the quantity that Baxter, Scheuer,
# McConalogue and Blischke (1982, Technometrics 24:151-156) tabulate.
SERIES = "Smith and Leadbetter 1963, Technometrics 5:393-396; their power series in 60 digits"


@pytest.mark.parametrize(
    ("shape", "until", "mean"),
    [
        (0.5, 0.1, 0.345504182),
        (0.5, 0.5, 0.857900802),
        (0.5, 1.5, 1.69388789),
        (1.0, 0.5, 0.5),
        (1.0, 3.0, 3.0),
        (1.5, 0.2, 0.0878403252),
        (1.5, 1.0, 0.841578137),
        (1.5, 3.0, 3.05371394),
        (2.0, 1.0, 0.753691278),
        (2.0, 3.0, 3.02174501),
        (3.0, 0.5, 0.118262669),
        (3.0, 2.0, 1.80107526),
        (3.0, 3.0, 2.92477492),
    ],
)
def test_weibull_renewal_function(shape, until, mean, outside):
    found = renewals(weibull(shape), until, 16_384)
    outside.agrees("renewal function, Weibull", found, mean, source=SERIES, abs=1e-6)


def smith_leadbetter(shape: float, until: float, terms: int = 60) -> float:
    """Sum the power series of Smith and Leadbetter (1963) with their recursion."""
    gamma = [special.gamma(1 + shape * k) / math.factorial(k) for k in range(terms + 1)]
    coefficients = [0.0]
    for k in range(1, terms + 1):
        coefficients.append(gamma[k] - sum(gamma[j] * coefficients[k - j] for j in range(1, k)))
    return sum(
        (-1) ** (k - 1) * coefficients[k] * until ** (shape * k) / special.gamma(1 + shape * k)
        for k in range(1, terms + 1)
    )


@pytest.mark.parametrize("shape", [0.7, 1.3])
def test_the_series_agrees_at_shapes_of_a_workshop(shape, outside):
    found, mean = renewals(weibull(shape), 0.3, 4096), smith_leadbetter(shape, 0.3)
    outside.agrees("renewal function, Weibull", found, mean, source=SERIES, abs=2e-6)


@pytest.mark.parametrize("until", [0.5, 1.0, 2.0, 5.0])
def test_erlang_closed_form(until, outside):
    source = "Cox 1962, Renewal Theory; two stages of rate 1, t/2 - 1/4 + exp(-2t)/4"
    mean = until / 2 - 0.25 + math.exp(-2 * until) / 4
    found = renewals(lambda t: 1 - np.exp(-t) * (1 + t), until, 4096)
    outside.agrees("renewal function, two stages", found, mean, source=source, abs=1e-6)


def test_the_pieces_of_a_warranty_of_twelve_months(outside):
    # Weibull of scale 36 months and shape 1.7.
    source = (
        "Blischke and Murthy 1994, Warranty Cost Analysis; their models, by quadrature in "
        "extended precision"
    )
    share, cuts = weibull(1.7, 36.0)(12.0), weibull(1.7, 36.0)(np.linspace(0, 12, 4097))
    moments = repeat_moments(cuts)
    assert claims_per_job(share, "pro_rata", moments) == share
    again, renewing, minimal = (
        claims_per_job(share, kind, moments)
        for kind in ("non_renewing", "renewing", "minimal_repair")
    )
    for what, ours, theirs, rel in (
        ("first claims", share, 0.143145956, 1e-8),
        ("claims, not renewing", again, 0.14846552, 1e-7),
        ("claims, renewing", renewing, 0.167059906, 1e-8),
        ("claims, minimal repair", minimal, 0.154487686, 1e-8),
        ("refund by time", refund_share(cuts), 0.0546033377, 1e-7),
    ):
        outside.agrees(f"twelve months: {what}", ours, theirs, source=source, rel=rel)


def test_a_usual_workshop_by_whole_days():
    # Weibull of shape 0.7 with 2% back by day 90: 5.24% by day 365. Simulated with 4 million
    # jobs the repeats gave .0543; days are whole here, as in a record.
    scale = 90 / (-math.log(0.98)) ** (1 / 0.7)
    cuts = weibull(0.7, scale)(np.arange(366.0))
    assert cuts[-1] == pytest.approx(0.0524, abs=5e-5)
    moments = repeat_moments(cuts)
    assert claims_per_job(cuts[-1], "minimal_repair", moments) == pytest.approx(0.0538, abs=5e-5)
    assert claims_per_job(cuts[-1], "non_renewing", moments) == pytest.approx(0.0543, abs=5e-5)
    assert claims_per_job(cuts[-1], "renewing", moments) == pytest.approx(0.0553, abs=5e-5)
    assert refund_share(cuts) == pytest.approx(0.0311, abs=5e-5)


def test_repeats_are_what_a_simulated_workshop_shows():
    rng = np.random.default_rng(4)
    clock, claims = np.zeros(400_000), 0
    while len(clock):
        clock = clock + 300 * rng.weibull(0.9, len(clock))
        clock = clock[clock <= 200]
        claims += len(clock)
    cuts = weibull(0.9, 300.0)(np.arange(201.0))
    found = claims_per_job(cuts[-1], "non_renewing", repeat_moments(cuts))
    # 0.7 claims a job with variance near 0.7: standard error 0.0013.
    assert found == pytest.approx(claims / 400_000, abs=0.004)


def test_impossible_courses_are_refused():
    for cuts in ([0.0, 0.0], [0.0, 0.2, 0.1], [0.0, 1.2]):
        with pytest.raises(RequestError, match="Repeat claims need"):
            repeat_moments(np.array(cuts))


def test_a_renewing_warranty_on_what_always_fails_never_ends():
    assert claims_per_job(np.array([0.5, 1.0]), "renewing", np.ones(1)).tolist() == [1.0, np.inf]


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.floats(0.001, 0.9))
def test_kinds_keep_their_order(steps, height):
    rising = np.append(0.0, np.cumsum(np.array(steps) + 1e-6))
    cuts = rising / rising[-1] * height
    moments = repeat_moments(cuts)
    again = claims_per_job(height, "non_renewing", moments)
    renewing = claims_per_job(height, "renewing", moments)
    assert height <= again <= renewing + 1e-9
    assert 0 <= refund_share(cuts) <= height
