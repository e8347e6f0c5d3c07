"""The bench trial: its size, its cards, its analysis, and how often it is wrong."""

import hashlib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sources import STATSMODELS
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.proportion import power_proportions_2indep

from insights.errors import EvidenceError, RequestError
from insights.evidence.cards import job_cards, job_mix
from insights.evidence.trial import jobs_needed_per_arm, plan_trial, play_out
from insights.evidence.trial_result import (
    analyse_trial,
    cochran_mantel_haenszel,
    mantel_haenszel_difference,
)
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links

MIX = pd.DataFrame(
    {
        "model": ["boiler", "boiler", "grill"],
        "age_band": ["0 to 2 years", "4 to 6 years", "0 to 2 years"],
        "jobs": [50, 30, 20],
    }
)

TRIAL = "A trial with three looks, played out"


def plan(**changes):
    asked = {"risk_against": 0.08, "difference": 0.04, "seed": "spring", **changes}
    return plan_trial("pair", "both", "one", **asked)


@pytest.mark.parametrize(
    ("against", "level", "jobs"),
    # By hand: 7.8489 x (p0 q0 + p1 q1) / (p0 - p1)^2, so 7.8489 x 70, x 115 and x 859.
    [(0.08, 0.04, 550), (0.05, 0.025, 903), (0.05, 0.04, 6743)],
)
def test_jobs_needed(against, level, jobs, outside):
    assert jobs_needed_per_arm(against, level) == jobs
    power = power_proportions_2indep(against - level, level, jobs, alpha=0.05).power
    source = f"{STATSMODELS}; power for two proportions, score test"
    outside.agrees("trial: power of its size", 0.8, power, source=source, abs=0.01)


