"""The whole comparison: what it refuses, what it concludes, what it carries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from benches import START, followed_groups, group, mixed_bench, spread, worked_check
from hypothesis import given, settings
from hypothesis import strategies as st

from insights.errors import EvidenceError, RequestError
from insights.evidence.controls import check_control, e_value
from insights.evidence.estimators import RETURNS_FOR
from insights.evidence.practice import compare_practice
from insights.evidence.reading import per_comeback
from insights.evidence.result import PracticeEvidence, RiskDifference
from insights.evidence.switched import find_switch

QUICK = {"replicates": 60, "seed": 5}


@pytest.fixture(scope="module")
def worked() -> PracticeEvidence:
    return compare_practice(worked_check(), "pair", population="all", replicates=400)


E_VALUES = "VanderWeele and Ding 2017, Annals of Internal Medicine 167:268-274; and R EValue"


@pytest.mark.parametrize(
    ("ratio", "expected"), [(3.9, 7.263034), (1.8, 3.0), (0.8, 1.809017), (0.91, 1.428571)]
)
def test_e_values_match_the_paper(ratio, expected, outside):
    outside.agrees("E-values", e_value(ratio), expected, source=E_VALUES, abs=1e-6)


def test_e_value_of_the_nearer_limit():
    assert e_value(0.5, 0.3, 0.85) == pytest.approx(1 / 0.85 + np.sqrt(1 / 0.85 * (1 / 0.85 - 1)))
    assert e_value(2.0, 1.25, 4.0) == pytest.approx(1.25 + np.sqrt(1.25 * 0.25))
    assert e_value(0.5, 0.2, 1.1) == 1.0
    assert np.isnan(e_value(0.0))


def test_the_plain_comparison_misleads_and_the_adjusted_one_does_not(worked):
    assert worked.crude.difference == pytest.approx(19 / 350 - 34 / 650, abs=1e-9)
    assert worked.crude.low < 0 < worked.crude.high
    # -3.60 by hand; the weak prior costs the model a few tenths of a point.
    assert worked.adjusted.difference == pytest.approx(-0.034, abs=0.002)
    # Standard error of the weighted difference by hand: 1.91 points.
    weighted = worked.table.set_index("estimator").loc["weighted jobs"]
    assert weighted["high"] - weighted["low"] == pytest.approx(2 * 1.96 * 0.0191, rel=0.15)
    assert (worked.jobs, worked.jobs_level, worked.jobs_against) == (1000, 350, 650)
    assert (worked.returns, worked.returns_level, worked.returns_against) == (53, 19, 34)
    assert worked.units == 1000
    assert (worked.level, worked.against, worked.practice) == ("both", "one", "pair")
    assert worked.overlap.effective_jobs_level == pytest.approx(129, abs=3)
    assert worked.overlap.effective_jobs_against == pytest.approx(444, abs=3)
    assert worked.covariates == ("model",)


def test_the_order_of_rows_changes_no_draw():
    groups = (group(90, "both", back=spread(6)), group(90, "one", back=spread(14)))
    jobs = [job for jobs in groups for job in jobs]
    later = {"received": "2026-03-12", "handed_back": "2026-03-14"}
    again = [{**job, **later, "job_id": f"{job['job_id']}-again"} for job in jobs[-20:]]
    found, turned = (
        compare_practice(followed_groups(rows), "pair", **QUICK)
        for rows in (jobs + again, again[::-1] + jobs[::-1])
    )
    assert found.units < found.jobs
    assert turned.draws == pytest.approx(found.draws, abs=1e-9)


def test_every_estimator_has_its_row_and_its_reason(worked):
    table = worked.table.set_index("estimator")
    assert list(table.index) == list(RETURNS_FOR)
    assert (table["why_not"] == "").all()
    assert table.loc["weighted jobs", "difference"] == pytest.approx(-0.036, abs=5e-4)
    few = compare_practice(
        followed_groups(group(60, "both", back=spread(3)), group(60, "one", back=spread(5))),
        "pair",
        **QUICK,
    )
    table = few.table.set_index("estimator")
    assert few.verdict == "too_early"
    assert table.loc["weighted jobs", "why_not"] == "needs 25 comebacks; there are 8"
    assert table.loc["weighted jobs", ["difference", "low", "high"]].isna().all()
    assert np.isfinite(table.loc["hazard model", "low"])


def test_a_clear_help_a_clear_harm_and_their_jobs_per_comeback():
    groups = (group(900, "both", back=spread(20)), group(900, "one", back=spread(70)))
    helps = compare_practice(followed_groups(*groups), "pair", **QUICK)
    assert helps.verdict == "helps"
    found = helps.jobs_per_comeback
    assert found.jobs == pytest.approx(-1 / helps.adjusted.difference)
    assert found.low == pytest.approx(-1 / helps.adjusted.low)
    assert found.high == pytest.approx(-1 / helps.adjusted.high)
    assert found.low < found.jobs < found.high
    assert helps.e_value > helps.e_value_limit > 1
    assert helps.days_gained.low > 0

    harms = compare_practice(
        followed_groups(*groups), "practice_pair", level="one", against="both", **QUICK
    )
    assert harms.verdict == "harms"
    assert harms.adjusted.difference == pytest.approx(-helps.adjusted.difference, rel=1e-6)
    assert harms.jobs_per_comeback.jobs < 0


def test_days_gained_are_the_area_between_the_curves():
    # Spread evenly over 180 days: 50 of 900 more comebacks cost 90 days each on average.
    groups = (group(900, "both", back=spread(20)), group(900, "one", back=spread(70)))
    found = compare_practice(followed_groups(*groups), "pair", **QUICK)
    assert found.days_gained.estimate == pytest.approx(90 * 50 / 900, rel=0.05)


def test_no_jobs_per_comeback_where_the_difference_spans_zero():
    # Methods of N: from 7.3 fewer to 0.1 more per 100: one avoided per 14, one caused per 685.
    found = per_comeback(RiskDifference(0.02, 0.056, -0.036, -0.073, 0.00146))
    assert np.isnan([found.jobs, found.low, found.high]).all()
    assert round(found.avoided_per) == 14
    assert round(found.caused_per) == 685
    sure = per_comeback(RiskDifference(0.02, 0.06, -0.04, -0.05, -0.01))
    assert (sure.jobs, sure.low, sure.high) == pytest.approx((25, 20, 100))
    assert np.isnan(sure.caused_per)


def test_causes_add_up_and_an_untouched_cause_gives_other_units_away():
    groups = [
        group(700, "both", back=spread(30, "contacts") + spread(60, "cord") + spread(5, "seal")),
        group(700, "one", back=spread(30, "contacts") + spread(20, "cord") + spread(5, "seal")),
    ]
    found = compare_practice(
        followed_groups(*groups), "pair", cause="contacts", control_causes=["cord"], **QUICK
    )
    assert found.verdict == "different_units"
    assert found.control.verdict == "differs"
    assert found.control.risk.difference == pytest.approx(40 / 700, abs=0.006)
    parts = found.causes.set_index("part")
    assert list(parts.index) == [
        "contacts",
        "causes it can't touch",
        "other causes",
        "all comebacks",
    ]
    columns = ["risk_level", "risk_against", "difference"]
    assert parts.iloc[:3][columns].sum().to_numpy() == pytest.approx(
        parts.loc["all comebacks", columns].to_numpy(float), abs=1e-15
    )
    assert parts.loc["contacts", "difference"] == found.adjusted.difference
    assert found.returns == 60


def test_a_wide_control_says_little():
    wide = RiskDifference(0.03, 0.02, 0.01, -0.05, 0.07)
    narrow = RiskDifference(0.02, 0.02, 0.0, -0.01, 0.01)
    claimed = RiskDifference(0.02, 0.05, -0.03, -0.05, -0.01)
    assert check_control(("cord",), wide, claimed).verdict == "says_little"
    assert check_control(("cord",), narrow, claimed).verdict == "near_zero"
    assert check_control((), narrow, claimed).verdict == "not_asked"


def test_a_control_cause_that_never_came_in_time_says_little():
    late = [(300, "cord", 3)]
    groups = [
        group(300, "both", back=spread(6) + late),
        group(300, "one", back=spread(20) + late),
    ]
    found = compare_practice(followed_groups(*groups), "pair", control_causes=["cord"], **QUICK)
    assert found.control.risk.difference == 0
    # None of 300 either way: up to 2.5 of 300 by chance, so the interval must not be a point.
    assert found.control.risk.low < -0.002
    assert found.control.risk.high > 0.002


def test_a_practice_switched_on_at_once_is_only_before_and_after():
    rows = []
    for place in range(600):
        day = START - pd.Timedelta(days=600 - place)
        done = place >= 300
        job = {"received": day, "handed_back": day, "practice_pair": "both" if done else "one"}
        rows.append({"job_id": f"J{place}", "unit": place, "term_days": 365, **job})
        if place % (20 if done else 10) == 0:
            rows.append(dict(rows[-1], job_id=f"R{place}", root_cause="contacts", handed_back=None))
            rows[-1]["received"] = day + pd.Timedelta(days=5 + place % 170)
        elif place % 15 == 1:
            rows.append(dict(rows[-1], job_id=f"R{place}", root_cause="cord", handed_back=None))
            rows[-1]["received"] = day + pd.Timedelta(days=60)
    found = compare_practice(followed_groups(rows), "pair", control_causes=["cord"], **QUICK)
    assert found.verdict == "switched_on"
    assert found.switch is not None
    assert found.switch.date == START - pd.Timedelta(days=300)
    assert (found.switch.share_before, found.switch.share_after) == (0.0, 1.0)
    assert "quarter" not in found.covariates
    assert "year" not in found.covariates
    # 15 of 300 against 30 of 300 for contacts; cord alike before and after.
    touched = found.causes.set_index("part").loc["causes it may touch", "difference"]
    assert touched == pytest.approx(-0.05, abs=0.005)
    assert found.switch.before_after.estimate == pytest.approx(found.crude.difference)
    before = sum(place % 15 == 1 and place % 10 > 0 for place in range(300))
    after = sum(place % 15 == 1 and place % 20 > 0 for place in range(300, 600))
    change = (after - before) / 300
    assert found.switch.less_untouched.estimate == pytest.approx(
        found.crude.difference - change, abs=2e-3
    )


def test_no_switch_is_seen_where_both_ways_go_on():
    days = np.arange(100)
    arm = days % 2
    assert find_switch(days.astype("datetime64[D]"), arm) is None
    arm = (days >= 50).astype(int)
    assert find_switch(days.astype("datetime64[D]"), arm) is not None
    arm[:4] = 1
    assert find_switch(days.astype("datetime64[D]"), arm) is None


def test_nothing_like_to_compare_with():
    groups = [
        group(200, "both", technician="Ada", back=spread(15)),
        group(200, "one", technician="Bo", back=spread(15)),
    ]
    found = compare_practice(followed_groups(*groups), "pair", **QUICK)
    assert found.verdict == "cannot_compare"
    assert found.overlap.share_outside == 1.0
    strata = found.table.set_index("estimator").loc["strata of the chance"]
    assert strata["why_not"] == "no like jobs were done both ways"
    assert np.isnan(strata["difference"])
    assert set(found.incomparable["value"]) == {"Ada", "Bo"}
    assert found.technicians.to_dict("records") == [
        {"technician": "Ada", "jobs_level": 200, "jobs_against": 0, "share_level": 1.0},
        {"technician": "Bo", "jobs_level": 0, "jobs_against": 200, "share_level": 0.0},
    ]


def test_same_seed_same_answer_whatever_the_order_of_the_jobs():
    followup = mixed_bench(200)
    first = compare_practice(followup, "pair", **QUICK)
    again = compare_practice(followup, "pair", **QUICK)
    assert (first.draws == again.draws).all()
    order = np.random.default_rng(1).permutation(followup.job_count)
    episodes = followup.episodes.take(order).reset_index(drop=True)
    shuffled = compare_practice(replace(followup, episodes=episodes), "pair", **QUICK)
    assert shuffled.adjusted.difference == pytest.approx(first.adjusted.difference, rel=1e-9)
    other = compare_practice(followup, "pair", replicates=60, seed=6)
    assert other.adjusted.difference == first.adjusted.difference
    assert (other.draws != first.draws).any()


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    population=st.sampled_from(["not_yet", "all", "done", "comparable"]),
    day=st.sampled_from([60, 180, 300]),
)
def test_shares_stay_shares_and_intervals_hold_their_estimates(seed, population, day):
    found = compare_practice(
        mixed_bench(80, seed), "pair", day=day, population=population, replicates=40
    )
    given_rows = found.table[found.table["why_not"] == ""]
    for name in ("risk_level", "risk_against"):
        assert given_rows[name].between(0, 1).all()
    assert (given_rows["low"] <= given_rows["high"]).all()
    assert (
        (given_rows["risk_level"] - given_rows["risk_against"]) == given_rows["difference"]
    ).all()
    assert found.jobs == found.jobs_level + found.jobs_against
    assert found.propensity[["jobs_level", "jobs_against"]].to_numpy().sum() == found.jobs
    assert 0 <= found.overlap.share_outside <= 1
    assert found.overlap.effective_jobs_level <= found.jobs_level + 1e-9
    assert len(found.draws) == 40
    assert np.isfinite(found.draws).all()
    own = found.balance[found.balance["covariate"] == found.covariates[0]]
    assert own[["share_level", "share_against"]].sum().to_numpy() == pytest.approx([1, 1])


def test_missing_facts_are_a_group_of_their_own_and_said_so():
    groups = [
        group(200, "both", technician="Ada", back=spread(10)),
        group(200, "one", technician="Ada", back=spread(10)),
        group(50, "both", back=spread(5)),
        group(50, "one", back=spread(4)),
        group(30, None, technician="Ada"),
    ]
    found = compare_practice(followed_groups(*groups), "pair", **QUICK)
    assert "(not recorded)" in set(found.balance["value"])
    notes = {note.code: note for note in found.notes}
    assert notes["missing_covariate"].jobs == 100
    assert notes["neither_level"].jobs == 30
    assert found.jobs == 500


def test_levels_are_chosen_and_can_be_asked_for():
    groups = [
        group(100, "cleaned", back=spread(6)),
        group(300, "left", back=spread(9)),
        group(40, "brushed", back=spread(6)),
    ]
    followup = followed_groups(*groups)
    chosen = compare_practice(followup, "pair", **QUICK)
    assert (chosen.level, chosen.against) == ("cleaned", "left")
    asked = compare_practice(followup, "pair", level="brushed", **QUICK)
    assert (asked.level, asked.against) == ("brushed", "left")
    asked = compare_practice(followup, "pair", against="cleaned", **QUICK)
    assert (asked.level, asked.against) == ("left", "cleaned")


def constant() -> list[list[dict]]:
    return [
        group(100, "both", model="boiler", back=spread(8)),
        group(100, "one", model="boiler", back=spread(8)),
    ]


def test_the_state_of_earlier_work_may_adjust_but_only_when_asked_for():
    jobs = followed_groups(
        group(60, "both", model="boiler", earlier_work="sound", back=spread(4)),
        group(60, "one", model="boiler", earlier_work="sound", back=spread(6)),
        group(40, "both", model="boiler", earlier_work="substandard", back=spread(5)),
        group(40, "one", model="boiler", earlier_work="substandard", back=spread(7)),
    )
    asked = compare_practice(jobs, "pair", adjust=["earlier_work"], **QUICK)
    assert asked.covariates == ("earlier_work",)
    assert "earlier_work" not in compare_practice(jobs, "pair", **QUICK).covariates


def test_a_fact_alike_on_all_jobs_is_named_and_left_out():
    found = compare_practice(followed_groups(*constant()), "pair", adjust=["model"], **QUICK)
    assert found.covariates == ()
    assert "constant_covariate" in {note.code for note in found.notes}
    assert found.balance.empty


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"name": "cleaning"}, "No practice 'cleaning'.*: pair"),
        ({"level": "three"}, "No job has the level 'three'.*both .100 jobs."),
        ({"level": "one", "against": "one"}, "compared with itself"),
        ({"population": "everyone"}, "not_yet, all, done, comparable"),
        ({"cause": "gremlin"}, "No comeback has the root cause 'gremlin'. Recorded: contacts"),
        ({"cause": "contacts", "control_causes": ["contacts"]}, "Take it out of one"),
        ({"adjust": ["reading_plate_c"]}, "only what was known before the repair.*never readings"),
        ({"adjust": ["bench_minutes"]}, "Can't adjust for 'bench_minutes'"),
        ({"adjust": ["practice_pair"]}, "is the practice itself"),
        ({"day": 700}, "Day 700 is past the follow-up.*Day 364 is the last"),
        ({"day": 0}, "above zero"),
        ({"replicates": 10}, "40 or more"),
        ({"confidence": 1.0}, "between 0 and 1"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_what_can(asked, says):
    asked = {"name": "pair", **asked}
    with pytest.raises(RequestError, match=says):
        compare_practice(followed_groups(*constant()), **asked)


def test_what_the_record_cannot_answer():
    with pytest.raises(EvidenceError, match=r"done the same way: both \(50 jobs"):
        compare_practice(followed_groups(group(50, "both", back=spread(3))), "pair")
    with pytest.raises(EvidenceError, match="No comeback by day 180 on these 100 jobs"):
        compare_practice(followed_groups(group(50, "both"), group(50, "one")), "pair")
    with pytest.raises(EvidenceError, match="Fewer than 10 jobs done 'one'"):
        compare_practice(followed_groups(group(50, "both"), group(6, "one")), "pair")


def test_a_practice_decided_in_the_same_repair_adjusts_only_when_asked():
    groups = [
        group(100, "both", practice_switch="cleaned", back=spread(8)),
        group(60, "both", practice_switch="left", back=spread(6)),
        group(100, "one", practice_switch="left", back=spread(9)),
        group(40, "one", practice_switch="cleaned", back=spread(2)),
    ]
    followup = followed_groups(*groups)
    found = compare_practice(followup, "pair", **QUICK)
    assert found.covariates == ()
    assert "other_practice" in {note.code for note in found.notes}
    other = found.balance.set_index("value").loc["cleaned"]
    # 100 of 160 against 40 of 140 were cleaned too.
    level, against = 100 / 160, 40 / 140
    spread_of_both = np.sqrt((level * (1 - level) + against * (1 - against)) / 2)
    assert other["before"] == pytest.approx((level - against) / spread_of_both, rel=1e-6)
    assert other["after"] == pytest.approx(other["before"], rel=1e-2)
    assert not other["is_adjusted"]
    asked = compare_practice(followup, "pair", adjust=["practice_switch"], **QUICK)
    assert asked.covariates == ("practice_switch",)
    assert asked.balance["is_adjusted"].all()
    assert "other_practice" not in {note.code for note in asked.notes}
    assert "decided_together" in {note.code for note in asked.notes}


def test_estimators_that_disagree_withhold_the_verdict():
    # The effect turns round with the model: the hazard model's one ratio fits neither, and the
    # jobs not yet done so are nearly all grills.
    groups = [
        group(1000, "both", model="boiler", back=spread(20)),
        group(100, "one", model="boiler", back=spread(15)),
        group(120, "both", model="grill", back=spread(30)),
        group(1500, "one", model="grill", back=spread(60)),
    ]
    found = compare_practice(followed_groups(*groups), "pair", replicates=200)
    table = found.table.set_index("estimator")["difference"]
    assert table["weighted jobs"] > table["hazard model"] + 0.05
    assert found.verdict == "estimators_disagree"
