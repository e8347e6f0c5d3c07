"""At the counter the book recognises a unit as linking the whole history would."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.decisions import pair_key, unit_decisions
from insights.history.book.entries import Settings
from insights.history.book.erasing import erase_customer
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.look_up import Found, LookUp
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.schema import History, to_schema
from insights.history.units import link_units
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import linking_shop

ADA = Person("Ada")
TODAY = date(2026, 6, 30)
ASKED = (
    "unit_serial",
    "model",
    "customer",
    "phone",
    "postcode",
    "unit_age_years",
    "earlier_repair",
    "received",
)


def book_of(history: History, path: Path) -> Book:
    book = create_book(path, Settings(currency=history.currency), ADA)
    book.add_history(history, by=ADA)
    return book


@pytest.fixture(scope="module")
def cafe(tmp_path_factory) -> tuple[pd.DataFrame, LookUp]:
    history, _ = generate(cafe_workshop(1200))
    return history.jobs, LookUp(book_of(history, tmp_path_factory.mktemp("cafe") / "book.db"))


@pytest.fixture
def counter(tmp_path: Path) -> tuple[Book, LookUp]:
    """A small book: two boilers of one customer, one job each."""
    book = create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)
    for job_id, serial, received in (("1", "WB4471836F", "01-05"), ("2", "WB9921407K", "02-05")):
        book.receive(
            {
                "job_id": job_id,
                "received": f"2026-{received}",
                "model": "boiler",
                "unit_serial": serial,
                "customer": "K1",
                "phone": "0555 100200",
            },
            by=ADA,
            today=TODAY,
        )
    return book, LookUp(book)


def hand_back(book: Book, job_id: str, day: str, **facts: object) -> None:
    changes = {"handed_back": day, "technician": "Bo", "root_cause": "contact", **facts}
    number = book.job(job_id).number
    book.save(job_id, changes, expected=number, by=ADA, what="handed back", today=TODAY)


def ids(found: Found) -> list[list[str]]:
    return [[visit.job.job_id for visit in unit.visits] for unit in found.units]


def find(look_up: LookUp, **known: object) -> Found:
    return look_up.find(known, today=TODAY)


def test_a_unit_that_was_here_is_known_with_what_was_done(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09", term_days=90, practice_pair="both", lot_contact="C7")
    found = find(look_up, unit_serial="wb-4471836 F", model="boiler", received="2026-04-09")
    assert ids(found) == [["1"]]
    assert found.units[0].is_sure
    assert found.units[0].reasons.startswith("same serial")
    job = found.last.job.values
    assert (job["technician"], job["root_cause"]) == ("Bo", "contact")
    assert (job["practice_pair"], job["lot_contact"]) == ("both", "C7")


def test_nothing_is_said_of_a_model_that_was_not_told(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    told = {"unit_serial": "WB4471836F", "received": "2026-04-09"}
    assert find(look_up, **told).units[0].reasons == (
        "same serial: WB4471836F / WB4471836F; no customer to compare"
    )
    other = find(look_up, **told, model="urn").units[0]
    assert other.reasons.endswith("another model")
    assert ids(find(look_up, **told)) == [["1"]]


def test_a_unit_still_on_the_bench_is_known_before_its_model_is_told(counter) -> None:
    _, look_up = counter
    told = {"unit_serial": "WB4471836F", "received": "2026-04-09"}
    (unit,) = find(look_up, **told).units
    assert [visit.job.job_id for visit in unit.visits] == ["1"]
    assert unit.visits[0].on_bench
    assert "model" not in unit.reasons


@pytest.mark.parametrize(
    ("known", "days", "inside"),
    [
        # The last day of a term of 90 days from 9 January is 9 April (counted on a calendar).
        ({"received": "2026-04-09"}, 90, True),
        ({"received": "2026-04-10"}, 91, False),
        ({"received": "2026-04-20", "notified": "2026-04-08"}, 89, True),
    ],
)
def test_the_term_runs_to_the_day_of_the_report(counter, known, days, inside) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09", term_days=90)
    last = find(look_up, unit_serial="WB4471836F", model="boiler", **known).last
    assert (last.days, last.inside_term, last.on_bench) == (days, inside, False)


def test_no_term_recorded_is_not_outside_it(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    assert find(look_up, unit_serial="WB4471836F").last.inside_term is None


def test_a_unit_still_on_the_bench_is_told(counter) -> None:
    _, look_up = counter
    same = find(look_up, unit_serial="WB4471836F", model="boiler", customer="K1")
    assert same.last.on_bench
    mistyped = find(look_up, unit_serial="WB4417836F", model="boiler", customer="K1")
    likely = next(unit for unit in mistyped.units if unit.visits[0].job.job_id == "1")
    assert likely.impossible
    assert not likely.is_sure
    assert likely.visits[0].on_bench
    assert mistyped.last is None


def test_a_mistyped_serial_of_the_same_customer_is_probably_the_unit(cafe) -> None:
    jobs, look_up = cafe
    closed = jobs[jobs["handed_back"].notna() & jobs["ended_on"].isna()]
    serial_count = jobs["unit_serial"].value_counts()
    lone = closed[closed["unit_serial"].map(serial_count) == 1]
    lone = lone[~lone["customer"].duplicated(keep=False)].iloc[:12]
    sure = 0
    for job in lone.itertuples(index=False):
        swapped = (
            job.unit_serial[:4] + job.unit_serial[5] + job.unit_serial[4] + job.unit_serial[6:]
        )
        found = look_up.find(
            {
                "unit_serial": swapped,
                "model": job.model,
                "customer": job.customer,
                "phone": job.phone,
                "received": "2025-10-01",
            },
            today=TODAY,
        )
        sure += found.last is not None and found.last.job.job_id == job.job_id
    assert sure >= 11


def test_a_stranger_is_new_and_without_a_model_only_equal_serials_are_found(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    stranger = find(look_up, unit_serial="GR0000017A", model="grinder", customer="K9")
    assert (stranger.units, stranger.jobs, stranger.needs_model) == ((), 2, False)
    assert find(look_up, unit_serial="WB4471836F").needs_model
    assert ids(find(look_up, unit_serial="WB4471836F")) == [["1"]]
    assert find(look_up, unit_serial="WB4471836G").units == ()


def test_the_look_up_keeps_up_with_what_is_saved(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    arrived = book.receive(
        {"received": "2026-05-01", "model": "boiler", "unit_serial": "WB 4471836F"},
        by=ADA,
        today=TODAY,
    )
    again = find(look_up, unit_serial="WB4471836F", model="boiler")
    assert ids(again) == [[arrived.job_id, "1"]]
    own = find(look_up, job_id=arrived.job_id, received="2026-05-01", unit_serial="WB4471836F")
    assert ids(own) == [["1"]]
    book.save(
        arrived.job_id,
        {"unit_serial": "WB7000001A"},
        expected=1,
        by=ADA,
        what="correction",
        today=TODAY,
    )
    assert ids(find(look_up, unit_serial="WB4471836F")) == [["1"]]
    assert ids(find(look_up, unit_serial="WB7000001A")) == [[arrived.job_id]]


def test_what_a_person_decided_holds_at_the_counter(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    hand_back(book, "2", "2026-02-09")
    decision = {"job_id": "2", "earlier_job_id": "1", "same": True}
    book.put(SAME_UNIT, "2/1", decision, by=ADA)
    assert ids(find(look_up, unit_serial="WB9921407K", model="boiler", customer="K1")) == [
        ["2", "1"]
    ]


def decide(book: Book, job_id: str, earlier: str, same: bool | None) -> None:
    body = {"job_id": job_id, "earlier_job_id": earlier, "same": same}
    book.put(SAME_UNIT, pair_key(job_id, earlier), None if same is None else body, by=ADA)


def test_jobs_decided_to_be_one_come_along_however_unlike_they_are(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    hand_back(book, "2", "2026-02-09")
    # The same unit with a new rating plate, entered as another model by another owner.
    plate = {"model": "urn", "unit_serial": "UR1", "customer": "K2", "received": "2026-03-05"}
    book.receive({"job_id": "3", "handed_back": "2026-03-09", **plate}, by=ADA, today=TODAY)
    book.receive({"job_id": "4", **plate, "received": "2026-04-05"}, by=ADA, today=TODAY)
    hand_back(book, "4", "2026-04-09")
    assert ids(find(look_up, unit_serial="WB9921407K", model="boiler")) == [["2"]]
    decide(book, "3", "2", True)
    assert ids(find(look_up, unit_serial="WB9921407K", model="boiler")) == [["4", "3", "2"]]
    assert ids(find(look_up, unit_serial="UR1", model="urn")) == [["4", "3", "2"]]
    decide(book, "3", "2", None)
    assert ids(find(look_up, unit_serial="WB9921407K", model="boiler")) == [["2"]]


def test_a_unit_said_to_be_another_is_not_named_again(counter) -> None:
    book, look_up = counter
    arrived = {"model": "boiler", "unit_serial": "WB4417836F", "customer": "K1"}
    book.receive({"job_id": "3", "received": "2026-04-01", **arrived}, by=ADA, today=TODAY)
    asked = {"job_id": "3", "received": "2026-04-01", **arrived}
    named = [visits[0] for visits in ids(find(look_up, **asked))]
    assert "1" in named
    decide(book, "3", "1", False)
    assert [visits[0] for visits in ids(find(look_up, **asked))] == [
        job_id for job_id in named if job_id != "1"
    ]
    hand_back(book, "1", "2026-01-09")
    assert "1" not in [visits[0] for visits in ids(find(look_up, **asked))]


def weights_of(look_up: LookUp) -> dict[str, np.ndarray]:
    """What agreements are worth to a counter that has had a moment to learn."""
    find(look_up, unit_serial="none", model="none")
    look_up.settle()
    find(look_up, unit_serial="none", model="none")
    return look_up._learnt.ratios.ratio


def test_what_went_wrong_while_learning_is_met_by_the_next_question(counter, monkeypatch) -> None:
    book, look_up = counter
    decide(book, "2", "1", False)

    def broken(*_: object, **__: object) -> None:
        raise RequestError("The decisions contradict each other.")

    monkeypatch.setattr("insights.history.book.look_up._learn", broken)
    find(look_up, model="grinder", unit_serial="X")
    look_up.settle()
    with pytest.raises(RequestError, match="contradict"):
        find(look_up, model="grinder", unit_serial="X")


def test_decisions_teach_the_counter_what_they_teach_the_whole_history(tmp_path: Path) -> None:
    history, _ = generate(linking_shop(400, 5))
    book = book_of(history, tmp_path / "book.db")
    look_up = LookUp(book)

    def weights() -> dict[str, np.ndarray]:
        return weights_of(look_up)

    def whole() -> dict[str, np.ndarray]:
        jobs = book.history()
        return link_units(jobs, decisions=unit_decisions(book, jobs)).evidence.ratios.ratio

    untaught = weights()
    lone = history.jobs[~history.jobs["unit_serial"].duplicated(keep=False)]
    numbers = lone.sort_values("received")["job_id"].tolist()
    for earlier, later in zip(numbers[:3], numbers[-3:], strict=True):
        decide(book, later, earlier, True)
    taught = weights()
    assert any((taught[name] != untaught[name]).any() for name in taught)
    for name, found in whole().items():
        np.testing.assert_array_equal(taught[name], found)
    decide(book, later, earlier, None)
    for name, found in whole().items():
        np.testing.assert_array_equal(weights()[name], found)
    # A book that is opened with decisions in it has learnt from them after a moment.
    again = weights_of(LookUp(book))
    for name, found in whole().items():
        np.testing.assert_array_equal(again[name], found)


def test_an_erased_customer_is_known_no_more_but_the_unit_is(counter) -> None:
    book, look_up = counter
    hand_back(book, "1", "2026-01-09")
    hand_back(book, "2", "2026-02-09")
    mistyped = {"unit_serial": "WB4417836F", "model": "boiler"}
    owner = {"customer": "K1", "phone": "0555 100200"}
    assert ids(find(look_up, **mistyped, **owner))[0] == ["1"]
    assert len(find(look_up, model="boiler", **owner).units) == 2
    erase_customer(book, "K1", by=ADA)
    assert find(look_up, model="boiler", **owner).units == ()
    assert ids(find(look_up, unit_serial="WB4471836F")) == [["1"]]
    seen = find(look_up, unit_serial="WB4471836F").last.job.values
    assert seen["customer"].startswith("erased-")
    assert "phone" not in seen


def test_an_empty_book_knows_nobody(tmp_path: Path) -> None:
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    found = LookUp(book).find({"unit_serial": "X1", "model": "boiler"}, today=TODAY)
    assert (found.units, found.jobs, found.last) == ((), 0, None)


def agreement(jobs: int, arrivals: int, path: Path, seed: int = 1) -> float:
    """Share of arrivals for which the whole history's links say the same, in units and doubts."""
    history, _ = generate(linking_shop(jobs, seed))
    frame = history.jobs.sort_values(["received", "job_id"], ignore_index=True)
    start = len(frame) - arrivals
    book = book_of(replace(history, jobs=to_schema(frame.iloc[:start])), path)
    look_up = LookUp(book)
    agreed = 0
    for place in range(start, len(frame)):
        row = frame.iloc[place]
        known = {name: row[name] for name in ASKED if not pd.isna(row[name])}
        found = look_up.find(known, today=row["received"].date())
        agreed += _sets(found) == _linked(replace(history, jobs=frame.iloc[: place + 1]))
        arrived = replace(history, jobs=to_schema(frame.iloc[place : place + 1]))
        book.add_history(arrived, by=ADA)
    return agreed / arrivals


