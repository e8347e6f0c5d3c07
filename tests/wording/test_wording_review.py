"""A review in sentences: never surer than the numbers, never a rank, cautions kept."""

from __future__ import annotations

import pandas as pd
from shop import fleet, followed

from insights.history.schema import EARLIER_WORK
from insights.reviewing.call_back import corrected
from insights.reviewing.cohorts import YearOnYear, cohorts
from insights.reviewing.dearest import costs_by_cause
from insights.reviewing.rates import review
from insights.tables import review as tables_review
from insights.wording import review as wording_review

RULES = {"follow": "all", "count": "all"}


def benches(ada: int, bo: int):
    rows = fleet(100, tuple(range(10, 10 + ada)), model="a", technician="Ada")
    rows += fleet(100, tuple(range(10, 10 + bo)), model="b", technician="Bo")
    for place, row in enumerate(rows):
        row["model"] = "boiler"
        row["earlier_repair"] = ("never", "elsewhere")[place % 2]
        if place % 2:
            row["earlier_work"] = ("sound", "parts_missing", "substandard")[place % 3]
    return followed(*rows, **RULES)


def test_who_stands_out_is_named_with_the_numbers():
    result = review(benches(30, 3), by="technician", days=(90,))
    sentence = wording_review.of_review(result, by="technician").sentence
    ada, bo = result.table["expected"]
    assert sentence == (
        f"Comebacks within 90 days, like for like. Probably worse: Ada (30 back, {ada:.1f} "
        f"expected). Probably better: Bo (3 back, {bo:.1f} expected)."
    )
    everything = wording_review.of_review(result)
    assert "technician Ada" in everything.sentence
    assert wording_review.NO_LEAGUE in everything.caveats
    assert any("more than chance lets them" in caveat for caveat in everything.caveats)


def test_what_can_not_be_told_is_said_so():
    result = review(benches(9, 8), by="technician", days=(90,))
    sentence = wording_review.of_review(result).sentence
    assert sentence == (
        "Comebacks within 90 days, like for like. Of the 2 groups we can't tell whether they "
        "differ by more than chance."
    )


def test_the_usual_day_is_180_where_it_is_there():
    result = review(benches(9, 8), by="technician", days=(60, 180, 300))
    assert wording_review.headline_day(result) == 180
    result = review(benches(9, 8), by="technician", days=(60, 90))
    assert wording_review.headline_day(result) == 90


def a_year(**changes) -> YearOnYear:
    known = {
        "curves": pd.DataFrame(),
        "jobs": (400, 300),
        "returns": (12, 20),
        "expected": (16.0, 15.0),
        "ratio": 0.57,
        "low": 0.28,
        "high": 1.12,
        "chance_worse": 0.06,
    }
    return YearOnYear(**{**known, **changes})


def test_this_year_is_called_better_only_when_it_probably_is():
    unsure = wording_review.of_year(a_year()).sentence
    # By hand: 16 expected at last year's 20 for 15 are 21.3.
    assert unsure == (
        "Of the 400 units handed back in the last 12 months 12 have come back so far; going by "
        "the 12 months before it would have been 21.3. That is 0.57 for one (likely 0.28 to "
        "1.12): we can't tell whether we are getting better."
    )
    better = wording_review.of_year(a_year(chance_worse=0.02)).sentence
    assert better.endswith("we have probably got better.")
    worse = wording_review.of_year(a_year(chance_worse=0.98)).sentence
    assert worse.endswith("we have probably got worse.")
    first = wording_review.of_year(a_year(ratio=float("nan"), returns=(1, 0))).sentence
    assert first.endswith("1 has come back so far; there is no year before to set it against.")


def test_costs_name_the_dearest_and_keep_what_did_not_fail_apart():
    rows = fleet(40, (10, 20, 30))
    for row, cost, cause in zip(
        rows[1::2][:3], (30, 40, 50), ("cord", "seal", "seal"), strict=True
    ):
        row["claim_cost"], row["root_cause"] = cost, cause
    found = costs_by_cause(followed(*rows, data_date="2027-01-01", **RULES))
    sentence = wording_review.of_costs(found).sentence
    assert sentence.startswith("3 comebacks cost 120 in 1.0 years. Halving the 2 dearest causes")
    assert "seal alone 45" in sentence
    assert "0 arrivals with no fault found cost 0 and 0 arrivals with misuse cost 0" in sentence


