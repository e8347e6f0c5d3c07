"""Choices, serials and paperwork come out in the shares that the scenario states."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import linking_shop, practice_shop, simple_shop
from synthetic.scenario import Reading, Scenario
from synthetic.visits import choose


@pytest.fixture(scope="module")
def cafe():
    return generate(cafe_workshop(jobs=30_000, seed=8))


def near(share: float, count: int) -> object:
    """Within four binomial standard errors."""
    return pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / count))


def test_choices_have_their_shares():
    drawn = choose(np.random.default_rng(1), [2, 1, 1], 40_000)
    for code, share in enumerate((0.5, 0.25, 0.25)):
        assert (drawn == code).mean() == near(share, 40_000)


def test_technicians_models_and_terms_have_their_shares(cafe):
    history, truth = cafe
    jobs = history.jobs
    repaired = jobs["handed_back"].notna()
    for technician in truth.scenario.technicians:
        found = (jobs["technician"] == technician.name).mean()
        assert found == near(technician.share, len(jobs)), technician.name
    first = truth.facts["visit"] == 1
    for model in truth.scenario.models:
        found = (jobs.loc[first, "model"] == model.name).mean()
        assert found == near(model.share, first.sum()), model.name
    for term, share in truth.scenario.terms.items():
        assert (jobs.loc[repaired, "term_days"] == term).mean() == near(share, repaired.sum())


def test_the_choice_of_a_practice_is_the_stated_logistic_law():
    """A second implementation, statsmodels' logistic regression, recovers every log odds."""
    history, truth = generate(practice_shop(1.0, 0.05, 40_000, 6, unmeasured=0.7))
    jobs, practice = history.jobs[truth.handed_back], truth.scenario.practices[0]
    facts = pd.DataFrame(
        {
            "constant": 1.0,
            "age": jobs["unit_age_years"] - 5,
            "condition": jobs["condition"] - 3,
            "Ada": (jobs["technician"] == "Ada").astype(float),
            "Cleo": (jobs["technician"] == "Cleo").astype(float),
            "severity": truth.facts["severity"][truth.handed_back],
        }
    )
    fit = sm.Logit((jobs["practice_contact_pair"] == practice.done).astype(float), facts).fit(
        disp=False
    )
    stated = {
        "constant": practice.log_odds,
        "age": practice.age_log_odds,
        "condition": practice.condition_log_odds,
        "Ada": 0.8,
        "Cleo": -0.8,
        "severity": 0.7,
    }
    for name, value in stated.items():
        assert fit.params[name] == pytest.approx(value, abs=4 * fit.bse[name]), name


def test_serials_are_mistyped_restyled_and_missing_in_their_shares():
    shop = linking_shop(20_000, 2, mistyped_share=0.05)
    paper = replace(shop.paperwork, restyled_share=0.0)
    history, truth = generate(replace(shop, paperwork=paper))
    written = history.jobs["unit_serial"]
    assert written.isna().mean() == near(0.015, len(written))
    clean = replace(paper, mistyped_share=0.0)
    true = generate(replace(shop, paperwork=clean))[0].jobs["unit_serial"]
    both = (written.notna() & true.notna()).to_numpy()
    # One seed, and serials are written after everything true: the two shops are one up to the pen.
    assert true[both].nunique() == len(np.unique(truth.unit_of_job[both]))
    # Another character is the same one in 1 of 31 cases, two swapped digits are equal in about
    # 1 of 15: .6 / 31 + .25 / 15 = 3.6% of the slips don't show.
    assert (written != true)[both].mean() == near(0.05 * 0.964, both.sum())
    restyled = replace(clean, restyled_share=0.3)
    typed = generate(replace(shop, paperwork=restyled))[0].jobs["unit_serial"]
    both = (typed.notna() & true.notna()).to_numpy()
    assert (typed != true)[both].mean() == near(0.3, both.sum())
    plain = typed.str.upper().str.replace(r"[^0-9A-Z]", "", regex=True)
    assert (plain == true.str.replace("-", ""))[both].all()


def test_money_follows_from_the_decision(cafe):
    jobs = cafe[0].jobs
    comeback = jobs["decision"].notna()
    ours = jobs["decision"].isin(["covered", "goodwill"])
    assert (jobs.loc[ours & jobs["price"].notna(), "price"] == 0).all()
    assert (jobs.loc[jobs["decision"].isin(["charged", "declined"]), "claim_cost"] == 0).all()
    cost = jobs.loc[ours, "claim_cost"]
    # Post both ways at 9.50, bench time and parts on top.
    assert cost.min() > 19
    assert 40 < cost.mean() < 60
    assert jobs.loc[~comeback, "claim_cost"].isna().all()


