"""The review: hand-worked expectations, completed months, terms, and the awkward cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from shop import fleet, followed

from insights.errors import EvidenceError, RequestError
from insights.followup import follow_up
from insights.history.intake import read_history
from insights.reviewing.facets import groups, usual
from insights.reviewing.rates import BETTER, UNSURE, WORSE, review
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

RULES = {"follow": "all", "count": "all"}


def two_benches(ada: int, bo: int, size: int = 100, **facts) -> list[dict]:
    """Hand back as many units at either bench; some of each come back on the days 10, 11, ..."""
    rows = fleet(size, tuple(range(10, 10 + ada)), model="boiler", technician="Ada", **facts)
    other = fleet(size, tuple(range(10, 10 + bo)), model="boiler ", technician="Bo", **facts)
    # Equal models, other units: the mix of work is alike.
    return rows + [{**row, "model": "boiler", "job_id": f"B{row['job_id']}"} for row in other]


def of(result, by, group, day):
    table = result.table
    rows = table[(table["by"] == by) & (table["group"] == group) & (table["day"] == day)]
    return rows.iloc[0]


def test_each_bench_is_expected_to_do_as_the_other_does():
    result = review(followed(*two_benches(12, 3), **RULES), by="technician", days=(90,))
    ada, bo = (of(result, "technician", name, 90) for name in ("Ada", "Bo"))
    assert (ada["returns"], bo["returns"]) == (12, 3)
    # By hand: expected of Ada is 3.5 (Bo's and half of one) times the days at risk of Ada over
    # those of Bo, and the other way round, so their product hangs on the comebacks alone.
    assert ada["expected"] * bo["expected"] == pytest.approx(3.5 * 12.5)
    assert 0.95 < ada["expected"] / 3.5 < 1
    assert ada["raw_ratio"] == pytest.approx(12 / ada["expected"])
    assert 1 < ada["ratio"] < ada["raw_ratio"]


def test_the_verdict_follows_the_chance_and_names_no_rank():
    result = review(followed(*two_benches(30, 3), **RULES), by="technician", days=(90,))
    rows = result.table
    assert rows["group"].tolist() == ["Ada", "Bo"]
    assert rows["verdict"].tolist() == [WORSE, BETTER]
    assert rows["chance_worse"].iloc[0] > 0.975 > 0.025 > rows["chance_worse"].iloc[1]
    # A verdict and the interval beside it never contradict each other.
    table = review(followed(*two_benches(16, 8), **RULES), by="technician", days=(90,)).table
    assert ((table["verdict"] == WORSE) == (table["low"] > 1)).all()
    alike = review(followed(*two_benches(8, 9), **RULES), by="technician", days=(90,)).table
    assert set(alike["verdict"]) == {UNSURE}
    assert not {"rank", "place", "order"} & set(rows.columns)


def test_the_mix_of_work_excuses_a_bench_with_the_harder_jobs():
    """One bench gets nearly all old units, which come back four times as often on either."""
    rows = []
    for bench, old, young in (("Ada", 300, 60), ("Bo", 60, 300)):
        for age, size, share in ((14.0, old, 0.2), (1.0, young, 0.05)):
            model = f"{bench} {age}"
            days = tuple(range(10, 10 + round(size * share)))
            made = fleet(size, days, model=model, technician=bench, unit_age_years=age)
            rows += [{**row, "model": "boiler"} for row in made]
    table = review(followed(*rows, **RULES), by="technician", days=(90,)).table
    raw = table["returns"] / table["jobs"]
    assert raw.iloc[0] > 2 * raw.iloc[1]
    assert set(table["verdict"]) == {UNSURE}
    assert table["ratio"].tolist() == pytest.approx([1, 1], abs=0.1)


def test_young_jobs_are_completed_by_what_is_still_to_come():
    """A hundred at either bench come back evenly; a hundred more of Bo's are ten days out."""
    evenly = tuple(range(9, 90, 9))
    ada = fleet(100, evenly, model="a", technician="Ada")
    bo = fleet(100, evenly, model="b", technician="Bo")
    late = fleet(100, model="late", technician="Bo")
    late = [{**row, "received": "2026-03-25", "handed_back": "2026-03-26"} for row in late]
    rows = [{**row, "model": "boiler"} for row in (*ada, *bo, *late)]
    result = review(followed(*rows, data_date="2026-04-05", **RULES), by="technician", days=(90,))
    ada, bo = (of(result, "technician", name, 90) for name in ("Ada", "Bo"))
    assert not ada["immature"]
    assert ada["completed"] == 9
    assert ada["mature_share"] == pytest.approx(1)
    # Half of Bo's jobs are mature, half have shown ten days of ninety.
    assert bo["immature"]
    assert bo["mature_share"] == pytest.approx((1 + 10 / 90) / 2, abs=0.03)
    assert bo["returns"] == 9
    # By hand: of the late hundred eight of nine comebacks are still to come, times Bo's ratio.
    assert bo["completed"] == pytest.approx(9 + 8 * bo["ratio"], abs=0.5)
    assert bo["ratio"] == pytest.approx(1, abs=0.1)
    assert bo["completed_low"] < bo["completed"] < bo["completed_high"]
    assert bo["completed_share"] == pytest.approx(bo["completed"] / 200)
    assert any(note.code == "immature" for note in result.notes)