def _sets(found: Found) -> tuple[frozenset[str], set[frozenset[str]]]:
    jobs = [frozenset(visit.job.job_id for visit in unit.visits) for unit in found.units]
    told = list(zip(found.units, jobs, strict=True))
    sure = frozenset().union(*(mine for unit, mine in told if unit.is_sure))
    return sure, {mine for unit, mine in told if not unit.is_sure and not unit.impossible}


def _linked(history: History) -> tuple[frozenset[str], set[frozenset[str]]]:
    """Link the whole history, its last job just arrived, and read off who that may be."""
    jobs = history.jobs.reset_index(drop=True).copy()
    jobs.loc[len(jobs) - 1, ["handed_back", "ended_on"]] = pd.NaT
    links = link_units(replace(history, jobs=jobs))
    unit, job_id = links.unit_of_job, jobs["job_id"].to_numpy(object)
    of_unit = dict(zip(job_id, unit, strict=True))
    doubtful = links.pairs[links.pairs["status"] == "doubtful"]
    both = [
        {of_unit[one], of_unit[other]}
        for one, other in zip(doubtful["job_id"], doubtful["earlier_job_id"], strict=True)
    ]
    rivals = {other for pair in both if unit[-1] in pair for other in pair - {unit[-1]}}
    earlier = unit[:-1]
    return (
        frozenset(job_id[:-1][earlier == unit[-1]]),
        {frozenset(job_id[:-1][earlier == rival]) for rival in rivals},
    )


