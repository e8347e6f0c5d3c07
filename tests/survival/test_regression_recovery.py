"""How often the limits of hazard ratios hold the truth, over many seeded shops."""

import numpy as np
import pytest

from insights.survival.cox import fit_cox


@pytest.mark.slow
def test_clustered_limits_hold_where_units_differ_and_come_back_again(measured):
    # Units of gamma-distributed frailty, three jobs each, the practice a habit of the unit and
    # without effect: naive errors take the jobs for independent and promise too much.
    held = {"robust_se": 0, "se": 0}
    shops = 600
    for seed in range(shops):
        rng = np.random.default_rng(seed)
        units = 120
        frailty = rng.gamma(0.7, 1 / 0.7, units)
        habit = rng.integers(0, 2, units)
        unit = np.repeat(np.arange(units), 3)
        life = np.ceil(rng.exponential(200 / np.maximum(frailty[unit], 1e-6)))
        days, event = np.minimum(life, 365), life <= 365
        fit = fit_cox(days, event, habit[unit][:, None], cluster=unit)
        for name in held:
            held[name] += abs(fit.coef[0]) <= 1.959964 * getattr(fit, name)[0]
    measured.row(
        "95% limits of a hazard ratio, units that differ",
        shops=shops,
        held_share=held["robust_se"] / shops,
        held_without_clustering_share=held["se"] / shops,
    )
    assert 0.93 <= held["robust_se"] / shops <= 0.97
    assert held["se"] / shops < 0.88


@pytest.mark.slow
def test_penalised_limits_hold_where_comebacks_are_few(measured):
    # 150 jobs, 4 in 100 back within 180 days, halved by the practice: often none at one level.
    shops, held, empty = 600, 0, 0
    for seed in range(shops):
        rng = np.random.default_rng(seed)
        done = rng.integers(0, 2, 150)
        life = np.ceil(rng.exponential(4400 * np.where(done == 1, 2.0, 1.0)))
        days, event = np.minimum(life, 180), life <= 180
        if event.sum() < 2:
            held += 1  # nothing is stated, so nothing is wrong
            continue
        empty += event[done == 1].sum() == 0
        fit = fit_cox(days, event, done[:, None], firth=True)
        held += fit.low[0] <= np.log(0.5) <= fit.high[0]
    measured.row(
        "95% limits of a hazard ratio, few comebacks",
        shops=shops,
        held_share=held / shops,
        none_at_one_level_share=empty / shops,
    )
    assert empty > 60
    assert 0.93 <= held / shops <= 0.99
