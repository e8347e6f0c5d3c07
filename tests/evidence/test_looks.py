"""Group-sequential bounds against the published constants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from sources import SCIPY

from insights.errors import RequestError
from insights.evidence.looks import bounds, crossing_chances, inflation, spent

TABLES = "Jennison and Turnbull 2000, Group Sequential Methods; tables 2.1 to 2.4, from memory"
SPENDING = (
    "Reboussin, DeMets, Kim and Lan 2000, Controlled Clinical Trials 21:190-207; spending of Lan "
    "and DeMets 1983, from memory"
)


def equal(looks):
    return np.arange(1, looks + 1) / looks


@pytest.mark.parametrize(
    ("looks", "pocock", "obrien_fleming", "pocock_size", "obrien_fleming_size"),
    # Two-sided 5%, power 80%: constants, and sizes relative to a single look.
    [
        (2, 2.178, 1.977, 1.110, 1.008),
        (3, 2.289, 2.004, 1.166, 1.017),
        (4, 2.361, 2.024, 1.202, 1.024),
        (5, 2.413, 2.040, 1.229, 1.028),
    ],
)
def test_classical_constants(
    looks, pocock, obrien_fleming, pocock_size, obrien_fleming_size, outside
):
    times = equal(looks)
    for limits, size in (
        (np.full(looks, pocock), pocock_size),
        (obrien_fleming / np.sqrt(times), obrien_fleming_size),
    ):
        above, below = crossing_chances(limits, times)
        crossed, larger = above.sum() + below.sum(), inflation(limits, times, 0.05, 0.8)
        outside.agrees("looks: chance of a false alarm", crossed, 0.05, source=TABLES, abs=1e-4)
        outside.agrees("looks: size against one look", larger, size, source=TABLES, abs=1.1e-3)


@pytest.mark.parametrize(
    ("looks", "limits"),
    # O'Brien-Fleming-type spending at equal steps.
    [
        (2, [2.9626, 1.9686]),
        (3, [3.7103, 2.5114, 1.9930]),
        (5, [4.8769, 3.3569, 2.6803, 2.2898, 2.0310]),
    ],
)
def test_spending_bounds(looks, limits, outside):
    found = bounds(equal(looks), 0.05, "obrien_fleming")
    outside.agrees("looks: spending bounds", found, limits, source=SPENDING, abs=2e-4)


@pytest.mark.parametrize(("looks", "chance"), [(1, 0.05), (2, 0.083), (3, 0.107), (5, 0.142)])
def test_looking_again_at_the_single_bound_fools(looks, chance, outside):
    source = "Armitage, McPherson and Rowe 1969, JRSS A 132:235-244; repeated tests at 5%"
    above, below = crossing_chances(np.full(looks, 1.959964), equal(looks))
    found = above.sum() + below.sum()
    outside.agrees("looks: unguarded false alarms", found, chance, source=source, abs=6e-4)


def test_two_looks_agree_with_the_bivariate_normal(outside):
    times, limits = np.array([0.4, 1.0]), np.array([2.4, 2.0])
    cov = [[1, np.sqrt(0.4)], [np.sqrt(0.4), 1]]
    mean = 2.5 * np.sqrt(times)
    normal = stats.multivariate_normal(mean, cov)
    within = normal.cdf([2.4, 2.0], lower_limit=[-2.4, -2.0])
    above, below = crossing_chances(limits, times, drift=2.5)
    inside, first = 1 - above.sum() - below.sum(), stats.norm.sf(2.4 - mean[0])
    outside.agrees("two looks: neither crossed", inside, within, source=SCIPY, abs=1e-5)
    outside.agrees("two looks: first crossed", above[0], first, source=SCIPY, abs=1e-10)


def test_wide_bounds_are_integrated_finely_enough():
    # A first bound far out and a second near: by adaptive quadrature of the middle.
    def stays(x):
        return (
            stats.norm.pdf(x / np.sqrt(0.2)) / np.sqrt(0.2) * stats.norm.sf((2 - x) / np.sqrt(0.8))
        )

    reach = 8 * np.sqrt(0.2)
    direct = integrate.quad(stays, -reach, reach, epsabs=1e-13)[0]
    above, _ = crossing_chances([8.0, 2.0], [0.2, 1.0])
    assert above[1] == pytest.approx(direct, abs=1e-11)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    st.lists(st.integers(5, 95), min_size=1, max_size=3, unique=True),
    st.sampled_from(["obrien_fleming", "pocock"]),
    st.sampled_from([0.01, 0.05, 0.1]),
)
def test_looks_at_any_time_use_up_the_allowance_and_no_more(percent, spending, alpha):
    times = np.array([*sorted(percent), 100]) / 100
    limits = bounds(times, alpha, spending)
    above, below = crossing_chances(limits, times)
    np.testing.assert_allclose(np.cumsum(above + below), spent(times, alpha, spending), atol=1e-8)
    assert (above + below).sum() == pytest.approx(alpha, abs=1e-7)
    # Later looks do not change the bounds of earlier ones.
    np.testing.assert_allclose(bounds(times[:-1], alpha, spending), limits[:-1], atol=1e-8)


def test_a_single_look_is_the_ordinary_test():
    assert bounds([1.0], 0.05, "pocock")[0] == pytest.approx(1.959964, abs=1e-6)
    assert inflation([1.959964], [1.0], 0.05, 0.8) == pytest.approx(1, abs=1e-4)


def test_what_is_refused():
    with pytest.raises(RequestError, match="rise"):
        bounds([0.5, 0.4], 0.05, "pocock")
    with pytest.raises(RequestError, match="at most 1"):
        bounds([0.5, 1.2], 0.05, "pocock")
    with pytest.raises(RequestError, match="spending is 'haybittle'"):
        bounds([1.0], 0.05, "haybittle")
    with pytest.raises(RequestError, match="alpha is 5"):
        bounds([1.0], 5, "pocock")
