"""What the mix of work lets one expect: by hand, against statsmodels, and where little is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import optimize
from shop import fleet, followed
from sources import STATSMODELS

from insights.errors import EvidenceError
from insights.followup import follow_up
from insights.history.units import Links
from insights.reviewing import expected as subject
from insights.reviewing.expected import case_mix, case_mixes, returned
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

RULES = {"follow": "all", "count": "all"}


@pytest.fixture(scope="module")
def cafe():
    history, truth = generate(cafe_workshop(jobs=1500))
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links)


def test_jobs_all_alike_come_back_at_one_rate_by_hand():
    # Ten units for 100 days, two of them back after 20 and 60: 2 comebacks in 880 days.
    followup = followed(*fleet(10, (20, 60)), data_date="2026-04-11", **RULES)
    mix = case_mix(followup, ("model",))
    assert mix.cumulative(np.array([0, 44, 88])) == pytest.approx([0, 0.1, 0.2])
    assert mix.expected(followup, 20).sum() == pytest.approx(200 * 2 / 880)
    assert (mix.jobs, mix.returns) == (10, 2)


def test_over_the_jobs_fitted_as_many_are_expected_as_came(cafe):
    mix = case_mix(cafe)
    assert mix.expected(cafe).sum() == pytest.approx(cafe.return_count)
    assert mix.expected(cafe, 60).sum() == pytest.approx(returned(cafe, 60).sum(), rel=0.15)


def test_statsmodels_expects_the_same_where_the_prior_is_weak(cafe, monkeypatch, outside):
    monkeypatch.setattr(subject, "PRIOR_SD", 30.0)
    monkeypatch.setattr(subject, "FEWEST_JOBS", 1)
    monkeypatch.setattr(subject, "MOST_BANDS", 4)
    facts = ("model", "earlier_repair")
    mix = case_mix(cafe, facts)
    days, back = cafe.episodes["days"].to_numpy(), returned(cafe)
    frame = pd.DataFrame({name: cafe.values(name) for name in facts})
    X = pd.get_dummies(frame, drop_first=True).to_numpy(float)
    pieces, at_risk, came = [], [], []
    for place in range(len(mix.rates)):
        low, high = mix.edges[place], mix.edges[place + 1]
        lived = np.clip(days - low, 0, high - low)
        inside = lived > 0
        piece = np.zeros((inside.sum(), len(mix.rates)))
        piece[:, place] = 1
        pieces.append(np.column_stack([piece, X[inside]]))
        at_risk.append(lived[inside])
        came.append((back & (days > low) & (days <= high))[inside])
    exposure = np.concatenate(at_risk)
    fit = sm.GLM(
        np.concatenate(came).astype(float),
        np.vstack(pieces),
        family=sm.families.Poisson(),
        exposure=exposure,
    ).fit()
    row = np.concatenate([np.flatnonzero(days > low) for low in mix.edges[:-1]])
    theirs = np.bincount(row, weights=fit.predict(), minlength=len(days))
    source = f"{STATSMODELS}; GLM, Poisson, on rows"
    outside.agrees("expected comebacks", mix.expected(cafe), theirs, source=source, rel=2e-3)


def test_the_prior_pulls_a_rare_level_towards_the_others():
    jobs = fleet(400, tuple(range(10, 30)), model="boiler")
    odd = fleet(12, (15, 25, 35), model="steamer")
    mix = case_mix(followed(*jobs, *odd, data_date="2026-04-11", **RULES), ("model",))
    ratio = mix.levels.set_index("level")["hazard_ratio"]
    # Raw, the steamers come back some five times as often.
    assert 1.5 < ratio["steamer"] / ratio["boiler"] < 4


def test_scipy_finds_the_same_most_likely_ratios(monkeypatch):
    monkeypatch.setattr(subject, "MOST_BANDS", 1)
    jobs = fleet(400, tuple(range(10, 30)), model="boiler")
    odd = fleet(12, (15, 25, 35), model="steamer")
    followup = followed(*jobs, *odd, data_date="2026-04-11", **RULES)
    mix = case_mix(followup, ("model",))
    # Days at risk by hand: 100 for each unit that stayed out.
    days = np.array([380 * 100 + sum(range(10, 30)), 9 * 100 + 75])
    came = np.array([20, 3])

    def misfit(theta: np.ndarray) -> float:
        logs = theta[0] + theta[1:]
        return -(came @ logs - days @ np.exp(logs)) + (theta[1:] ** 2).sum() / (2 * 0.5**2)

    best = optimize.minimize(misfit, np.array([-7.0, 0.0, 0.0]), tol=1e-10).x
    assert mix.rates == pytest.approx(np.exp(best[:1]), rel=1e-3)
    assert mix.levels["hazard_ratio"].to_numpy() == pytest.approx(np.exp(best[1:]), rel=1e-3)


def test_a_level_never_seen_is_taken_as_average(cafe):
    ada = (cafe.values("model") != "grinder").to_numpy()
    mix = case_mix(cafe, ("model",), fit_on=ada)
    assert "grinder" not in set(mix.levels["level"])
    assert mix.relative(cafe)[~ada] == pytest.approx(1.0)


def test_a_group_left_out_does_not_set_its_own_expectation():
    good = fleet(200, (20, 40, 60, 80), model="boiler")
    bad = fleet(100, tuple(range(5, 45)), model="steamer")
    followup = followed(*good, *bad, data_date="2026-06-30", **RULES)
    mine = (followup.values("model") == "steamer").to_numpy()
    without = case_mix(followup, (), fit_on=~mine).expected(followup)[mine].sum()
    with_them = case_mix(followup, ()).expected(followup)[mine].sum()
    assert returned(followup)[mine].sum() == 40
    assert without < 2 < with_them


def test_without_any_comeback_half_of_one_is_expected_and_said():
    followup = followed(*fleet(20), data_date="2026-04-11", **RULES)
    mix = case_mix(followup)
    assert mix.expected(followup).sum() == pytest.approx(0.5)
    (note,) = mix.notes
    assert note.code == "no_baseline"
    assert "None of the 20 jobs" in note.text


def test_nothing_to_learn_from_is_refused():
    followup = followed(*fleet(3), **RULES)
    with pytest.raises(EvidenceError, match="No hand-back is left to learn from"):
        case_mix(followup, fit_on=np.zeros(3, dtype=bool))


def test_draws_scatter_as_the_fit_is_unsure(cafe):
    mix = case_mix(cafe, ("model",))
    drawn = mix.draws(600, np.random.default_rng(1))
    logs = np.log([[*one.rates, *one.levels["hazard_ratio"]] for one in drawn])
    centre = np.log([*mix.rates, *mix.levels["hazard_ratio"]])
    spread = np.sqrt(np.diag(mix.covariance))
    assert np.abs((logs.mean(axis=0) - centre) / spread).max() < 5 / np.sqrt(600)
    assert logs.std(axis=0) == pytest.approx(spread, rel=0.2)


def test_hazard_goes_on_past_the_last_day_seen_and_never_falls(cafe):
    mix = case_mix(cafe)
    days = np.arange(0.0, 2 * mix.edges[-1])
    rising = np.diff(mix.cumulative(days))
    assert (rising > 0).all()
    assert rising[-1] == pytest.approx(mix.rates[-1])


def test_several_choices_counted_once_are_the_same_as_each_alone(cafe):
    choices = (("model", "condition"), ("condition",), ())
    together = case_mixes(cafe, choices)
    for facts in choices:
        alone = case_mix(cafe, facts)
        assert together[facts].expected(cafe) == pytest.approx(alone.expected(cafe), rel=1e-6)
