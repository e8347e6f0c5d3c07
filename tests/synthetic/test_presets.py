"""Each preset has the one thing to find that its docstring promises."""

from __future__ import annotations

import math

import numpy as np
import pytest

from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import linking_shop, null_shop, practice_shop, simple_shop, slip_shop


def plain_difference(truth, practice: str) -> float:
    """Expect of done less left as they were chosen: what the plain comparison sees."""
    risk = truth.job_risk(180)
    done, here = truth.done(practice), truth.handed_back & truth.facts[f"applies_{practice}"]
    return float(risk[here & done].mean() - risk[here & ~done].mean())


@pytest.mark.parametrize("jobs", [1, 40, 601])
def test_the_simple_shop_hands_back_exactly_its_jobs(jobs):
    history, truth = generate(simple_shop(0.5, jobs, 1))
    assert history.jobs["handed_back"].notna().sum() == jobs
    repaired = truth.unit_of_job[truth.handed_back]
    assert len(np.unique(repaired)) == jobs


@pytest.mark.parametrize("effect", [0.4, 1.0, 1.6])
@pytest.mark.parametrize("risk", [0.02, 0.08])
def test_the_practice_shop_has_the_risk_stated_whatever_the_effect(effect, risk):
    shares = [generate(practice_shop(effect, risk, 4000, seed))[1].share(180) for seed in (1, 2, 3)]
    # The job mix of 4,000 moves it by a few in a hundred.
    assert np.mean(shares) == pytest.approx(risk, rel=0.04)
    _, truth = generate(practice_shop(effect, risk, 4000, 0))
    assert truth.share(180, follow="all") == pytest.approx(risk, rel=0.01)


def test_the_plain_comparison_misleads_in_the_practice_shop():
    _, truth = generate(practice_shop(0.4, 0.05, 5000, 3))
    assert truth.practice_difference("contact_pair", 180) < -0.015
    assert plain_difference(truth, "contact_pair") > 0.005


def test_without_events_means_none():
    _, truth = generate(practice_shop(0.4, 0.08, 8000, 3, zero_event=True))
    done = truth.done("contact_pair") & truth.handed_back
    assert 0.2 < done.mean() < 0.4
    assert truth.practice_risk("contact_pair", "both", 180) == 0
    assert truth.practice_risk("contact_pair", "one", 180) > 0.08
    came_back = np.isin(truth.unit_of_job, truth.unit_of_job[truth.facts["visit"] > 1])
    assert came_back.sum() > 500
    assert not (done & came_back).any()


def test_repaired_comebacks_come_back_again():
    _, truth = generate(practice_shop(0.4, 0.08, 6000, 3, repaired=True))
    assert (truth.facts["visit"] > 2).sum() > 20
    assert truth.base[:, 0].std() > 0.3


def test_an_unmeasured_reason_moves_the_control_cause():
    """Among like ages, conditions and technicians, cord returns still differ by the practice."""

    def control(truth) -> float:
        risk = truth.job_risk(180, cause="cord")
        alike = truth.handed_back & (truth.facts["condition"] == 3)
        alike &= (truth.facts["technician"] == 1) & (abs(truth.facts["age_years"] - 5) < 1)
        done = truth.done("contact_pair")
        return float(np.log(risk[alike & done].mean() / risk[alike & ~done].mean()))

    _, without = generate(practice_shop(1.0, 0.05, 40_000, 3))
    _, confounded = generate(practice_shop(1.0, 0.05, 40_000, 3, unmeasured=1.0))
    assert abs(control(without)) < 0.05
    assert control(confounded) > 0.5


def test_lots_and_benches_of_the_null_shop():
    history, truth = generate(null_shop(6000, 2, lots=200, technicians=12))
    lots = history.jobs["lot_contact"].dropna()
    assert 198 <= lots.nunique() <= 202
    assert history.jobs["technician"].nunique() == 12
    assert not truth.bad_lot_jobs("contact").any()


def test_a_slipped_habit_costs_what_is_stated():
    _, truth = generate(slip_shop(0.25, 20_000, 2, risk=0.04))
    slipped = truth.slip_jobs("switch")
    kept = truth.handed_back & ~slipped & truth.done("switch")
    # Cleaned: each of two causes 2% by day 180. Left: the switch's hazard is four times as high.
    half = 1 - math.sqrt(0.96)
    assert truth.share(180, jobs=kept) == pytest.approx(1 - (1 - half) * 0.98, rel=1e-6)
    left = slipped & ~truth.done("switch")
    assert truth.share(180, jobs=left) == pytest.approx(1 - (1 - half) * 0.98**4, rel=1e-6)
    assert left.sum() / slipped.sum() > 0.9
    start = truth.facts["received"][slipped].min()
    assert truth.facts["received"][slipped].max() - start == 60  # days, first to last: 61


def test_the_demo_tells_its_story():
    history, truth = generate(cafe_workshop())
    assert len(history.jobs) == pytest.approx(12_000, rel=0.03)
    assert set(history.practices) == {"contact_pair", "switch", "gasket"}
    assert set(history.lots) == {"contact", "element", "gasket"}
    assert set(history.readings) == {"plate_c", "insulation_mohm", "earth_ohm"}
    assert truth.scenario.days == pytest.approx(3652, abs=2)
    assert 0.04 < truth.share(180) < 0.06
    # Both contacts spare 1.6 comebacks in 100, yet the plain comparison shows hardly any.
    assert truth.practice_difference("contact_pair", 180) == pytest.approx(-0.016, abs=0.001)
    assert abs(plain_difference(truth, "contact_pair")) < 0.005
    effects = {one.name: dict(one.hazard_multipliers) for one in truth.scenario.practices}
    assert effects == {"contact_pair": {"contact": 0.35}, "switch": {"switch": 0.60}, "gasket": {}}
    assert 100 < truth.bad_lot_jobs("contact").sum() < 200
    assert 40 < truth.slip_jobs("switch").sum() < 150
    assert not truth.confounded


def test_the_linking_shop_is_the_demo_with_more_slips_of_the_pen():
    shop, cafe = linking_shop(5000, 3, mistyped_share=0.2), cafe_workshop(5000, 3)
    assert shop.paperwork.mistyped_share == 0.2
    assert shop.causes == cafe.causes
    assert shop.first_visits == cafe.first_visits
