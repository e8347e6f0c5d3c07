"""Forecasts of past days against what came, and the arithmetic of scores."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from shop import followed
from sources import SCIPY

from insights.errors import EvidenceError, RequestError
from insights.history.asof import as_known
from insights.money.backtest import RESERVE, SCORES, TABLE, backtest
from insights.money.origin import stand_at
from insights.money.reserve import reserve
from insights.money.scoring import (
    binomial_chances,
    hits_chance,
    log_score,
    observed_over_expected,
    pit_bounds,
    pit_heights,
    poisson_chances,
)

FIRST = pd.Timestamp("2023-01-01")
LAST = pd.Timestamp("2025-12-31")


def steady_shop(seed: int = 0, worse_from: str | None = None, jobs: int = 1500) -> list[dict]:
    """Hand back ``jobs`` units over three years, term 90 days; 8 of 100 back, later 40 of 100."""
    rng = np.random.default_rng(seed)
    rows = []
    for unit, day in enumerate(np.sort(rng.integers(0, 1060, jobs))):
        start = FIRST + pd.Timedelta(days=int(day))
        whole = {
            "unit": unit,
            "received": start,
            "handed_back": start,
            "term_days": 90,
            "job_id": f"{unit}",
        }
        rows.append(whole)
        worse = worse_from is not None and start >= pd.Timestamp(worse_from)
        if rng.random() < (0.4 if worse else 0.08):
            back = start + pd.Timedelta(days=int(rng.integers(1, 91)))
            if back <= LAST:
                paid = {"claim_cost": 30.0, "handed_back": back, "term_days": 0}
                rows.append({"unit": unit, "received": back, "job_id": f"{unit}b", **paid})
    return rows


@pytest.fixture(scope="module")
def steady():
    followup = followed(*steady_shop(), data_date=f"{LAST:%Y-%m-%d}")
    return followup, backtest(followup, terms=[60, 90], ahead_days=60)


def test_so_few_hits():
    # 24 forecasts at 90%: 18 hits or fewer have a chance of 2.8%.
    assert hits_chance(18, 24, 0.9) == pytest.approx(0.028, abs=5e-4)
    assert hits_chance(21, 24, 0.9) > 0.05


def test_observed_over_expected_has_garwoods_bounds():
    # Garwood's 95% bounds of a count of 10: 4.795 and 18.390; of none: 0 and 3.689.
    ratio = observed_over_expected(10, 5.0)
    assert (ratio.value, 5 * ratio.low, 5 * ratio.high) == pytest.approx(
        (2.0, 4.795, 18.390), abs=5e-4
    )
    none = observed_over_expected(0, 1.0)
    assert (none.value, none.low, none.high) == pytest.approx((0, 0, 3.689), abs=5e-4)
    assert np.isnan(observed_over_expected(3, 0.0).value)


def test_scores_of_one_forecast():
    chances = np.array([0.5, 0.3, 0.2])
    assert log_score(chances, 1) == pytest.approx(-np.log(0.3))
    assert pit_bounds(chances, 0) == (0, 0.5)
    assert pit_bounds(chances, 1) == pytest.approx((0.5, 0.8))
    assert pit_bounds(chances, 2) == pytest.approx((0.8, 1.0))
    # A count past all that was thought possible.
    assert pit_bounds(chances, 7) == pytest.approx((1, 1))
    assert log_score(chances, 7) == pytest.approx(-np.log(1e-12))


def test_pit_by_hand():
    # Between .5 and .8 evenly: of four bins, .25 / .3 in the third and .05 / .3 in the last.
    low, high = np.array([0.5]), np.array([0.8])
    assert pit_heights(low, high, 4) == pytest.approx([0, 0, 0.25 / 0.3, 0.05 / 0.3])
    assert np.isnan(pit_heights(np.empty(0), np.empty(0), 4)).all()


def test_pit_is_flat_where_the_chances_are_right():
    # Weighed by its own chances, a forecast's transform is uniform (Czado et al. 2009).
    chances = stats.poisson.pmf(np.arange(60), 7.0)
    bounds = np.array([pit_bounds(chances, count) for count in range(60)])
    heights = np.array([pit_heights(low[None], high[None]) for low, high in bounds])
    assert chances @ heights == pytest.approx(np.full(10, 0.1), abs=1e-9)


@settings(max_examples=30, derandomize=True, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=9))
def test_pit_adds_up(pairs):
    bounds = np.sort(np.array(pairs), axis=1)
    heights = pit_heights(bounds[:, 0], bounds[:, 1])
    assert (heights >= -1e-12).all()
    assert heights.sum() == pytest.approx(1)


def test_a_width_without_an_inverse_is_none():
    # By hand: both bounds lie at the first edge, so all of it is in the first bin.
    heights = pit_heights(np.array([0.0]), np.array([2.2e-309]))
    assert heights.tolist() == [1.0] + [0.0] * 9


def test_chances_as_by_scipy(outside):
    shares = np.array([0.02, 0.05, 0.0])
    wanted = np.mean([stats.binom.pmf(np.arange(41), 40, share) for share in shares], axis=0)
    found = binomial_chances(40, shares)
    outside.agrees("chances of a count", found, wanted[: len(found)], source=SCIPY, rel=1e-6)
    poisson, theirs = poisson_chances(3.5), stats.poisson.pmf(2, 3.5)
    assert poisson.sum() == pytest.approx(1)
    outside.agrees("chances of a rare count", poisson[2], theirs, source=SCIPY, rel=1e-6)


def test_shapes_and_sums(steady):
    _, result = steady
    assert tuple(result.table.columns) == TABLE
    assert tuple(result.scores.columns) == SCORES
    assert result.scores["what"].tolist() == [RESERVE, "quote 60 days", "quote 90 days"]
    held = result.table[result.table["what"] == RESERVE]
    score = result.scores.set_index("what").loc[RESERVE]
    assert score["forecasts"] == len(held) == 12
    assert score["observed"] == held["observed"].sum()
    assert score["ratio"] == pytest.approx(held["observed"].sum() / held["expected"].sum())
    assert held["money_observed"].tolist() == (30.0 * held["observed"]).tolist()
    assert result.pit.groupby("what")["share"].sum().to_numpy() == pytest.approx(np.ones(3))
    by_origin = result.months.groupby("origin")[["claims_expected", "claims_observed"]].sum()
    assert by_origin["claims_expected"].to_numpy() == pytest.approx(held["expected"].to_numpy())
    assert by_origin["claims_observed"].tolist() == held["observed"].tolist()


def test_what_came_counted_again_from_the_jobs(steady):
    followup, result = steady
    jobs = followup.history.jobs.set_index("job_id")
    whole = jobs[~jobs.index.str.endswith("b")]
    back = jobs[jobs.index.str.endswith("b")]
    arrived = back.set_index(back.index.str.removesuffix("b"))["received"].reindex(whole.index)
    for row in result.table.to_dict("records"):
        origin, ahead = row["origin"], row["origin"] + pd.Timedelta(days=60)
        if row["what"] == RESERVE:
            age = (origin - whole["handed_back"]).dt.days
            out = (age >= 0) & (age < 104) & ~(arrived <= origin)
            assert row["jobs"] == out.sum()
            assert row["observed"] == (out & (arrived <= ahead)).sum()
        else:
            term = int(row["what"].split()[1])
            batch = (whole["handed_back"] > origin) & (whole["handed_back"] <= ahead)
            assert row["jobs"] == batch.sum()
            days = (arrived - whole["handed_back"]).dt.days
            assert row["observed"] == (batch & (days <= term)).sum()


def test_last_years_rate_is_scored_beside(steady):
    followup, result = steady
    jobs = followup.history.jobs.set_index("job_id")
    whole = jobs[~jobs.index.str.endswith("b")]
    back = jobs[jobs.index.str.endswith("b")]["received"]
    arrived = back.set_axis(back.index.str.removesuffix("b")).reindex(whole.index)
    for row in result.table.to_dict("records"):
        origin = row["origin"]
        since = origin - pd.Timedelta(days=365)
        count = ((arrived > since) & (arrived <= origin)).sum()
        usual = stats.poisson((count + 0.5) * 60 / 365)
        if row["what"] != RESERVE:
            term = int(row["what"].split()[1])
            earlier = (whole["handed_back"] > since) & (whole["handed_back"] <= origin)
            days = (arrived - whole["handed_back"]).dt.days
            seen = (earlier & (days <= term) & (arrived <= origin)).sum()
            usual = stats.binom(row["jobs"], (seen + 0.5) / (earlier.sum() + 1))
        assert row["last_year_log_score"] == pytest.approx(-usual.logpmf(row["observed"]))


def test_a_fault_reported_after_the_term_is_no_claim_of_it():
    rows = steady_shop(3)
    for number, day, decision in ((0, 88, None), (1, 95, None), (2, 95, "covered")):
        start = pd.Timestamp("2025-08-01")
        unit = 9000 + number
        rows.append(
            {
                "unit": unit,
                "received": start,
                "handed_back": start,
                "term_days": 90,
                "job_id": f"x{number}",
            }
        )
        rows.append(
            {
                "unit": unit,
                "received": start + pd.Timedelta(days=97),
                "notified": start + pd.Timedelta(days=day),
                "decision": decision,
                "job_id": f"x{number}b",
            }
        )
    plain = [row for row in rows if not row["job_id"].startswith("x")]

    def arrived(jobs: list[dict]) -> int:
        table = backtest(followed(*jobs, data_date="2025-12-31"), terms=[90], ahead_days=60).table
        return table[(table["what"] == RESERVE)]["observed"].iloc[-1]

    # Back on 6 November, after the last origin, 1 November: reported in time, or covered.
    assert arrived(rows) == arrived(plain) + 2


def test_a_steady_shop_is_forecast_well(steady):
    _, result = steady
    for score in result.scores.to_dict("records"):
        assert not score["too_confident"], score["what"]
        assert score["ratio_low"] < 1 < score["ratio_high"]


def test_a_forecast_uses_only_what_was_known(steady):
    followup, result = steady
    row = result.table[result.table["what"] == RESERVE].iloc[3]
    then = stand_at(followup, row["origin"])[0]
    assert then.history.jobs["received"].max() <= row["origin"]
    # The same forecast from a record that was never longer.
    known = as_known(followup.history, row["origin"])
    jobs = known.jobs.assign(unit=known.jobs["job_id"].str.removesuffix("b").astype(int))
    alone = followed(
        *jobs[["job_id", "unit", "received", "handed_back", "term_days", "claim_cost"]].to_dict(
            "records"
        ),
        data_date=f"{row['origin']:%Y-%m-%d}",
    )
    held = reserve(alone, ahead_days=60, size=500)
    assert (held.claims.mean, held.claims.low, held.claims.high, held.p90) == pytest.approx(
        (row["expected"], row["low"], row["high"], row["money_p90"])
    )


def test_a_shop_that_turns_bad_scores_badly():
    followup = followed(*steady_shop(1, "2025-01-01"), data_date=f"{LAST:%Y-%m-%d}")
    result = backtest(followup, terms=[90], ahead_days=60)
    score = result.scores.set_index("what").loc["quote 90 days"]
    assert score["ratio_low"] > 1.2
    assert score["too_confident"]
    held = result.scores.set_index("what").loc[RESERVE]
    assert held["money_enough"] < 0.9


def test_refused_forecasts_are_listed():
    rows = steady_shop(2)
    for row in rows:
        if row["term_days"] and row["received"] >= pd.Timestamp("2025-03-01"):
            row["term_days"] = 365
    result = backtest(followed(*rows, data_date="2026-12-31"), terms=[365], ahead_days=60)
    quoted = result.refused[result.refused["what"] == "quote 365 days"]
    assert len(quoted)
    assert quoted["why_not"].str.contains("Too far past what was seen").all()
    assert "refused_forecasts" in [note.code for note in result.notes]


def test_refusals():
    followup = followed(*steady_shop(jobs=60), data_date=f"{LAST:%Y-%m-%d}")
    with pytest.raises(RequestError, match="term is 0"):
        backtest(followup, terms=[0])
    with pytest.raises(RequestError, match="ahead_days is 0"):
        backtest(followup, ahead_days=0)
    with pytest.raises(RequestError, match="level is 2"):
        backtest(followup, level=2)
    with pytest.raises(EvidenceError, match="too short to look back"):
        backtest(followup, ahead_days=900)