def test_without_a_cost_the_owner_is_told_what_to_enter():
    found = costs_by_cause(followed(*fleet(10, (20,)), **RULES))
    assert "No comeback has a cost on record" in wording_review.of_costs(found).sentence


def test_earlier_repairs_each_with_their_verdict():
    result = review(benches(9, 9), by="earlier_repair", days=(90,))
    sentence = wording_review.of_earlier(result).sentence
    assert sentence.count("can't tell") == 2
    assert "Repaired elsewhere before:" in sentence
    assert "never repaired before:" in sentence
    other = review(benches(9, 9), by="technician", days=(90,))
    assert "not on record" in wording_review.of_earlier(other).sentence


def test_what_the_bench_found_of_earlier_work_is_said_with_its_comebacks():
    followup = benches(30, 12)
    result = review(followup, by=("earlier_repair", "earlier_work"), days=(90,))
    found = wording_review.of_earlier(result)
    before, after = found.sentence.split(" By what the bench found of that work. ")
    assert "Repaired elsewhere before: " in before
    rows = result.table[result.table["by"] == "earlier_work"].set_index("group")
    for group, words in (
        ("parts_missing", "parts missing after earlier work"),
        ("sound", "earlier work found sound"),
        ("substandard", "earlier work substandard"),
    ):
        # Counted by hand: which of the first jobs of such units came back.
        jobs = followup.history.jobs.iloc[followup.episodes["job"]]
        mine = (jobs["earlier_work"] == group).to_numpy()
        back = int((followup.episodes["end"] == "return").to_numpy()[mine].sum())
        assert rows.loc[group, "returns"] == back
        assert f"{words}: {back} back, {rows.loc[group, 'expected']:.1f} expected" in after.lower()
    assert wording_review.WORK_ON_ARRIVAL in found.caveats
    alone = wording_review.of_earlier(review(followup, by="earlier_work", days=(90,)))
    assert alone.sentence.startswith("By what the bench found of that work. Parts missing")
    only = wording_review.of_earlier(review(followup, by="earlier_repair", days=(90,)))
    assert "that work" not in only.sentence
    assert only.caveats == ()


def test_owners_called_turn_back_into_failed():
    rows = pd.DataFrame({"job_id": range(30), "answer": ["would_return"] * 24 + ["would_not"] * 6})
    found = wording_review.of_corrected(corrected(0.04, rows), 180)
    assert found.sentence == (
        "Of 100 units 4.0 come back within 180 days. Of 30 owners asked whose unit works, 24 "
        "would bring a failed one back to us (63 to 90 of 100): so about 5.0 of 100 fail, likely "
        "4.4 to 6.4."
    )
    assert "comparisons between these are off by as much" in found.caveats[0]
    rows.loc[:1, "answer"] = "failed_not_brought"
    sentence = wording_review.of_corrected(corrected(0.04, rows), 180).sentence
    assert "2 of 30 owners reached had a failed unit that we never saw" in sentence


def test_tables_are_in_the_order_of_names_or_the_latest_month_first():
    followup = benches(30, 3)
    table = tables_review.of_groups(review(followup, by="technician", days=(90,)), "technician", 90)
    assert table["Technician"].tolist() == ["Ada", "Bo"]
    assert table["Verdict"].tolist() == ["probably worse", "probably better"]
    months = tables_review.of_months(cohorts(followup))
    assert months["Month"].tolist() == ["2026-01"]
    # 33 of 200 are back by day 60.
    assert months["Day 60"].tolist() == ["16.5"]


def test_groups_have_plain_names():
    assert wording_review.name_of("lot_contact") == "lot of the contact"
    assert wording_review.name_of("supplier_of_heat_plate") == "supplier of the heat plate"
    assert wording_review.group_of("earlier_repair", "never") == "never repaired before"
    assert wording_review.group_of("model", "grinder", alone=False) == "model grinder"
    called = [wording_review.group_of("earlier_work", choice) for choice in EARLIER_WORK]
    assert len(set(called)) == len(called)
    assert not set(called) & set(EARLIER_WORK)
