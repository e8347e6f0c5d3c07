"""Owners called: who is drawn, and what their answers make of a share back."""

from __future__ import annotations

import io

import pandas as pd
import pytest
from shop import fleet, followed
from sources import STATSMODELS
from statsmodels.stats.proportion import proportion_confint

from insights.errors import EvidenceError, RequestError, SourceError
from insights.reviewing.call_back import (
    call_back_sample,
    corrected,
    failed_share,
    read_answers,
)


def answered(would=0, would_not=0, hidden=0, not_reached=0):
    said = ["would_return"] * would + ["would_not"] * would_not
    said += ["failed_not_brought"] * hidden + ["not_reached"] * not_reached
    return pd.DataFrame({"job_id": [f"J{place}" for place in range(len(said))], "answer": said})


def shop(size=60, data_date="2026-12-31", **facts):
    return followed(*fleet(size, (20, 40, 300), **facts), follow="all", data_date=data_date)


def test_24_of_30_turn_4_of_100_back_into_4_4_to_6_4_failed(outside):
    # Wilson's interval of 24 of 30 is 0.627 to 0.905; 4 divided by its ends.
    found = corrected(0.04, answered(would=24, would_not=6))
    low, high = proportion_confint(24, 30, method="wilson")
    outside.agrees(
        "owners called: Wilson's bounds",
        [found.return_low, found.return_high],
        [low, high],
        source=f"{STATSMODELS}; proportion_confint",
        rel=1e-6,
    )
    assert found.failed == pytest.approx(0.05)
    assert (found.failed_low, found.failed_high) == pytest.approx((0.04 / high, 0.04 / low))
    assert (round(found.failed_low, 3), round(found.failed_high, 3)) == (0.044, 0.064)


def test_an_unsure_share_back_makes_the_result_less_sure():
    sure = corrected(0.04, answered(would=24, would_not=6))
    unsure = corrected(0.04, answered(would=24, would_not=6), back_low=0.03, back_high=0.052)
    assert unsure.failed == sure.failed
    assert unsure.failed_low < sure.failed_low
    assert unsure.failed_high > sure.failed_high


def test_failed_units_found_among_those_still_out_count_by_themselves():
    found = corrected(0.04, answered(would=20, would_not=5, hidden=2, not_reached=3))
    assert (found.asked, found.reached) == (30, 27)
    assert found.return_share == pytest.approx(20 / 25)
    assert found.found == pytest.approx(0.04 + 0.96 * 2 / 27)
    low, high = proportion_confint(2, 27, method="wilson")
    assert (found.found_low, found.found_high) == pytest.approx(
        (0.04 + 0.96 * low, 0.04 + 0.96 * high)
    )


def test_owners_who_all_would_leave_the_share_as_it_is_with_a_range():
    found = corrected(0.04, answered(would=30))
    assert found.failed == pytest.approx(0.04)
    assert found.failed_low == pytest.approx(0.04)
    assert found.failed_high > 0.044


def test_a_share_that_failed_is_never_above_one():
    found = corrected(0.6, answered(would=1, would_not=9))
    assert found.failed == found.failed_high == 1.0


def test_few_asked_and_many_not_reached_are_said():
    codes = {note.code for note in corrected(0.04, answered(would=5, not_reached=20)).notes}
    assert codes == {"few_asked", "many_unreached"}


def test_answers_not_given_yet_are_left_out():
    rows = pd.concat([answered(would=12), pd.DataFrame({"job_id": ["x"], "answer": [""]})])
    assert corrected(0.1, rows).asked == 12


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (pd.DataFrame({"answer": ["would_return"]}), "lack the column job_id"),
        (answered(would=2).replace("would_return", "yes"), "'yes' is not an answer"),
        (answered(would=2).assign(job_id="J1"), "J1 is answered twice"),
    ],
)
def test_answers_that_can_not_be_used_are_refused_in_words(rows, said):
    with pytest.raises(RequestError, match=said):
        corrected(0.04, rows)


@pytest.mark.parametrize("rows", [answered(), answered(would_not=4), answered(not_reached=9)])
def test_nothing_is_worked_out_from_nobody(rows):
    with pytest.raises(EvidenceError, match="Call more owners"):
        corrected(0.04, rows)


def test_units_out_long_enough_and_not_seen_since_are_drawn():
    followup = shop()
    drawn = call_back_sample(followup, size=200)
    assert len(drawn) == 57
    ids = set(drawn["job_id"])
    assert not {f"boiler-{unit}-1" for unit in range(3)} & ids
    assert (drawn["out_days"] == 364).all()
    assert (drawn["answer"] == "").all()


def test_a_unit_back_after_its_term_or_out_of_service_is_not_called():
    rows = fleet(10, (200,), term_days=90)
    rows[3]["ended_on"], rows[3]["ended_how"] = "2026-06-01", "scrapped"
    drawn = call_back_sample(followed(*rows), size=50)
    assert len(drawn) == 8
    assert not {rows[0]["job_id"], rows[3]["job_id"]} & set(drawn["job_id"])


def test_the_draw_hangs_on_the_seed_and_not_on_the_order_of_rows():
    rows = fleet(80)
    one = call_back_sample(followed(*rows, follow="all"), size=10, seed=3)
    again = call_back_sample(followed(*rows[::-1], follow="all"), size=10, seed=3)
    other = call_back_sample(followed(*rows, follow="all"), size=10, seed=4)
    assert set(one["job_id"]) == set(again["job_id"])
    assert set(one["job_id"]) != set(other["job_id"])


def test_every_unit_is_as_likely_to_be_drawn():
    followup = followed(*fleet(20), follow="all")
    count = dict.fromkeys(followup.history.jobs["job_id"], 0)
    for seed in range(1, 201):
        for job in call_back_sample(followup, size=5, seed=seed)["job_id"]:
            count[job] += 1
    # Binomial(200, 1/4): mean 50, standard deviation 6.1.
    assert all(25 < times < 75 for times in count.values())


def test_too_young_or_too_old_to_ask():
    with pytest.raises(EvidenceError, match="180 to 730 days"):
        call_back_sample(shop(data_date="2026-03-01"))
    with pytest.raises(EvidenceError, match="180 to 730 days"):
        call_back_sample(shop(data_date="2029-03-01"))
    with pytest.raises(RequestError, match="days that rise"):
        call_back_sample(shop(), out_days=(300, 200))
    with pytest.raises(RequestError, match="sample of 0 units"):
        call_back_sample(shop(), size=0)


def test_a_list_written_answered_and_read_again_corrects_the_share(tmp_path):
    followup = shop()
    drawn = call_back_sample(followup, size=20).assign(answer="would_return")
    drawn.loc[:3, "answer"] = "would_not"
    path = tmp_path / "calls.csv"
    drawn.to_csv(path, index=False)
    found = failed_share(followup, read_answers(path), 60)
    assert found.back == pytest.approx(2 / 60)
    assert found.failed == pytest.approx(2 / 60 / 0.8)
    assert found.back_low < found.back < found.back_high


def test_a_day_that_nobody_is_followed_to_is_refused():
    with pytest.raises(EvidenceError, match="Too few jobs are followed to day 900"):
        failed_share(shop(), answered(would=5), 900)


def test_what_is_no_table_is_refused(tmp_path):
    with pytest.raises(SourceError, match="no table in CSV"):
        read_answers(io.BytesIO(b""))
    with pytest.raises(SourceError, match="no table in CSV"):
        read_answers(io.BytesIO(b"\xff\xfe\x00\x01,"))
    with pytest.raises(SourceError, match="can't be read: No such file"):
        read_answers(tmp_path / "none.csv")
