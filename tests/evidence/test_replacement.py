"""Age replacement against Barlow and Hunter's closed forms and direct minimisation."""

import numpy as np
import pytest
from scipy import integrate, optimize, special

from insights.errors import RequestError
from insights.evidence.replacement import renew_at_age, renew_between_repairs

# Weibull with scale 1, planned cost 1: shape, failure cost, best age, its cost, saving.
BARLOW_HUNTER = "Barlow and Hunter 1960, Operations Research 8:90-100"
POLICY_I = [
    (1.5, 2, 2.17464138, 2.2119998, 0.00156379737),
    (1.5, 10, 0.378144492, 8.30161632, 0.250575494),
    (2.0, 2, 1.09079697, 2.18159394, 0.0333063553),
    (2.0, 10, 0.336451191, 6.05612144, 0.463290211),
    (2.0, 20, 0.230426798, 8.75621833, 0.612000177),
    (3.0, 5, 0.502609582, 3.0313967, 0.45860497),
    (3.0, 20, 0.297770471, 5.05403343, 0.774342585),
]


@pytest.mark.parametrize(("shape", "failure", "age", "cost", "saving"), POLICY_I)
def test_best_age_before_failure(shape, failure, age, cost, saving, outside):
    best = renew_at_age(shape, 1, planned_cost=1, failure_cost=failure)
    found = [best.at_days, best.cost_per_day, best.saving_share]
    source = f"{BARLOW_HUNTER}; policy I, computed with mpmath by two routes"
    outside.agrees("renewal at an age", found, [age, cost, saving], source=source, rel=1e-6)


def test_no_other_age_is_cheaper(outside):
    def cost(age):
        lived = integrate.quad(lambda t: np.exp(-((t / 900) ** 2.4)), 0, age)[0]
        survive = np.exp(-((age / 900) ** 2.4))
        return (4 * survive + 45 * (1 - survive)) / lived

    direct = optimize.minimize_scalar(cost, bounds=(50, 900), method="bounded")
    best = renew_at_age(2.4, 900, planned_cost=4, failure_cost=45)
    source = "scipy; quad and minimize_scalar, straight from the cost"
    outside.agrees("renewal: best age, days", best.at_days, direct.x, source=source, rel=1e-4)
    outside.agrees("renewal: least cost", best.cost_per_day, direct.fun, source=source, rel=1e-8)
    assert best.cost_per_day_unplanned == pytest.approx(45 / (900 * special.gamma(1 + 1 / 2.4)))


def test_shape_two_costs_twice_its_age():
    # For shape 2 the hazard is 2 t, so the least cost is 2 T (failure - planned).
    best = renew_at_age(2, 1, planned_cost=1, failure_cost=10)
    assert best.cost_per_day == pytest.approx(2 * best.at_days * 9, rel=1e-12)


@pytest.mark.parametrize(("shape", "unplanned"), [(0.8, 8.82610121), (1.0, 10.0)])
def test_a_part_that_does_not_wear_out_is_run_to_failure(shape, unplanned, outside):
    # No finite optimum; cost 10 / Gamma(1 + 1 / shape).
    source = "Barlow and Proschan 1965, Mathematical Theory of Reliability; closed form"
    best = renew_at_age(shape, 1, planned_cost=1, failure_cost=10)
    assert best.at_days == np.inf
    outside.agrees("run to failure", best.cost_per_day, unplanned, source=source, rel=1e-8)
    assert best.saving_share == 0


def test_no_gain_where_failure_costs_no_more_or_ageing_is_too_slow():
    assert renew_at_age(3, 1, planned_cost=5, failure_cost=5).at_days == np.inf
    assert renew_at_age(1.0001, 1, planned_cost=1, failure_cost=1.001).at_days == np.inf


@pytest.mark.parametrize(
    ("shape", "repair", "age", "cost"),
    # By hand: T = (1 / (repair (shape - 1))) ** (1 / shape).
    [
        (1.5, 0.25, 4.0, 0.75),
        (2, 0.1, 3.16227766, 0.632455532),
        (2, 0.25, 2.0, 1.0),
        (3, 0.25, 1.25992105, 1.19055079),
        (3, 0.5, 1.0, 1.5),
    ],
)
def test_renewal_between_minimal_repairs(shape, repair, age, cost, outside):
    best = renew_between_repairs(shape, 1, planned_cost=1, repair_cost=repair)
    source = f"{BARLOW_HUNTER}; policy II, closed form"
    found = [best.at_days, best.cost_per_day]
    outside.agrees("renewal between repairs", found, [age, cost], source=source, rel=1e-8)
    in_days = renew_between_repairs(shape, 365, planned_cost=1, repair_cost=repair)
    assert in_days.at_days == pytest.approx(365 * age, rel=1e-8)
    assert in_days.cost_per_day == pytest.approx(cost / 365, rel=1e-8)


def test_minimal_repair_of_a_part_that_does_not_wear_out():
    assert renew_between_repairs(1, 5, planned_cost=1, repair_cost=2).cost_per_day == 0.4
    assert renew_between_repairs(0.7, 5, planned_cost=1, repair_cost=2).at_days == np.inf


def test_what_is_refused():
    with pytest.raises(RequestError, match="above zero"):
        renew_at_age(2, 0, planned_cost=1, failure_cost=2)
