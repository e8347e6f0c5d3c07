"""Evidence of wear, on made-up workshops whose parts are known to age or not."""

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullFitter
from sources import LIFELINES

from insights.errors import RequestError
from insights.evidence.ageing import aged_against_new, risk_ahead, wear_out
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links


def returned(lives, ages_years=None, cause="seal", n_days=700):
    """Give one repaired unit per life in days; those within ``n_days`` come back."""
    start = np.datetime64("2022-01-01", "ns")
    days = np.maximum(np.ceil(lives), 1)
    back = np.flatnonzero(days <= n_days)
    unit = np.append(np.arange(len(lives)), back)
    received = np.full(len(unit), start)
    received[len(lives) :] += days[back].astype("timedelta64[D]")
    handed_back = np.full(len(unit), start)
    handed_back[len(lives) :] = np.datetime64("NaT")
    jobs = pd.DataFrame({"received": received, "handed_back": handed_back, "unit": unit})
    jobs["unit_age_years"] = np.broadcast_to(
        np.nan if ages_years is None else ages_years, len(lives)
    )[unit]
    jobs["root_cause"] = np.broadcast_to(cause, len(lives))[unit]
    jobs = jobs.assign(job_id=np.arange(len(jobs)).astype(str), model="grill")
    history = History(to_schema(jobs.drop(columns="unit")))
    links = Links(jobs["unit"].to_numpy(), pd.DataFrame())
    until = pd.Timestamp(start) + pd.Timedelta(days=n_days)
    return follow_up(history, links=links, data_date=until, follow="all")


def test_chance_ahead_of_an_aged_and_a_new_part():
    # Life 8 years, aged 5, one year ahead, by hand: (F(6) - F(5)) / (1 - F(5)) and F(1).
    for shape, aged, new in ((3, 0.163, 0.002), (1, 0.118, 0.118), (0.8, 0.102, 0.173)):
        table = aged_against_new(shape, 8, [5], 1)
        assert table["aged_share"].iloc[0] == pytest.approx(aged, abs=5e-4)
        assert table["new_share"].iloc[0] == pytest.approx(new, abs=5e-4)
        assert np.sign(round(table["avoided_share"].iloc[0], 9)) == np.sign(shape - 1)


def test_chances_ahead_chain():
    # Surviving two years is surviving one and then, a year older, another.
    one, then = risk_ahead(1.7, 8, 5, 1), risk_ahead(1.7, 8, 6, 1)
    assert risk_ahead(1.7, 8, 5, 2) == pytest.approx(1 - (1 - one) * (1 - then))


@pytest.mark.parametrize(
    ("shape", "verdict"), [(2.5, "wears_out"), (1.0, "no_sign"), (0.6, "falls")]
)
def test_verdict_since_the_repair(shape, verdict, outside):
    lives = np.random.default_rng(2).weibull(shape, 400) * 900
    evidence = wear_out(returned(lives))
    assert evidence.verdict == verdict
    assert evidence.low < shape < evidence.high
    days = np.minimum(np.ceil(lives), 700)
    theirs = WeibullFitter().fit(days, np.ceil(lives) <= 700)
    found, expected = [evidence.shape, evidence.scale_days], [theirs.rho_, theirs.lambda_]
    outside.agrees("wear since the repair", found, expected, source=LIFELINES, rel=1e-3)
    assert evidence.table["returns"].sum() == evidence.returns == (np.ceil(lives) <= 700).sum()
    assert evidence.table["days_at_risk"].sum() == days.sum()
    assert ("mixed_units" in {note.code for note in evidence.notes}) == (verdict == "falls")


def test_wear_by_the_age_of_the_unit():
    # Each unit has lived some years, and its part, never renewed, comes back at its own age.
    rng = np.random.default_rng(4)
    lives, ages = rng.weibull(3, 6000) * 8, rng.uniform(0, 10, 6000)
    alive = lives > ages
    ahead_days = (lives - ages)[alive] * 365.25
    followup = returned(ahead_days, ages[alive], n_days=500)
    by_unit = wear_out(followup, clock="unit")
    assert by_unit.verdict == "wears_out"
    assert by_unit.low < 3 < by_unit.high
    assert by_unit.scale_days / 365.25 == pytest.approx(8, rel=0.05)
    rates = by_unit.table["per_1000_days"].to_numpy()
    assert (np.diff(rates[:4]) > 0).all()
    # Counted from the repair the same parts hardly seem to age: the wrong clock hides wear.
    assert wear_out(followup).shape < 1.3
    assert "part_age_assumed" in {note.code for note in by_unit.notes}


def test_one_cause_of_several():
    rng = np.random.default_rng(3)
    followup = returned(rng.weibull(2, 300) * 500, cause=rng.choice(["seal", "cord"], 300))
    evidence = wear_out(followup, causes=["seal"])
    assert evidence.returns == (followup.episodes["cause"] == "seal").sum()
    assert evidence.returns < followup.return_count
    assert evidence.jobs == followup.job_count


def test_too_few_is_said_not_guessed():
    evidence = wear_out(returned(np.array([20, 50, 90] + [9999] * 40)))
    assert evidence.verdict == "too_few"
    assert np.isnan(evidence.shape)
    assert evidence.table["returns"].tolist() == [1, 2, 0, 0, 0]
    assert list(evidence.table["to_days"]) == [30, 90, 180, 365, 700]


def test_ages_not_recorded():
    ages = np.append(np.full(30, 4.0), np.full(10, np.nan))
    evidence = wear_out(returned(np.full(40, 9999), ages), clock="unit")
    assert evidence.jobs == 30
    assert ("no_age", 10) in {(note.code, note.jobs) for note in evidence.notes}
    with pytest.raises(RequestError, match="Use the clock 'repair'"):
        wear_out(returned(np.full(5, 9999)), clock="unit")


def test_what_is_refused():
    followup = returned(np.array([10.0, 20.0]))
    with pytest.raises(RequestError, match="clock is 'moon'"):
        wear_out(followup, clock="moon")
    with pytest.raises(RequestError, match=r"root cause 'rust'.*seal"):
        wear_out(followup, causes=["rust"])
    with pytest.raises(RequestError, match="do not rise"):
        wear_out(followup, edges_days=[0, 90, 30])
    with pytest.raises(RequestError, match="Shape and scale"):
        risk_ahead(-1, 8, 5, 1)