def test_decisions_follow_from_term_and_relation(cafe):
    history, truth = cafe
    jobs, facts = history.jobs, truth.facts
    days = facts["notified"] - facts["before_handed_back"]
    inside = days <= facts["before_term_days"]
    covered = (jobs["decision"] == "covered").to_numpy()
    assert inside[covered].all()
    fault = facts["cause"] < len(truth.scenario.causes)
    decided = jobs["decision"].notna().to_numpy() & ~jobs["decision"].isin(["pending"]).to_numpy()
    assert covered[inside & fault & decided].all()
    groundless = (jobs["relation"] == "no_fault_found").to_numpy() & inside & decided
    goodwill = (jobs["decision"] == "goodwill").to_numpy()
    assert goodwill[groundless].mean() == near(0.6, groundless.sum())
    first = facts["visit"] == 1
    assert jobs.loc[first, ["relation", "decision"]].isna().all(axis=None)
    assert (jobs.loc[~first, "earlier_repair"] == "here").all()
    same = jobs["relation"] == "same_fault"
    assert (facts["cause"] == facts["before_cause"])[same].all()
    for relation, cause in (("no_fault_found", "none_found"), ("misuse", "misuse")):
        named = jobs.loc[jobs["relation"] == relation, "root_cause"].dropna()
        assert (named == cause).all()


def test_only_the_last_weeks_are_undecided(cafe):
    history, truth = cafe
    jobs = history.jobs
    undecided = jobs[jobs["decision"] == "pending"]
    on_the_bench = undecided["handed_back"].isna()
    latest = truth.data_date - pd.Timedelta(days=truth.scenario.paperwork.pending_days)
    assert (undecided.loc[~on_the_bench, "received"] > latest).all()
    assert undecided["claim_cost"].isna().all()


def test_an_open_job_has_no_result_yet(cafe):
    jobs = cafe[0].jobs
    bench = jobs[jobs["handed_back"].isna() & jobs["ended_on"].isna()]
    assert len(bench) > 20
    results = ["root_cause", "bench_minutes", "price", "term_days", "practice_switch"]
    assert bench[[*results, "lot_contact", "reading_earth_ohm"]].isna().all(axis=None)
    written_off = jobs[jobs["handed_back"].isna() & jobs["ended_on"].notna()]
    assert (written_off["price"] == 0).all()
    assert written_off["ended_how"].notna().all()


def test_a_reading_is_as_like_the_hidden_quality_as_stated_and_costs_comebacks():
    reading = Reading("earth_ohm", 0.1, 0.02, likeness=-0.6, hazard_log={"contact": -0.8},
                      decimals=6)  # fmt: skip
    shop = replace(simple_shop(0.05, 40_000, 3), readings=(reading,))
    history, truth = generate(shop)
    value = history.jobs["reading_earth_ohm"].to_numpy()[truth.handed_back]
    quality = truth.facts["quality_earth_ohm"][truth.handed_back]
    # A correlation's standard error is (1 - r²) / √n = .0032.
    assert np.corrcoef(value, quality)[0, 1] == pytest.approx(-0.6, abs=4 * 0.0032)
    assert value.mean() == pytest.approx(0.1, abs=4 * 0.02 / 200)
    assert value.std() == pytest.approx(0.02, rel=0.02)
    risk = truth.job_risk(180)[truth.handed_back]
    assert np.corrcoef(np.log(-np.log1p(-risk)), quality)[0, 1] == pytest.approx(-1, abs=1e-9)


def test_a_unit_keeps_its_frailty_and_so_repeats_bunch():
    """With gamma frailty of variance v, a unit that came back once has 1 + v times the hazard."""
    again = replace(simple_shop(0.02, 60_000, 5, days=1460, shape=1.0), unit_frailty_variance=1.0)
    again = replace(again, returning=replace(again.returning, write_off_share=0.0))
    _, truth = generate(again)
    multiplier = truth.base[:, 0]
    first, second = (multiplier[truth.facts["visit"] == visit] for visit in (1, 2))
    assert first.mean() == pytest.approx(1, abs=4 / np.sqrt(60_000))
    assert first.var() == pytest.approx(1, abs=0.1)
    # Heavy returners are used up a little within four years, hence the lower bound.
    assert 1.7 < second.mean() < 2.05


def test_work_grows_as_stated():
    # Density 1 + .6 t over 0..1: the last tenth holds .1 (1 + .6 * .95) / 1.3 = 12.08%.
    _, truth = generate(cafe_workshop(jobs=20_000, seed=4))
    days = truth.facts["received"][truth.facts["visit"] == 1]
    assert (days >= 0.9 * truth.scenario.days).mean() == near(0.1208, len(days))


def test_severity_is_nowhere_in_the_record():
    history, truth = generate(practice_shop(1.0, 0.05, 2000, 6, unmeasured=1.0))
    assert truth.confounded
    severity = truth.facts["severity"]
    for name in history.jobs.select_dtypes("number").columns:
        value = history.jobs[name].to_numpy()
        known = np.isfinite(value)
        if known.sum() > 1000 and value[known].std() > 0:
            assert abs(np.corrcoef(value[known], severity[known])[0, 1]) < 0.12, name
    assert not Scenario().confounded
    assert not practice_shop(1.0, 0.05, 2000, 6).confounded
