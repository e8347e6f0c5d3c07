"""Age replacement against Barlow and Hunter's closed forms and direct minimisation."""

import numpy as np
import pytest
from scipy import integrate, optimize, special

from insights.errors import RequestError
from insights.evidence.replacement import renew_at_age, renew_between_repairs

# Policy I of Barlow & Hunter 1960, Operations Research 8:90-100, Weibull with scale 1, planned
# cost 1: shape, failure cost, best age, its cost, saving. Computed with mpmath by two routes.
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
def test_best_age_before_failure(shape, failure, age, cost, saving):
    best = renew_at_age(shape, 1, planned_cost=1, failure_cost=failure)
    assert best.at_days == pytest.approx(age, rel=1e-6)
    assert best.cost_per_day == pytest.approx(cost, rel=1e-6)
    assert best.saving_share == pytest.approx(saving, rel=1e-6)


def test_no_other_age_is_cheaper():
    def cost(age):
        lived = integrate.quad(lambda t: np.exp(-((t / 900) ** 2.4)), 0, age)[0]
        survive = np.exp(-((age / 900) ** 2.4))
        return (4 * survive + 45 * (1 - survive)) / lived

    direct = optimize.minimize_scalar(cost, bounds=(50, 900), method="bounded")
    best = renew_at_age(2.4, 900, planned_cost=4, failure_cost=45)
    assert best.at_days == pytest.approx(direct.x, rel=1e-4)
    assert best.cost_per_day == pytest.approx(direct.fun, rel=1e-8)
    assert best.cost_per_day_unplanned == pytest.approx(45 / (900 * special.gamma(1 + 1 / 2.4)))


def test_shape_two_costs_twice_its_age():
    # For shape 2 the hazard is 2 t, so the least cost is 2 T (failure - planned).
    best = renew_at_age(2, 1, planned_cost=1, failure_cost=10)
    assert best.cost_per_day == pytest.approx(2 * best.at_days * 9, rel=1e-12)


@pytest.mark.parametrize(("shape", "unplanned"), [(0.8, 8.82610121), (1.0, 10.0)])
def test_a_part_that_does_not_wear_out_is_run_to_failure(shape, unplanned):
    # Barlow & Proschan 1965: no finite optimum; cost 10 / Gamma(1 + 1 / shape).
    best = renew_at_age(shape, 1, planned_cost=1, failure_cost=10)
    assert best.at_days == np.inf
    assert best.cost_per_day == pytest.approx(unplanned, rel=1e-8)
    assert best.saving_share == 0


def test_no_gain_where_failure_costs_no_more_or_ageing_is_too_slow():
    assert renew_at_age(3, 1, planned_cost=5, failure_cost=5).at_days == np.inf
    assert renew_at_age(1.0001, 1, planned_cost=1, failure_cost=1.001).at_days == np.inf


@pytest.mark.parametrize(
    ("shape", "repair", "age", "cost"),
    # Policy II of Barlow & Hunter 1960 by hand: T = (1 / (repair (shape - 1))) ** (1 / shape).
    [
        (1.5, 0.25, 4.0, 0.75),
        (2, 0.1, 3.16227766, 0.632455532),
        (2, 0.25, 2.0, 1.0),
        (3, 0.25, 1.25992105, 1.19055079),
        (3, 0.5, 1.0, 1.5),
    ],
)
def test_renewal_between_minimal_repairs(shape, repair, age, cost):
    best = renew_between_repairs(shape, 1, planned_cost=1, repair_cost=repair)
    assert best.at_days == pytest.approx(age, rel=1e-8)
    assert best.cost_per_day == pytest.approx(cost, rel=1e-8)
    in_days = renew_between_repairs(shape, 365, planned_cost=1, repair_cost=repair)
    assert in_days.at_days == pytest.approx(365 * age, rel=1e-8)
    assert in_days.cost_per_day == pytest.approx(cost / 365, rel=1e-8)


def test_minimal_repair_of_a_part_that_does_not_wear_out():
    assert renew_between_repairs(1, 5, planned_cost=1, repair_cost=2).cost_per_day == 0.4
    assert renew_between_repairs(0.7, 5, planned_cost=1, repair_cost=2).at_days == np.inf


def test_what_is_refused():
    with pytest.raises(RequestError, match="above zero"):
        renew_at_age(2, 0, planned_cost=1, failure_cost=2)
