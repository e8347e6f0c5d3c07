"""What is drawn follows the laws that are summed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from sources import SCIPY

from synthetic.expected import expected_ends
from synthetic.generate import generate
from synthetic.hazards import daily_hazards, draw_first_end, with_practices
from synthetic.presets import practice_shop, simple_shop
from synthetic.scenario import Cause, Leaving, Returning, Scenario

DRAWS = 200_000
# Kolmogorov's statistic passes 2.3 / √n once in 20,000 samples.
FURTHEST = 2.3 / np.sqrt(DRAWS)


@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5])
def test_one_cause_is_drawn_from_scipys_weibull(shape, outside):
    scenario = simple_shop(0.9, 1, shape=shape)
    _, day = draw_first_end(scenario, np.full((DRAWS, 1), 0.5), np.random.default_rng(1))
    # Hazard multiplier one half: the scale grows by 2 ** (1 / shape).
    scale = 180 * (2 / -np.log(0.1)) ** (1 / shape)
    law = stats.weibull_min(shape, scale=scale)
    days = np.arange(1, 1000)
    seen = np.searchsorted(np.sort(day), days, side="right") / DRAWS
    assert np.abs(seen - law.cdf(days)).max() < FURTHEST
    summed = np.cumsum(daily_hazards(scenario, 999)[0]) * 0.5
    source = f"{SCIPY}; weibull_min"
    outside.agrees("hazards summed", summed, -law.logsf(days), source=source, rel=1e-9)


def test_the_first_of_several_ends_is_the_one_that_counts():
    scenario = Scenario(
        causes=(Cause("contact", 0.5, shape=0.7), Cause("cord", 0.3, shape=1.6)),
        returning=Returning(no_fault_found_by_180_days=0.2, misuse_by_180_days=0.1),
        leaving=Leaving(yearly_share=0.4),
    )
    end, day = draw_first_end(scenario, np.ones((DRAWS, 2)), np.random.default_rng(2))
    hazards = daily_hazards(scenario, 300)
    staying = np.exp(np.cumsum(hazards.sum(axis=0) * -1) + hazards.sum(axis=0))
    expected = -np.expm1(-hazards.sum(axis=0)) / hazards.sum(axis=0) * staying * hazards
    for code in range(5):
        seen = ((end == code) & (day <= 300)).mean()
        wanted = expected[code].sum()
        assert seen == pytest.approx(wanted, abs=4 * np.sqrt(wanted / DRAWS)), code


def test_what_is_counted_changes_no_sum():
    scenario = replace(
        practice_shop(0.4, 0.3, 300, 1),
        returning=Returning(0.9, 0.5, (0.3, 0.3, 0.4), 0.05, 0.03),
        leaving=Leaving(yearly_share=0.3, recorded_share=0.5),
    )
    multipliers = np.random.default_rng(3).gamma(2, 1, (50, 2))
    terms = np.resize([30.0, 90.0, np.inf], 50)

    def back(count):
        (ends,) = expected_ends(scenario, multipliers, terms, 200, count)
        return ends.counted.sum(axis=0), ends.counted.sum(axis=0) + ends.uncounted, ends.running

    every, faults, covered = (back(count) for count in ("all", "faults", "covered"))
    for one in (faults, covered):
        np.testing.assert_allclose(one[1], every[1], atol=1e-15)
        np.testing.assert_allclose(one[2], every[2], atol=1e-13)
    assert (covered[0] <= faults[0] + 1e-15).all()
    assert (faults[0] < every[0]).all()
    # Two days in the post at most: 32 days after hand-back a 30-day term's last fault arrives.
    assert (covered[0][terms == 30, :32] > 0).all()
    assert (covered[0][terms == 30, 32:] == 0).all()
    lasting = np.isinf(terms)
    np.testing.assert_allclose(covered[0][lasting], faults[0][lasting], atol=1e-15)


def test_owners_decide_by_the_term_on_the_day_of_the_fault():
    shop = simple_shop(0.5, 4000, 3, term_days=90)
    for returning, inside in ((Returning(1, 0, (0.5, 0.5)), True), (Returning(0, 1), False)):
        _, truth = generate(replace(shop, returning=returning))
        back = truth.facts["visit"] > 1
        days = (truth.facts["notified"] - truth.facts["before_handed_back"])[back]
        assert len(days) > 500
        assert ((days <= 90) == inside).all()
        assert 90 in days if inside else 91 in days


def test_practices_multiply_on_the_jobs_they_were_done_on():
    scenario = practice_shop(0.4, 0.05, 10, 1)
    total = with_practices(
        scenario, np.full((3, 2), 2.0), {"contact_pair": np.array([1, 0, 1]) > 0}
    )
    np.testing.assert_allclose(total, [[0.8, 2], [2, 2], [0.8, 2]])