def test_a_plan_with_looks_is_a_little_larger():
    planned = plan()
    assert planned.single_look_jobs_per_arm == 550
    # Spending leaves a little more for the end than the classical bounds, whose size for three
    # looks is 1.017 (Jennison & Turnbull 2000, table 2.4, from memory).
    assert 550 < planned.jobs_per_arm < 550 * 1.0174
    np.testing.assert_allclose(planned.looks["bound"], [3.7103, 2.5114, 1.9930], atol=2e-4)
    most = planned.jobs_per_arm
    assert planned.looks["jobs_per_arm"].tolist() == [-(-most // 3), -(-2 * most // 3), most]
    assert planned.months(100) == pytest.approx(most / 50 + 180 / 30.4375)
    assert any(f"at most {most} jobs each way" in sentence for sentence in planned.words)
    assert plan(looks=1).jobs_per_arm == 550


def test_false_alarms_stay_at_what_was_promised(measured):
    # 20,000 imagined trials without any difference: 5% stop, give or take .5 (3 standard errors);
    # with the bound of a single look at each of three, 10.7% (Armitage et al. 1969).
    nothing = play_out(plan(), risk_level=0.08, risk_against=0.08, trials=20_000)
    measured.row(
        TRIAL,
        true_difference="none",
        trials=20_000,
        stopped_share=nothing.share_better + nothing.share_worse,
        stopped_without_rule_share=nothing.share_either_unguarded,
        mean_jobs_each_way=round(nothing.mean_jobs_per_arm),
    )
    assert nothing.share_better + nothing.share_worse == pytest.approx(0.05, abs=0.005)
    assert nothing.share_better == pytest.approx(nothing.share_worse, abs=0.005)
    assert nothing.share_either_unguarded == pytest.approx(0.107, abs=0.008)


def test_the_planned_difference_is_found_as_often_as_promised_and_sooner(measured):
    found = play_out(plan(), risk_level=0.04, risk_against=0.08, trials=20_000)
    measured.row(
        TRIAL,
        true_difference="as planned, 4 of 100",
        trials=20_000,
        stopped_share=found.share_better + found.share_worse,
        stopped_without_rule_share=found.share_either_unguarded,
        mean_jobs_each_way=round(found.mean_jobs_per_arm),
    )
    assert found.share_better == pytest.approx(0.80, abs=0.015)
    assert found.share_worse < 0.001
    assert found.mean_jobs_per_arm < 500
    harm = play_out(plan(), risk_level=0.12, risk_against=0.08, trials=2000)
    assert harm.share_worse > 0.4


def test_cards_are_the_same_for_ever():
    planned = plan()
    cards = job_cards(planned, MIX)
    pd.testing.assert_frame_equal(cards, job_cards(planned, MIX))

    # The first block, drawn again by hand: size by the digest's first byte, then half and half
    # in the order of the digests.
    def digest(place):
        return hashlib.sha256(f"spring|boiler|0 to 2 years|1|{place}".encode()).digest()

    size = (4, 6)[digest("size")[0] % 2]
    dealt = (["both", "one"] * 3)[:size]
    order = sorted(range(size), key=digest)
    assert cards["level"].head(size).tolist() == [dealt[place] for place in order]
    assert cards["card"].iloc[0] == "01-0001"
    other = job_cards(plan(seed="autumn"), MIX)
    assert (other["level"].head(100) != cards["level"].head(100)).mean() > 0.3


def test_cards_balance_in_every_block_and_are_enough():
    planned = plan()
    cards = job_cards(planned, MIX)
    blocks = cards.groupby(["model", "age_band", "block"])["level"]
    assert (blocks.apply(lambda level: (level == "both").mean()) == 0.5).all()
    assert set(blocks.size()) == {4, 6}
    assert cards["card"].is_unique
    by_stratum = cards.groupby(["model", "age_band"], sort=False).size().to_numpy()
    assert (by_stratum >= 1.25 * 2 * planned.jobs_per_arm * np.array([0.5, 0.3, 0.2])).all()
    # A stratum's cards do not depend on the others.
    grill = job_cards(planned, MIX[MIX["model"] == "grill"])
    expected = cards.loc[cards["model"] == "grill", "level"].to_numpy()
    np.testing.assert_array_equal(grill["level"].head(len(expected)), expected)


def test_the_deal_is_fair():
    # Over many seeds every place of the first block is dealt either way half the time.
    small = plan(difference=0.08)
    first = [
        job_cards(replace(small, seed=str(seed)), MIX.head(1))["level"].head(4)
        for seed in range(200)
    ]
    both = (np.array(first) == "both").mean(axis=0)
    np.testing.assert_allclose(both, 0.5, atol=3.5 * np.sqrt(0.25 / 200))


def test_difference_and_test_of_one_stratum_are_the_simple_ones():
    difference, se = mantel_haenszel_difference(np.array([[12, 200, 30, 200]]))
    assert difference == pytest.approx(12 / 200 - 30 / 200)
    # Sato's variance with equal arms is p q / n + p q / n.
    assert se == pytest.approx(np.sqrt(0.06 * 0.94 / 200 + 0.15 * 0.85 / 200))
    z = cochran_mantel_haenszel(np.array([[12, 200, 30, 200]]))
    chi2 = stats.chi2_contingency([[12, 188], [30, 170]], correction=False).statistic
    assert z == pytest.approx(-np.sqrt(chi2 * 399 / 400))  # hypergeometric variance


def test_several_strata_agree_with_statsmodels_and_with_hand(outside):
    tables = np.array([[4, 60, 9, 55], [1, 20, 3, 24], [6, 80, 5, 78], [0, 1, 1, 1]])
    square = [[[a, n1 - a], [b, n0 - b]] for a, n1, b, n0 in tables]
    theirs = StratifiedTable(square).test_null_odds(correction=False)
    outside.agrees(
        "trial: Cochran-Mantel-Haenszel",
        cochran_mantel_haenszel(tables) ** 2,
        theirs.statistic,
        source=STATSMODELS,
        rel=1e-9,
    )
    # By hand: differences weighted by n1 n0 / n.
    weight = tables[:, 1] * tables[:, 3] / (tables[:, 1] + tables[:, 3])
    each = tables[:, 0] / tables[:, 1] - tables[:, 2] / tables[:, 3]
    assert mantel_haenszel_difference(tables)[0] == pytest.approx(weight @ each / weight.sum())
    assert cochran_mantel_haenszel(np.array([[0, 5, 0, 5]])) == 0


def test_standard_error_is_right_in_many_small_strata():
    rng = np.random.default_rng(9)
    base = rng.uniform(0.02, 0.2, 120)
    n1, n0 = rng.integers(1, 3, 120), rng.integers(6, 12, 120)  # uneven arms
    found = [
        mantel_haenszel_difference(
            np.column_stack([rng.binomial(n1, base), n1, rng.binomial(n0, base + 0.05), n0])
        )
        for _ in range(2000)
    ]
    differences, errors = np.array(found).T
    assert differences.mean() == pytest.approx(-0.05, abs=0.003)
    assert errors.mean() == pytest.approx(differences.std(), rel=0.05)


START = pd.Timestamp("2022-01-01")


def trial(risk_both, risk_one, *, n=400, disobeyed=0, seed=1, **changes):
    """Run a trial in the invented workshop: plan, cards, used cards, jobs, units."""
    planned = plan(**changes)
    cards = job_cards(planned, MIX)
    rng = np.random.default_rng(seed)
    queue = {name: iter(part["card"]) for name, part in cards.groupby(["model", "age_band"])}
    strata = rng.choice(3, n, p=[0.5, 0.3, 0.2])
    drawn = [next(queue[tuple(MIX.loc[s, ["model", "age_band"]])]) for s in strata]
    level = cards.set_index("card").loc[drawn, "level"].to_numpy()
    done = level.copy()
    done[:disobeyed] = np.where(level[:disobeyed] == "both", "one", "both")
    back = rng.random(n) < np.where(level == "both", risk_both, risk_one)
    first = START + pd.to_timedelta(np.arange(n) % 60, unit="D")
    received = np.concatenate([first, first[back] + pd.Timedelta(days=90)])
    handed_back = np.concatenate([first, np.full(back.sum(), np.datetime64("NaT"))])
    jobs = pd.DataFrame({"received": received, "handed_back": handed_back})
    unit = np.append(np.arange(n), np.flatnonzero(back))
    jobs["model"] = MIX["model"].to_numpy()[strata][unit]
    jobs["unit_age_years"] = np.array([1.0, 5.0, 1.0])[strata][unit]
    jobs["practice_pair"] = done[unit]
    jobs["root_cause"] = "element"
    jobs["job_id"] = [f"J{number}" for number in range(len(jobs))]
    used = pd.DataFrame({"card": drawn, "job_id": jobs["job_id"].head(n)})
    history, links = History(to_schema(jobs)), Links(unit, pd.DataFrame())
    return planned, cards, used, history, links


def followed(history, links, data_date="2022-12-31"):
    return follow_up(history, links=links, data_date=data_date, follow="all")


def test_a_trial_from_plan_to_decision():
    planned, cards, used, history, links = trial(0.03, 0.30, disobeyed=12)
    followup = followed(history, links)
    result = analyse_trial(planned, cards, used, followup)
    level = used.merge(cards, on="card")["level"].to_numpy()
    came_back = np.isin(np.arange(400), links.unit_of_job[400:])
    table = result.table.set_index("level")
    for name in ("both", "one"):
        assert table.loc[name, "jobs"] == (level == name).sum()
        assert table.loc[name, "returns"] == came_back[level == name].sum()
    assert result.fraction == pytest.approx(200 / planned.jobs_per_arm)
    assert result.decision == "stop_better"
    assert result.z > result.bound > 3
    assert result.high < 0
    assert result.high - result.difference == pytest.approx(result.difference - result.low)
    # Counted by card, not by what was done.
    assert ("not_as_dealt", 12) in {(note.code, note.jobs) for note in result.notes}
    assert table["done_as_dealt"].min() < 1
    assert set(job_mix(followup)["model"]) == {"boiler", "grill"}


def test_an_early_look_goes_on_and_the_next_has_its_own_bound():
    planned, cards, used, history, links = trial(0.08, 0.08)
    early = analyse_trial(planned, cards, used, followed(history, links, "2022-07-20"))
    assert early.decision == "go_on"
    assert 0 < early.fraction < 0.25
    assert any(note.code == "not_counted" for note in early.notes)
    later = analyse_trial(planned, cards, used, followed(history, links), earlier=[early.fraction])
    assert later.bound < early.bound
    with pytest.raises(RequestError, match="Look again when more jobs"):
        analyse_trial(planned, cards, used, followed(history, links), earlier=[later.fraction])
    with pytest.raises(EvidenceError, match="followed to day 180 yet"):
        analyse_trial(planned, cards, used, followed(history, links, "2022-04-01"))


def test_only_the_first_job_of_a_unit_counts():
    planned, cards, used, history, links = trial(0.10, 0.20)
    whole = analyse_trial(planned, cards, used, followed(history, links))
    # Hand the comebacks back and let each draw a card of its own: nothing may change.
    jobs = history.jobs.copy()
    jobs.loc[400:, "handed_back"] = jobs.loc[400:, "received"]
    free = cards[~cards["card"].isin(used["card"])].groupby(["model", "age_band"]).head(60)
    more = pd.DataFrame({"card": free["card"].head(30), "job_id": jobs["job_id"][400:430].array})
    again = analyse_trial(planned, cards, pd.concat([used, more]), followed(History(jobs), links))
    assert again.difference == pytest.approx(whole.difference)
    assert again.table["jobs"].sum() == 400
    notes = {note.text.split(": ")[-1]: note.jobs for note in again.notes}
    assert notes["later job of a unit."] == 30


def test_only_comebacks_by_the_day_and_for_the_cause_count():
    # Every comeback of this workshop is on day 90, for the element.
    for changes, counted in (({"day": 90}, True), ({"day": 89}, False), ({"cause": "seal"}, False)):
        planned, cards, used, history, links = trial(0.2, 0.2, **changes)
        result = analyse_trial(planned, cards, used, followed(history, links))
        assert (result.table["returns"].sum() > 50) == counted
        assert result.table["returns"].sum() in (0, len(history.jobs) - 400)


def test_a_term_that_ends_before_the_day_says_nothing():
    planned, cards, used, history, links = trial(0.08, 0.08)
    history.jobs["term_days"] = 365.0
    history.jobs.loc[:24, "term_days"] = 60.0
    covered = follow_up(history, links=links, data_date="2022-12-31", follow="covered")
    result = analyse_trial(planned, cards, used, covered)
    short = (covered.episodes["end"] == "term") & (covered.episodes["days"] < 180)
    assert result.table["jobs"].sum() == 400 - short.sum()
    lost = {note.text.split(": ")[-1]: note.jobs for note in result.notes}
    assert lost["term ended before the day."] == short.sum() > 0


def test_cards_passed_over_are_reported():
    planned, cards, used, history, links = trial(0.08, 0.08)
    result = analyse_trial(planned, cards, used.drop(index=[0, 1, 2]), followed(history, links))
    assert ("cards_skipped", 3) in {(note.code, note.jobs) for note in result.notes}


def test_what_is_refused():
    with pytest.raises(RequestError, match="safety work"):
        plan(safety=True)
    with pytest.raises(RequestError, match=r"difference that matters is 0\.2"):
        plan(difference=0.2)
    with pytest.raises(RequestError, match="no number of jobs finds no difference"):
        jobs_needed_per_arm(0.05, 0.05)
    with pytest.raises(RequestError, match="compared with itself"):
        plan_trial("pair", "one", "one", risk_against=0.08, difference=0.04, seed=1)
    with pytest.raises(RequestError, match="twice"):
        job_cards(plan(), pd.concat([MIX, MIX]))
    with pytest.raises(RequestError, match="missing: jobs"):
        job_cards(plan(), MIX.drop(columns="jobs"))
    planned, cards, used, history, links = trial(0.08, 0.08)
    followup = followed(history, links)
    with pytest.raises(RequestError, match="no card '99-0001'"):
        analyse_trial(planned, cards, used.assign(card="99-0001"), followup)
    with pytest.raises(RequestError, match="job 'J0' is used twice"):
        analyse_trial(planned, cards, used.assign(job_id="J0"), followup)
    other = plan_trial("switch", "a", "b", risk_against=0.1, difference=0.05, seed=1)
    with pytest.raises(RequestError, match=r"No practice 'switch'.*pair"):
        analyse_trial(other, cards, used, followup)