def test_a_job_counts_up_to_its_own_term_and_is_no_base_past_it():
    short = two_benches(6, 6, term_days=60)
    long = [
        {**row, "job_id": f"L{row['job_id']}", "unit": row["unit"] + 2_000_000}
        for row in two_benches(6, 6, term_days=365)
    ]
    covered = followed(*short, *long, count="all", data_date="2026-12-31")
    result = review(covered, by="technician", days=(40, 180, 730))
    assert result.days == (40, 180)
    assert [note.code for note in result.notes if note.code == "no_term_reaches"]
    early, late = (of(result, "technician", "Ada", day) for day in (40, 180))
    assert (early["jobs"], early["reaching_jobs"]) == (200, 200)
    assert (late["jobs"], late["reaching_jobs"]) == (200, 100)
    assert late["returns"] == 12
    assert late["completed_share"] == pytest.approx(6 / 100)


def test_what_comes_in_the_grace_after_a_term_is_neither_seen_nor_expected():
    """Then only what was reported inside the term still comes: such days are like no others."""
    rows = two_benches(6, 6, term_days=60)
    late = fleet(100, (63, 65, 68), model="late", technician="Bo", term_days=60)
    late = [{**row, "model": "boiler"} for row in late]
    covered = followed(*rows, *late, count="all")
    assert covered.return_count == 15
    result = review(covered, by="technician", days=(60,))
    assert of(result, "technician", "Bo", 60)["returns"] == 6
    longer = [{**row, "term_days": 90.0} for row in (*rows, *late)]
    assert (
        of(
            review(followed(*longer, count="all"), by="technician", days=(80,)),
            "technician",
            "Bo",
            80,
        )["returns"]
        == 9
    )
    mixed = followed(*rows, *late, *fleet(5, model="boiler", term_days=365), count="all")
    assert of(review(mixed, by="technician", days=(180,)), "technician", "Bo", 180)["returns"] == 6


def test_no_fault_found_and_misuse_stand_apart():
    rows = two_benches(6, 6)
    back = [row for row in rows if row["job_id"].endswith("-2") and row["technician"] == "Ada"]
    back[0]["relation"] = "no_fault_found"
    back[1]["relation"] = back[2]["relation"] = "misuse"
    result = review(followed(*rows, follow="all"), by="technician", days=(90,))
    apart = result.apart.set_index("group")
    assert apart.loc["Ada", ["jobs", "no_fault_found", "misuse"]].tolist() == [100, 1, 2]
    assert apart.loc["Bo", ["no_fault_found", "misuse"]].tolist() == [0, 0]
    assert of(result, "technician", "Ada", 90)["returns"] == 3


@pytest.fixture(scope="module")
def cafe():
    history, truth = generate(cafe_workshop(jobs=1000))
    return follow_up(history, data_date=truth.data_date)


def test_all_that_is_recorded_is_reviewed(cafe):
    result = review(cafe)
    wanted = ("month", "technician", "model", "root_cause", "earlier_repair", "earlier_work")
    assert result.by == (*wanted, "lot_contact", "lot_element", "lot_gasket")
    months = result.table.loc[result.table["by"] == "month", "group"].unique().tolist()
    assert months == sorted(months)
    for column in ("ratio", "low", "high", "chance_worse", "completed"):
        assert np.isfinite(result.table[column]).all()
    assert (result.table["low"] <= result.table["ratio"]).all()
    assert (result.table["ratio"] <= result.table["high"]).all()
    assert (result.table["completed"] >= result.table["reaching_returns"]).all()


