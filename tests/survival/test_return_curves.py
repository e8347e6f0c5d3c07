"""Shares back from a history: what is stated, where it stops, and what always holds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from shop import fleet, followed
from small_tables import life_table_of

from insights.errors import RequestError
from insights.survival.causes import cause_curves, causes_from_counts
from insights.survival.curves import curves_from_counts, return_curves
from insights.survival.stating import request

WANTED = request((5, 10, 20), 1, 0.95)


def test_share_bounds_and_counts_of_a_small_shop():
    # 40 boilers handed back on 1 January; back on days 20, 20, 30 (and on the bench since).
    result = return_curves(followed(*fleet(40, (20, 20, 30))), at=(19, 20, 180))
    assert result.at["share"].tolist() == pytest.approx([0, 2 / 40, 3 / 40])
    assert result.at["at_risk"].tolist() == [40, 40, 37]
    assert result.at["high"].iloc[0] == pytest.approx(1 - 0.025 ** (1 / 40))
    # Three of 40, standard error sqrt(.075 * .925 / 40): log-log, -log(.925) = .0779615.
    width = 1.959964 * np.sqrt(0.075 / (0.925 * 40)) / 0.0779615
    low, high = (1 - 0.925 ** np.exp(sign * width) for sign in (-1, 1))
    assert result.at[["low", "high"]].iloc[2].tolist() == pytest.approx([low, high], rel=1e-5)
    group = result.groups.iloc[0]
    assert group[["group", "jobs", "units", "returns"]].tolist() == ["all jobs", 40, 40, 3]
    assert group["followed_days"] == 364  # 1 January to 31 December 2026
    assert result.test is None
    assert result.weighted_test is None


def test_steps_start_at_zero_and_carry_the_days_returns():
    result = return_curves(followed(*fleet(40, (20, 20, 30))))
    assert result.table["day"].tolist() == [0, 20, 30, 364]
    assert result.table["at_risk"].tolist() == [40, 40, 38, 37]
    assert result.table["returns"].tolist() == [0, 2, 1, 0]
    assert result.table["share"].tolist() == pytest.approx([0, 0.05, 0.075, 0.075])
    assert result.table[["low", "high"]].iloc[0].tolist() == [0, 0]


def test_nothing_is_stated_where_fewer_than_ten_are_at_risk():
    # Nine boilers are followed for the whole year, three for 60 days: day 60 is the last with
    # ten or more at risk.
    jobs = [*fleet(9, (200,)), *[dict(job, term_days=46) for job in fleet(3, model="mill")]]
    result = return_curves(followed(*jobs), at=(60, 61, 365))
    assert result.table["day"].max() == 60
    assert result.at["share"].isna().tolist() == [False, True, True]
    assert result.at["at_risk"].tolist() == [12, 9, 0]
    assert result.groups["followed_days"].tolist() == [60]
    assert result.groups["returns"].tolist() == [1]
    (note,) = [note for note in result.notes if note.code == "past_follow_up"]
    assert "day 61, 365" in note.text
    assert "day 60 is the last" in note.text


def test_jobs_handed_back_on_the_data_date_are_counted_but_support_nothing():
    jobs = [dict(job, handed_back="2026-12-31") for job in fleet(12)]
    result = return_curves(followed(*jobs, data_date="2026-12-31"))
    assert result.groups["jobs"].tolist() == [12]
    assert result.groups["followed_days"].isna().all()
    assert result.table.empty
    assert result.at["day"].tolist() == [90, 180, 365]
    assert result.at["at_risk"].tolist() == [0, 0, 0]
    assert result.at["share"].isna().all()


def test_a_lower_level_gives_the_narrower_bounds_of_that_level():
    result = return_curves(followed(*fleet(40)), at=(180,), level=0.8)
    assert result.at["high"].tolist() == pytest.approx([1 - 0.1 ** (1 / 40)])
    assert result.level == 0.8


def test_a_group_too_small_has_no_curve_but_is_counted():
    jobs = [*fleet(9, (5,), model="mill"), *fleet(12, (7,), model="grill")]
    result = return_curves(followed(*jobs), "model", at=(90,))
    assert set(result.table["group"]) == {"grill"}
    assert result.groups["jobs"].tolist() == [12, 9]
    assert result.groups["followed_days"].isna().tolist() == [False, True]
    assert result.groups["restricted_mean_days"].isna().tolist() == [False, True]
    assert result.at.loc[result.at["group"] == "mill", "low"].isna().all()
    assert any("no day is supported" in note.text for note in result.notes)


def test_restricted_mean_reaches_the_shortest_followed_day():
    # Grills are followed 60 days (46 of term, 14 of grace), mills all year: both means are to
    # day 60. Of 20 grills 1 came back on day 10: 60 - 50/20; no mill did, and none of 20 among
    # those at risk is below 1 - .025 ** (1/20) = 16.84% back.
    grills = [dict(job, term_days=46) for job in fleet(20, (10,), model="grill")]
    result = return_curves(followed(*grills, *fleet(20, model="mill")), "model")
    assert result.groups["restricted_to_days"].tolist() == [60, 60]
    assert result.groups["restricted_mean_days"].tolist() == pytest.approx([57.5, 60])
    assert result.groups["restricted_mean_low"].iloc[1] == pytest.approx(60 * 0.025 ** (1 / 20))
    assert result.groups["restricted_mean_high"].tolist()[1] == 60
    low, high = result.groups.loc[0, ["restricted_mean_low", "restricted_mean_high"]]
    # One loss of 2.5 days, squared error 2.5 ** 2 * 19/20: Garwood's bounds of 20/19 events.
    scale = 2.5 * 19 / 20
    assert 60 - high == pytest.approx(scale * stats.gamma.ppf(0.025, 20 / 19), rel=1e-9)
    assert 60 - low == pytest.approx(scale * stats.gamma.ppf(0.975, 20 / 19 + 1), rel=1e-9)


def test_several_columns_make_one_group_per_combination():
    jobs = [
        *fleet(11, (5,), model="grill", technician="Ada"),
        *fleet(11, (6, 7), model="mill", technician="Ben"),
    ]
    result = return_curves(followed(*jobs), ["model", "technician"])
    assert result.by == ("model", "technician")
    assert result.groups["group"].tolist() == ["grill / Ada", "mill / Ben"]
    assert result.test is not None
    assert result.test.df == 1


def test_groups_are_tested_on_all_their_days():
    # 4 of 20 grills back by day 9, no mill: log-rank by hand, one return a day.
    jobs = [*fleet(20, (6, 7, 8, 9), model="grill"), *fleet(20, model="mill")]
    result = return_curves(followed(*jobs), "model")
    grills, all_ = np.array([20, 19, 18, 17]), np.array([40, 39, 38, 37])
    part = grills / all_
    expected = (4 - part.sum()) ** 2 / (part * (1 - part)).sum()
    assert result.test is not None
    assert result.test.statistic == pytest.approx(expected, rel=1e-12)
    free = np.array([1, 39 / 40, 38 / 40, 37 / 40])
    weighted = (free * (1 - part)).sum() ** 2 / (free**2 * part * (1 - part)).sum()
    assert result.weighted_test is not None
    assert result.weighted_test.name == "Peto-Peto"
    assert result.weighted_test.statistic == pytest.approx(weighted, rel=1e-12)


def test_what_is_remarked_and_the_rules_in_force_are_carried():
    jobs = [*fleet(9, (5,), model="mill"), *fleet(12, (7,), model="grill", term_days=46)]
    jobs[-1]["term_days"] = None
    result = return_curves(followed(*jobs), "model", at=(60, 90), min_at_risk=10)
    assert [(note.code, note.text) for note in result.notes] == [
        (
            "no_term",
            "10 jobs have no warranty term recorded, so they are followed to the data date.",
        ),
        (
            "past_follow_up",
            "grill: nothing is stated for day 90, where fewer than 10 jobs are still followed; "
            "day 60 is the last that is supported.",
        ),
        (
            "past_follow_up",
            "mill: nothing is stated for day 60, 90, where fewer than 10 jobs are still followed; "
            "no day is supported.",
        ),
    ]
    assert (result.min_at_risk, result.level, result.by) == (10, 0.95, ("model",))
    assert result.method.startswith("Aalen-Johansen share of counted comebacks with leaving")


def test_only_comebacks_count_in_the_test_and_not_ends_of_service_or_terms():
    # Mills: three scrapped on day 5, two of 46 days' term; so 20 grills stand against 17 mills.
    grills = fleet(20, (6, 7), model="grill")
    mills = fleet(20, model="mill")
    for row in range(3):
        mills[row] |= {"ended_on": pd.Timestamp("2026-01-06"), "ended_how": "scrapped"}
    for row in (3, 4):
        mills[row] |= {"term_days": 46}
    result = return_curves(followed(*grills, *mills), "model")
    part = np.array([20 / 37, 19 / 36])
    expected = (2 - part.sum()) ** 2 / (part * (1 - part)).sum()
    assert result.test is not None
    assert result.test.name == "log-rank"
    assert result.test.statistic == pytest.approx(expected, rel=1e-12)


def test_bounds_of_the_restricted_mean_have_the_level_asked_for():
    jobs = [*fleet(20, (10,), model="grill"), *fleet(20, model="mill")]
    result = return_curves(followed(*jobs), "model", level=0.8)
    low, high = (result.groups[f"restricted_mean_{end}"].tolist() for end in ("low", "high"))
    # One of 20 back on day 10 of 364: 354 / 20 days lost, 20/19 events of 354 / 20 * 19/20.
    scale = 354 / 20 * 19 / 20
    assert 364 - high[0] == pytest.approx(scale * stats.gamma.ppf(0.1, 20 / 19), rel=1e-9)
    assert 364 - low[0] == pytest.approx(scale * stats.gamma.ppf(0.9, 20 / 19 + 1), rel=1e-9)
    assert low[1] == pytest.approx(364 * 0.1 ** (1 / 20))


def test_a_mean_without_comebacks_is_never_below_zero_days():
    # Of two units one was back on day 1; Garwood's upper bound of two events is beyond the year.
    result = return_curves(followed(*fleet(2, (1,))), min_at_risk=1)
    assert result.groups["restricted_mean_days"].tolist() == pytest.approx([364 - 363 / 2])
    assert result.groups["restricted_mean_low"].tolist() == [0]


def test_unknown_cause_is_kept_and_the_causes_add_up():
    jobs = fleet(20, (5, 9, 9))
    jobs[1]["root_cause"] = None
    result = cause_curves(followed(*jobs), at=(9, 30))
    assert result.causes == ("contacts", "unknown")
    assert result.at["share"].tolist() == pytest.approx([0.1, 0.1, 0.05, 0.05])
    assert result.counts["returns"].tolist() == [2, 1]
    total = result.at.groupby("day")["share"].sum().to_numpy()
    assert total == pytest.approx(result.total.at["share"].to_numpy(), abs=1e-15)
    assert result.tests.empty
    assert result.tests.columns.tolist() == ["cause", "name", "statistic", "df", "p"]


def test_each_cause_is_tested_between_groups():
    jobs = [*fleet(20, (6, 7, 8, 9), model="grill"), *fleet(20, (6,), model="mill")]
    jobs[1]["root_cause"] = "cord"
    found = cause_curves(followed(*jobs), "model").tests.set_index("cause")
    # cord: one return on day 6 among 20 + 20: (1 - 1/2) ** 2 / (1/4) = 1.
    assert found.loc["cord", ["statistic", "df"]].tolist() == pytest.approx([1, 1])
    assert found.loc["cord", "p"] == pytest.approx(0.3173, abs=5e-5)
    assert found.loc["contacts", "statistic"] > 0


def test_a_shop_without_a_return_has_bounds_but_no_test_and_no_cause():
    jobs = [*fleet(40, model="grill"), *fleet(40, model="mill")]
    result = cause_curves(followed(*jobs), "model", at=(180,))
    assert result.total.test is None
    assert result.causes == ()
    assert result.table.empty
    assert result.at.empty
    assert result.total.at["high"].tolist() == pytest.approx([0.0881, 0.0881], abs=5e-5)


def test_left_service_and_causes_and_not_back_make_one():
    jobs = fleet(30, (5, 9, 9))
    for row, day in ((-1, 7), (-2, 9), (-3, 20)):
        jobs[row] |= {
            "ended_on": pd.Timestamp("2026-01-01") + pd.Timedelta(days=day),
            "ended_how": "scrapped",
        }
    result = cause_curves(followed(*jobs))
    at_end = [frame["share"].iloc[-1] for frame in (result.total.table, result.left_service)]
    assert at_end == pytest.approx([3 / 30, 3 / 30])
    assert result.left_service["day"].tolist() == result.total.table["day"].tolist()


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"at": (0,)}, "above zero"),
        ({"at": (float("nan"),)}, "above zero"),
        ({"at": (-5, 30)}, "above zero"),
        ({"min_at_risk": 0}, "1 or more"),
        ({"level": 95}, "between 0 and 1"),
        ({"by": "notes"}, "Columns that can be"),
    ],
)
def test_what_cant_be_asked_is_refused(asked, text):
    for verb in (return_curves, cause_curves):
        with pytest.raises(RequestError, match=text):
            verb(followed(*fleet(12)), **asked)


ROWS = st.lists(
    st.tuples(st.integers(1, 12), st.integers(0, 3), st.integers(0, 1), st.integers(0, 6)),
    min_size=1,
    max_size=40,
)


def small_table(rows):
    days, outcome, group, unit = map(np.array, zip(*rows, strict=True))
    return life_table_of(
        days, outcome, group=group, unit=unit, causes=("a", "b"), endings=("scrapped",)
    )


@settings(max_examples=60, derandomize=True, deadline=None)
@given(ROWS)
def test_what_always_holds(rows):
    result = causes_from_counts(small_table(rows), WANTED)
    total, gone = result.total.table, result.left_service
    for frame in (result.table, total, gone):
        assert (frame["low"] <= frame["share"] + 1e-12).all()
        assert (frame["share"] <= frame["high"] + 1e-12).all()
        assert frame[["low", "high"]].to_numpy().min(initial=0) >= 0
        assert frame[["low", "high"]].to_numpy().max(initial=1) <= 1
    for _, curve in result.table.groupby(["group", "cause"]):
        assert (curve["share"].diff().dropna() >= 0).all()
    summed = result.table.groupby(["group", "day"])["share"].sum().to_numpy()
    assert summed == pytest.approx(total["share"].to_numpy(), abs=1e-12)
    assert (total["share"] + gone["share"] <= 1 + 1e-12).all()
    assert result.table["returns"].sum() == result.counts["returns"].sum()


@settings(max_examples=30, derandomize=True, deadline=None)
@given(ROWS, st.randoms(use_true_random=False))
def test_order_of_rows_and_unit_of_time_do_not_matter(rows, random):
    mixed = list(rows)
    random.shuffle(mixed)
    slower = [(days * 7, *rest) for days, *rest in rows]
    result = curves_from_counts(small_table(rows), WANTED)
    other = curves_from_counts(small_table(mixed), WANTED)
    weekly = curves_from_counts(small_table(slower), WANTED)
    pd.testing.assert_frame_equal(result.table, other.table, rtol=1e-9, atol=1e-12)
    assert weekly.table["share"].tolist() == result.table["share"].tolist()
    assert weekly.table["high"].tolist() == pytest.approx(result.table["high"].tolist())
    assert weekly.groups["restricted_mean_days"].tolist() == pytest.approx(
        (7 * result.groups["restricted_mean_days"]).tolist()
    )
    if result.test is None:
        assert weekly.test is None
    else:
        assert weekly.test is not None
        assert weekly.test.statistic == pytest.approx(result.test.statistic)


@settings(max_examples=30, derandomize=True, deadline=None)
@given(ROWS, st.integers(2, 4))
def test_copies_of_the_shop_keep_the_share_and_narrow_the_variance(rows, copies):
    one = [(days, outcome, 0, row) for row, (days, outcome, _, _) in enumerate(rows)]
    many = [
        (days, outcome, group, row + copy * len(rows))
        for copy in range(copies)
        for days, outcome, group, row in one
    ]
    result = curves_from_counts(small_table(one), WANTED).table
    more = curves_from_counts(small_table(many), WANTED).table
    assert more["share"].tolist() == pytest.approx(result["share"].tolist(), abs=1e-12)
    assert more["at_risk"].tolist() == (copies * result["at_risk"]).tolist()
    wide, narrow = (frame["high"] - frame["low"] for frame in (result, more))
    assert (narrow <= wide + 1e-12).all()


@pytest.mark.parametrize("outcome", [0, 1, 3])
def test_one_job_alone(outcome):
    result = curves_from_counts(small_table([(10, outcome, 0, 0)]), WANTED)
    assert result.at["share"].tolist() == pytest.approx(
        [0, float(outcome == 1), np.nan], nan_ok=True
    )


def test_a_day_that_only_some_terms_reach_is_said_to_rest_on_these():
    # 30 jobs of 60 days and 20 of 365: past day 60 + 14 only the latter tell. Taken by itself
    # each group is what it is: 3 of 30 by day 60, and 4 of 20 by day 200.
    short = fleet(30, (10, 20, 30), model="mill", term_days=60)
    long = fleet(20, (50, 100, 150, 180), model="grill", term_days=365)
    both = followed(*short, *long)
    found = return_curves(both, at=(60, 200))
    assert [(note.code, note.jobs) for note in found.notes] == [("terms_differ", 20)]
    assert "20 of 50 jobs have none that ends before day 200" in found.notes[0].text
    assert cause_curves(both, at=(60, 200)).notes == found.notes
    by_term = return_curves(both, "term_days", at=(60, 200)).at.set_index(["group", "day"])
    assert by_term["share"].to_dict() == pytest.approx(
        {("60", 60): 0.1, ("60", 200): np.nan, ("365", 60): 0.05, ("365", 200): 0.2}, nan_ok=True
    )
    assert not {note.code for note in return_curves(both, "term_days", at=(60,)).notes}
    assert list(by_term.index.get_level_values("group").unique()) == ["60", "365"]  # as numbers
    assert return_curves(both, at=(60,)).notes == ()
    assert return_curves(followed(*long), at=(60, 200)).notes == ()
