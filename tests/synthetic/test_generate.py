"""The invented workshop: the same from the same seed, and as true as it says it is."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from insights.followup import Followup, follow_up
from insights.history.units import Links
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import (
    cure_shop,
    lot_shop,
    practice_shop,
    simple_shop,
)


def followed(history, truth, **rules) -> Followup:
    """Follow with the true units, so that linking plays no part."""
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links, **rules)


@pytest.fixture(scope="module")
def cafe():
    return generate(cafe_workshop(jobs=20_000))


def test_a_seed_is_a_history():
    one, again, other = (generate(cafe_workshop(jobs=500, seed=seed))[0] for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(one.jobs, again.jobs)
    assert not one.jobs["received"].equals(other.jobs["received"])


@pytest.mark.parametrize("shape", [0.8, 1.0, 1.5])
def test_the_simple_shop_is_true_to_its_closed_form(shape):
    # A Weibull share of 5% by day 180: 1 - .95 ** ((t / 180) ** shape), on whole days.
    _, truth = generate(simple_shop(0.05, 400, 1, shape=shape))
    for day in (1, 30, 180, 300):
        expected = 1 - 0.95 ** ((day / 180) ** shape)
        assert truth.share(day) == pytest.approx(expected, rel=1e-9)


def test_the_cure_shop_never_passes_its_ceiling():
    # Who can fail is drawn: of 20,000 jobs 10% +- 0.2% (one standard error), six in ten by day 180.
    _, truth = generate(cure_shop(0.06, 20_000, 1, never_fails_share=0.9))
    assert truth.share(180) == pytest.approx(0.06, abs=4 * 0.6 * 0.002)
    assert truth.share(360) < 0.10 + 4 * 0.002


def test_the_simple_shop_is_seen_as_it_is():
    history, truth = generate(simple_shop(0.05, 40_000, 3))
    at = return_curves(followed(history, truth), at=(90, 180)).at
    for row in at.itertuples():
        # Four standard errors: one seeded draw in about 16,000 would fall outside by chance.
        error = np.sqrt(0.05 * 0.95 / row.at_risk)
        assert row.share == pytest.approx(truth.share(int(row.day)), abs=4 * error)


def test_root_causes_are_seen_as_they_are(cafe):
    history, truth = cafe
    seen = cause_curves(followed(history, truth), at=(180,))
    told = history.jobs["root_cause"].cat.categories
    wanted = truth.table([180]).set_index("cause")["share"]
    for row in seen.at.itertuples():
        if row.cause not in wanted.index:
            continue
        error = np.sqrt(wanted[row.cause] / row.at_risk)
        # Two in a hundred causes are not written down: the record reads that much lower.
        assert row.share == pytest.approx(wanted[row.cause] * 0.98, abs=4 * error)
    assert set(wanted.index[1:]) <= set(told)
    total = seen.total.at.iloc[0]
    assert total.share == pytest.approx(truth.share(180), abs=4 * np.sqrt(0.05 / total.at_risk))


def test_only_the_causes_it_touches_move_with_a_practice():
    _, truth = generate(practice_shop(0.4, 0.05, 4000, 5))
    contact = truth.practice_difference("contact_pair", 180, cause="contact")
    cord = truth.practice_difference("contact_pair", 180, cause="cord")
    both = truth.practice_difference("contact_pair", 180)
    assert contact < -0.005
    assert abs(cord) < 0.0005  # it only competes
    assert contact + cord == pytest.approx(both, abs=1e-12)


def test_a_practice_without_effect_changes_nothing():
    _, truth = generate(practice_shop(1.0, 0.05, 1000, 5))
    assert truth.practice_difference("contact_pair", 180) == pytest.approx(0, abs=1e-12)


def test_older_and_poorer_units_get_more_done(cafe):
    history, truth = cafe
    jobs = history.jobs[truth.handed_back]
    both = jobs["practice_contact_pair"] == "both"
    assert both[jobs["unit_age_years"] > 8].mean() > both[jobs["unit_age_years"] < 2].mean() + 0.2
    assert both[jobs["condition"] == 5].mean() > both[jobs["condition"] == 1].mean() + 0.2


def test_a_bad_lot_is_one_lot():
    history, truth = generate(lot_shop(3.0, 1500, 30_000, 7))
    bad = truth.bad_lot_jobs("contact")
    # A lot lasts a twentieth of the days; opening boxes early or late moves its edges.
    assert bad.sum() == pytest.approx(1500, rel=0.15)
    lots = history.jobs.loc[bad, "lot_contact"]
    assert (lots == lots.iloc[0]).all()


def test_the_record_has_what_real_shops_have(cafe):
    history, truth = cafe
    jobs = history.jobs
    assert jobs["handed_back"].isna().sum() > 5  # open, or written off on the bench
    assert jobs["relation"].isin(["no_fault_found"]).sum() > 20
    assert jobs["relation"].isin(["misuse"]).sum() > 10
    assert jobs["decision"].isin(["pending"]).sum() > 3
    assert jobs["ended_on"].notna().sum() > 100
    assert jobs["unit_serial"].isna().mean() == pytest.approx(0.015, abs=0.006)
    typed = jobs["unit_serial"].str.upper().str.replace(r"[^0-9A-Z]", "", regex=True)
    per_unit = typed.groupby(truth.unit_of_job).nunique()
    visits = jobs.groupby(truth.unit_of_job).size()
    assert 0.02 < (per_unit[visits > 1] > 1).mean() < 0.2  # mistyped at some visit
    back = jobs["notified"].notna() & jobs["relation"].notna()
    delay = (jobs["received"] - jobs["notified"])[back].dt.days
    assert delay.min() >= 0
    assert 1 < delay.mean() < 5


def test_no_date_lies_after_the_data_date_or_out_of_order(cafe):
    history, truth = cafe
    jobs = history.jobs
    assert (jobs[["received", "handed_back", "notified"]].max() <= truth.data_date).all()
    assert not (jobs["handed_back"] < jobs["received"]).any()
    assert followed(history, truth).problems.empty