def test_the_order_of_the_rows_does_not_matter(cafe, tmp_path):
    frame = cafe.history.jobs.dropna(axis="columns", how="all")
    path = tmp_path / "shuffled.csv"
    frame.sample(frac=1, random_state=3).to_csv(path, index=False, date_format="%Y-%m-%d")
    again = review(follow_up(read_history(path), data_date=cafe.data_date), days=(180,))
    first = review(cafe, days=(180,))
    pd.testing.assert_frame_equal(again.table, first.table, rtol=1e-6)


def test_a_lot_with_one_unit_and_a_new_technician_can_not_be_told():
    rows = two_benches(9, 8)
    rows[0]["lot_contact"] = "CO-1"
    for row in rows[1:]:
        row["lot_contact"] = "CO-2"
    new = fleet(1, (5,), model="new", technician="Cleo", lot_contact="CO-2")
    new = [{**row, "model": "boiler"} for row in new]
    result = review(followed(*rows, *new, **RULES), by=("lot_contact", "technician"), days=(90,))
    for by, group in (("lot_contact", "CO-1"), ("technician", "Cleo")):
        row = of(result, by, group, 90)
        assert row["jobs"] == 1
        assert row["verdict"] == UNSURE
        assert row["high"] > 1.2


def test_without_any_comeback_nobody_is_called_better_or_worse():
    result = review(followed(*two_benches(0, 0), **RULES), by="technician", days=(90,))
    assert set(result.table["verdict"]) == {UNSURE}
    assert [note for note in result.notes if note.code == "no_baseline"]


def test_a_group_alone_is_not_compared():
    result = review(followed(*fleet(40, (20, 30)), **RULES), by="model", days=(90,))
    row = result.table.iloc[0]
    assert np.isnan(row["expected"])
    assert row["verdict"] == UNSURE
    assert row["completed"] == 2


def test_jobs_without_a_record_of_the_group_are_left_aside():
    rows = two_benches(5, 5)
    unknown = [{**row, "technician": None, "model": "boiler"} for row in fleet(50, model="x")]
    result = review(followed(*rows, *unknown, **RULES), by="technician", days=(90,))
    assert result.table["group"].tolist() == ["Ada", "Bo"]
    assert result.table["jobs"].sum() == 200


def test_the_supplier_is_read_from_lots_that_name_one():
    rows = two_benches(5, 5)
    for place, row in enumerate(rows):
        row["lot_contact"] = f"{('NW', 'kb')[place % 2]}-{place % 7}"
        row["lot_gasket"] = f"GA{place % 5:03d}"
    followup = followed(*rows, **RULES)
    assert set(groups(followup, "supplier_of_contact")) == {"NW", "KB"}
    assert "supplier_of_contact" in usual(followup)
    assert "supplier_of_gasket" not in usual(followup)
    with pytest.raises(RequestError, match="lots of gasket name no supplier"):
        groups(followup, "supplier_of_gasket")
    with pytest.raises(RequestError, match="No lot of 'cord' is recorded"):
        groups(followup, "supplier_of_cord")


def test_overdispersion_widens_the_limits():
    quiet = review(followed(*two_benches(9, 9), **RULES), by="technician", days=(90,))
    apart = review(followed(*two_benches(30, 3), **RULES), by="technician", days=(90,))
    assert not quiet.spread["overdispersed"].iloc[0]
    assert apart.spread["overdispersed"].iloc[0]
    assert apart.spread["phi"].iloc[0] > 10
    wide = of(apart, "technician", "Bo", 90)
    narrow = np.sqrt(wide["expected"])
    assert (wide["action_high"] - 1) * wide["expected"] > 6 * narrow


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"days": ()}, "whole numbers from 1 on"),
        ({"days": (0,)}, "whole numbers from 1 on"),
        ({"days": (90.5,)}, "whole numbers from 1 on"),
        ({"level": 1.0}, "between 0 and 1"),
        ({"by": "luck"}, "Can't group by 'luck'"),
        ({"by": ()}, "nothing to review by"),
    ],
)
def test_what_can_not_be_asked_is_refused_in_words(asked, said):
    with pytest.raises(RequestError, match=said):
        review(followed(*two_benches(2, 2), **RULES), **asked)


def test_terms_too_short_for_any_day_are_said():
    covered = followed(*two_benches(2, 2, term_days=30), count="all")
    with pytest.raises(EvidenceError, match="No job's term reaches any of these days"):
        review(covered, by="technician", days=(90, 180))


def test_nothing_to_review_by_is_said():
    with pytest.raises(EvidenceError, match="Nothing to review by"):
        review(followed(*[{**row, "root_cause": None} for row in fleet(5)], **RULES))
