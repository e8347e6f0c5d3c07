"""What a claims curve refuses, remarks and carries, word for word; mixes, arrivals and edges."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from quick_shop import day, followed_shop, jobs, lifetimes
from shop import fleet, followed

from insights.errors import RequestError
from insights.money.claims import check_terms, claims_by_term, claims_curve, share_draws


@pytest.fixture(scope="module")
def two_models():
    """Give 30 boilers of Ada's and 10 grinders of Ben's, 3 and 1 of them back."""
    return followed(
        *fleet(30, (10, 20, 30), model="boiler", technician="Ada", term_days=365),
        *fleet(10, (15,), model="grinder", technician="Ben", term_days=365),
    )


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (
            {"mix": {"boiler": 1}},
            "A mix is given without its column. Name the column as well.",
        ),
        (
            {"by": "model", "mix": {"kettle": 1, "boiler": 2, "pot": 1}},
            "No job has model = kettle, pot. Recorded: boiler, grinder.",
        ),
        (
            {"by": "model", "mix": {"boiler": -1, "grinder": 2}},
            "The mix must be numbers of zero or more, not all zero.",
        ),
        (
            {"by": "model", "mix": {"boiler": 0, "grinder": 0}},
            "The mix must be numbers of zero or more, not all zero.",
        ),
        (
            {"by": "model", "mix": {"boiler": float("inf")}},
            "The mix must be numbers of zero or more, not all zero.",
        ),
        ({"arrival_days": -0.5}, "arrival_days is -0.5. Give zero or more days."),
        ({"arrival_days": 3651}, "arrival_days is 3651. Give zero or more days."),
    ],
)
def test_what_can_not_be_mixed_or_moved_is_refused(two_models, asked, text):
    with pytest.raises(RequestError) as refused:
        claims_curve(two_models, **asked)
    assert str(refused.value) == text


@pytest.mark.parametrize(
    ("terms", "text"),
    [
        ([], "No term is asked for. Give one or more, in days, like 90."),
        ([90, 90.5], "The term is 90.5 days. Give a whole number of days from 1 to 3650."),
        ([0], "The term is 0 days. Give a whole number of days from 1 to 3650."),
        ([3651], "The term is 3651 days. Give a whole number of days from 1 to 3650."),
    ],
)
def test_terms_that_are_none_are_refused(terms, text):
    with pytest.raises(RequestError) as refused:
        check_terms(terms)
    assert str(refused.value) == text


def test_the_shortest_and_the_longest_term_can_be_asked_for():
    assert check_terms([1, 3650]).tolist() == [1, 3650]
    assert check_terms(90).tolist() == [90]


@pytest.mark.parametrize("level", [0, 1])
def test_a_level_that_is_none_is_refused(two_models, level):
    with pytest.raises(RequestError) as refused:
        claims_by_term(claims_curve(two_models), [90], level=level)
    assert str(refused.value) == (
        f"The confidence level is {level}. Give one between 0 and 1, like 0.95."
    )


def test_the_mix_is_told_in_words(two_models):
    def mix(**asked) -> str:
        return claims_curve(two_models, **asked).mix

    assert mix() == "all jobs"
    assert mix(by="model") == "model mixed as boiler 75%, grinder 25%"
    assert mix(by="model", mix={"grinder": 3, "boiler": 2}) == (
        "model mixed as grinder 60%, boiler 40%"
    )
    both = mix(where={"model": ("boiler", "grinder"), "technician": ("Ada",)}, by="technician")
    assert both == "model = boiler or grinder; technician = Ada; technician mixed as Ada 100%"


def test_a_value_with_no_part_in_the_mix_is_left_out(two_models):
    claims = claims_curve(two_models, by="model", mix={"boiler": 2, "grinder": 0})
    assert claims.weights.tolist() == [1]
    assert [one.stratum.label for one in claims.outlooks] == ["boiler"]
    assert claims.share([90]) == pytest.approx([3 / 30])


def test_a_mix_may_be_shares_and_a_group_may_be_one_job(two_models):
    halves = claims_curve(two_models, by="model", mix={"boiler": 0.5, "grinder": 0.5})
    assert halves.weights.tolist() == [0.5, 0.5]
    alone = followed(*fleet(9, model="boiler"), *fleet(1, model="grinder"))
    assert claims_curve(alone, by="model").weights == pytest.approx([0.9, 0.1])


def test_a_return_on_the_last_day_of_the_term_is_a_claim():
    claims = claims_curve(followed(*jobs(50, 90, {"after": 90}, {"after": 91})), arrival_days=0)
    assert claims.claims == 1
    assert claims.share([89, 90]) == pytest.approx([0, 1 / 50])


def test_counts_and_dates_behind_the_curve_are_carried(two_models):
    claims = claims_curve(two_models, by="model")
    assert (claims.jobs, claims.units, claims.claims) == (40, 40, 4)
    assert claims.data_date == pd.Timestamp("2026-12-31")
    assert claims.at_risk(12) == 39
    assert claims.arrival_days == 0
    assert claims.notes == ()
    assert claims.weights == pytest.approx([0.75, 0.25])


def test_reasons_of_all_groups_too_poor_are_told():
    rows = [*fleet(3, model="boiler"), *fleet(4, model="grinder"), *fleet(40, (9,), model="mill")]
    claims = claims_curve(followed(*rows), by="model")
    reasons = claims.why_not(90)
    assert reasons.startswith("boiler: Too few jobs are followed: 3,")
    assert " grinder: Too few jobs are followed: 4," in reasons
    assert "mill" not in reasons
    assert claims_curve(followed(*rows), where={"model": ("mill",)}).why_not(90) == ""
    alone = claims_curve(followed(*rows), where={"model": ("boiler",)}).why_not(90)
    assert alone.startswith("Too few jobs are followed: 3,")


def test_a_term_is_seen_only_where_every_group_saw_it():
    rows = [
        *fleet(40, (9,), model="boiler", term_days=90),
        *fleet(40, (9,), model="mill", term_days=180),
    ]
    claims = claims_curve(followed(*rows), by="model")
    assert claims.is_seen(90)
    assert not claims.is_seen(91)
    assert claims_curve(followed(*rows), where={"model": ("mill",)}).is_seen(180)
    assert set(claims.models["group"]) <= {"boiler", "mill"}


def test_what_is_remarked_is_said_in_full():
    rows = jobs(
        50,
        90,
        {"after": 30, "notified": day(20), "root_cause": "cord"},
        {"after": 104, "notified": day(90), "root_cause": "cord"},
    )
    claims = claims_curve(followed(*rows))
    assert claims.arrival_days == 12
    assert [(note.code, note.text, note.jobs) for note in claims.notes] == [
        (
            "arrival_time",
            "Cover is decided by the day of the report, and units arrive 12.0 days later on "
            "average; claims of a term are counted up to that much after it.",
            None,
        ),
        (
            "late_arrivals",
            "1 claim arrived later than that after the end of the term, and is counted at its end.",
            1,
        ),
    ]
    everything = claims_curve(followed(*rows, follow="all"), arrival_days=0)
    assert [(note.code, note.text) for note in everything.notes] == [
        (
            "terms_ignored",
            "Comebacks after a job's own term are counted as if it still ran, but owners bring "
            "fewer units back once cover ends: what is said of later days reads too low. "
            "Follow each job inside its own term to avoid that.",
        )
    ]
    # Followed past its term, the later return counts on its own day.
    assert everything.share([90, 103, 104]) == pytest.approx([1 / 50, 1 / 50, 2 / 50])


def test_arrival_times_are_at_most_the_grace_and_never_before_the_report():
    def arrival(*backs: dict, **asked) -> float:
        return claims_curve(followed(*jobs(50, 365, *backs)), **asked).arrival_days

    slow = [{"after": 60, "notified": day(20)}, {"after": 70, "notified": day(30)}]
    assert arrival(*slow) == 14
    assert arrival({"after": 30, "notified": day(40)}, {"after": 30, "notified": day(27)}) == 3
    assert arrival({"after": 30, "notified": day(30)}, {"after": 31, "notified": day(30)}) == 0.5
    assert arrival({"after": 30}) == 0
    assert arrival(arrival_days=2.3) == 2.5
    assert arrival(arrival_days=3650) == 3650


def test_a_job_without_a_term_informs_every_day():
    rows = [*jobs(30, None, {"after": 200}), *jobs(30, 90)]
    claims = claims_curve(followed(*rows))
    assert claims.share([90, 200]) == pytest.approx([0, 1 / 30])
    assert (claims.at_risk(90), claims.at_risk(91)) == (60, 30)


def test_longest_term_is_told_on_the_day_of_the_report():
    def longest(arrival_days: float) -> float:
        found = claims_curve(followed(*fleet(40, (9,))), arrival_days=arrival_days)
        return found.longest_term

    assert longest(0) == 364
    assert longest(3.5) == 360
    assert longest(363) == 1
    assert np.isnan(longest(363.5))


def test_draws_have_their_size_and_their_chance_by_default(two_models):
    claims = claims_curve(two_models)
    assert share_draws(claims, [90]).shape == (4000, 1)
    assert share_draws(claims, [90]) is share_draws(claims, (90.0,), 4000, 0)


def test_the_curve_to_be_drawn_keeps_its_kinds_level_and_chance():
    rng = np.random.default_rng(6)
    claims = claims_curve(followed_shop(lifetimes(2000, rng), rng, since_days=300))
    table = claims_by_term(claims, [100, 400])
    assert table.columns.tolist() == [
        "term_days",
        "share",
        "low",
        "high",
        "models_low",
        "models_high",
        "seen",
    ]
    assert table["term_days"].dtype == np.int64
    assert table["share"].to_numpy() == pytest.approx(claims.share([100, 400]))
    low, high = np.quantile(share_draws(claims, [100, 400]), [0.025, 0.975], axis=0)
    assert table["low"].to_numpy() == pytest.approx(low, rel=1e-12)
    assert table["high"].to_numpy() == pytest.approx(high, rel=1e-12)
    narrow = claims_by_term(claims, [100, 400], level=0.5)
    assert (narrow["high"] - narrow["low"] < 0.5 * (table["high"] - table["low"])).all()
    other = claims_by_term(claims, [100, 400], seed=1)
    assert other["share"].equals(table["share"])
    assert other["low"][1] != table["low"][1]


def test_draws_are_read_where_the_share_is_at_arrival():
    # Three of 200 report on day 90 and arrive on day 96: with Jeffreys' prior 3.5 of 201 by then.
    backs = [{"after": 96, "notified": day(90)}] * 3
    claims = claims_curve(followed(*jobs(200, 365, *backs)))
    assert claims.share([90]) == pytest.approx([3 / 200])
    assert share_draws(claims, [90]).mean() == pytest.approx(3.5 / 201, rel=0.05)
    assert share_draws(claims, [89]).mean() < 1 / 200


def test_the_same_seed_draws_the_same_from_the_same_record_read_anew(two_models):
    first, again, other = (
        share_draws(claims_curve(two_models), [90], 200, seed) for seed in (3, 3, 4)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_two_late_arrivals_and_half_a_day_are_told():
    late = {"after": 104, "notified": day(90), "decision": "covered"}
    claims = claims_curve(followed(*jobs(50, 90, late, late)), arrival_days=0.5)
    texts = {note.code: note.text for note in claims.notes}
    assert texts["late_arrivals"] == (
        "2 claims arrived later than that after the end of the term, and are counted at its end."
    )
    assert "units arrive 0.5 days later on average" in texts["arrival_time"]