def test_the_counter_says_what_linking_the_whole_history_says(tmp_path: Path) -> None:
    assert agreement(400, 12, tmp_path / "book.db") == 1


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3])
def test_the_counter_says_what_linking_the_whole_history_says_at_length(tmp_path, seed) -> None:
    assert agreement(6000, 200, tmp_path / "book.db", seed) >= 0.99


@pytest.mark.bench
@pytest.mark.benchmark(timer=time.process_time)  # its own work; what else the machine does aside
def test_a_look_up_among_a_hundred_thousand_jobs_takes_less_than_a_tenth_of_a_second(
    benchmark, tmp_path: Path
) -> None:
    history, _ = generate(linking_shop(100_000))
    look_up = LookUp(book_of(history, tmp_path / "book.db"))
    rows = np.random.default_rng(1).choice(len(history.jobs), 40, replace=False)
    asked = [
        {name: row[name] for name in ASKED[:5] if not pd.isna(row[name])}
        for _, row in history.jobs.iloc[rows].iterrows()
    ]
    units = benchmark.pedantic(
        lambda: [look_up.find(known, today=TODAY) for known in asked], rounds=3, warmup_rounds=1
    )
    assert sum(found.last is not None for found in units) > 30
    seconds = benchmark.stats.stats.min / len(asked)
    print(f"a look-up among {len(history.jobs):,} jobs: {1000 * seconds:.0f} ms")
    assert seconds < 0.1
