"""A book's database counts what reading its jobs and counting them here gives."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from insights.errors import RequestError
from insights.followup import follow_up, select
from insights.history.book.decisions import pair_key, unit_decisions
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.people import Person
from insights.history.exact import exact_units
from insights.history.schema import History, to_schema
from insights.history.units import link_units
from insights.survival.counted_in_book import count_in_book
from insights.survival.lifetable import LifeTable, life_table
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

ADA = Person("Ada", "owner")
DAY = pd.Timedelta(days=1)
RULES = (
    {},
    {"follow": "all", "count": "all", "data_date": "2024-06-30"},
    {"count": "covered", "grace_days": 0},
    {"follow": "all", "count": "covered"},
)
GROUPINGS = (
    (),
    ("model", "practice_contact_pair"),
    ("age_band", "repair_number"),
    ("month",),
    ("term_days",),
    ("quarter", "condition"),
    ("year", "lot_gasket", "relation"),
)


def rough_shop() -> History:
    """An invented shop with everything in it that the clock has a rule for."""
    made, _ = generate(cafe_workshop(jobs=500, seed=4))
    jobs = made.jobs.copy()
    draw = np.random.default_rng(7)

    def some(share: float) -> np.ndarray:
        return draw.random(len(jobs)) < share

    # Serials of few units, so that most come again; short ones; none; words for none.
    jobs["unit_serial"] = [f"WB-{number}" for number in draw.integers(1000, 1150, len(jobs))]
    jobs.loc[some(0.1), "unit_serial"] = draw.choice(["a-1", "A1", "b2"], len(jobs))[0]
    jobs.loc[some(0.05), "unit_serial"] = "A1"
    jobs.loc[some(0.05), "unit_serial"] = None
    jobs.loc[some(0.05), "unit_serial"] = "ASK-OWNER"
    back = jobs["received"] + draw.integers(0, 3, len(jobs)) * DAY
    jobs["handed_back"] = back.where(~some(0.03))
    jobs.loc[some(0.3), "received"] = pd.Timestamp("2023-05-02")  # many on one day
    jobs.loc[some(0.3), "handed_back"] = pd.Timestamp("2023-05-02")  # and contradictions
    jobs["ended_on"] = (jobs["handed_back"] + draw.integers(-1, 90, len(jobs)) * DAY).where(
        some(0.15)
    )
    jobs["ended_how"] = pd.Series(draw.choice(["scrapped", "replaced"], len(jobs))).where(some(0.7))
    jobs["term_days"] = pd.Series(draw.choice([0.0, 90, 365], len(jobs))).where(some(0.8))
    relations = ["misuse", "no_fault_found", "same_fault", "pending"]
    jobs["relation"] = pd.Series(draw.choice(relations, len(jobs))).where(some(0.8))
    decisions = ["covered", "charged", "pending"]
    jobs["decision"] = pd.Series(draw.choice(decisions, len(jobs))).where(some(0.7))
    jobs["notified"] = (jobs["received"] - draw.integers(0, 9, len(jobs)) * DAY).where(some(0.5))
    jobs["root_cause"] = jobs["root_cause"].astype(object).where(some(0.8))
    return History(to_schema(jobs))


@pytest.fixture
def rough(book):
    shop = rough_shop()
    book.add_history(shop, by=ADA)
    ids = shop.jobs["job_id"].tolist()
    for later, earlier, same in ((ids[40], ids[3], True), (ids[90], ids[40], True),
                                 (ids[200], ids[3], False)):  # fmt: skip
        body = {"job_id": later, "earlier_job_id": earlier, "same": same}
        book.put(SAME_UNIT, pair_key(later, earlier), body, by=ADA)
    gone = {"job_id": "gone", "earlier_job_id": ids[0], "same": True}
    book.put(SAME_UNIT, pair_key("gone", ids[0]), gone, by=ADA)
    # A correction: the first save still gives the job its place among the others.
    book.save(ids[7], {"price": "45.00"}, expected=1, by=ADA, what="correction")
    return book


def in_memory(book, **rules):
    history = book.history()
    return follow_up(
        history, links=exact_units(history, decisions=unit_decisions(book, history)), **rules
    )


def assert_same(found: LifeTable, expected: LifeTable) -> None:
    assert (found.by, found.causes, found.endings) == (
        expected.by, expected.causes, expected.endings,
    )  # fmt: skip
    pd.testing.assert_frame_equal(found.patterns, expected.patterns)
    pd.testing.assert_frame_equal(found.cells, expected.cells)
    assert found.units.tolist() == expected.units.tolist()
    assert by_unit(found) == by_unit(expected)


def by_unit(table: LifeTable) -> list[tuple[int, ...]]:
    """The cells of each unit that came several times, whatever the units are numbered."""
    return sorted(tuple(sorted(cells)) for _, cells in table.repeats.groupby("unit")["cell"])


def test_counts_are_those_of_the_rows(rough):
    asked = [(rules, GROUPINGS[1:2]) for rules in RULES[1:]]
    for rules, groupings in ((RULES[0], GROUPINGS), *asked):
        followup = in_memory(rough, **rules)
        assert len(followup.problems) > 50
        assert set(followup.episodes["end"]) >= {"return", "scrapped", "data_date"}
        assert (followup.episodes["days"] == 0.5).sum() > 20
        for by in groupings:
            found = count_in_book(rough, by, **rules)
            assert_same(found.table, life_table(followup, by))
            assert found.data_date == followup.data_date
            assert found.notes[-len(followup.notes) :] == followup.notes


def test_counts_of_some_hand_backs(rough):
    which = {
        "since": "2022-01-01",
        "until": "2024-12-31",
        "where": {"model": ("grinder", "water boiler"), "repair_number": ("2", "3+")},
    }
    found = count_in_book(rough, ("technician",), **which)
    assert_same(found.table, life_table(select(in_memory(rough), **which), ("technician",)))
    with pytest.raises(RequestError, match=r"No job has model = kettle\. Recorded: contact grill"):
        count_in_book(rough, where={"model": ("kettle",)})
    with pytest.raises(RequestError, match="leaves no hand-back"):
        count_in_book(rough, since="2099-01-01")
    with pytest.raises(RequestError, match="Can't group by 'customer'"):
        count_in_book(rough, ("customer",))
    with pytest.raises(RequestError, match="No unit was handed back"):
        count_in_book(rough, data_date="1999-01-01")


def test_an_empty_book_has_nothing_to_count(book):
    with pytest.raises(RequestError, match="holds no job"):
        count_in_book(book)


def test_decisions_that_contradict_each_other(rough):
    ids = rough.history().jobs["job_id"].tolist()
    body = {"job_id": ids[3], "earlier_job_id": ids[90], "same": False}
    rough.put(SAME_UNIT, pair_key(ids[3], ids[90]), body, by=ADA)
    for count in (count_in_book, in_memory):
        with pytest.raises(RequestError, match="contradict each other"):
            count(rough)


def jobs_of(*rows: tuple) -> History:
    names = ("unit_serial", "received", "handed_back", "model", "customer", "root_cause")
    frame = pd.DataFrame(rows, columns=names)
    frame["job_id"] = [f"J{row}" for row in range(len(frame))]
    for name in ("received", "handed_back"):
        frame[name] = pd.to_datetime(frame[name])
    return History(to_schema(frame))


def test_counts_by_hand(book):
    book.add_history(
        jobs_of(
            ("WB-1001", "2026-01-01", "2026-01-05", "boiler", "a", "cord"),
            ("wb 1001", "2026-02-04", "2026-02-04", "boiler", "a", "plug"),  # after 30 days
            ("WB1001", "2026-02-04", None, "boiler", "a", None),  # the same day
            ("WB-1002", "2026-01-01", "2026-01-05", "boiler", "b", "cord"),
            (None, "2026-01-01", "2026-01-25", "boiler", "b", "cord"),
            (None, "2026-01-02", "2026-01-25", "boiler", "b", "cord"),
        ),
        by=ADA,
    )
    found = count_in_book(book, data_date="2026-03-06", follow="all")
    assert found.table.causes == ("plug", "unknown")
    assert found.table.cells.to_numpy().tolist() == [
        [0, 0.5, 2, 1],
        [0, 30, 1, 1],
        [0, 40, 0, 2],
        [0, 60, 0, 1],
    ]
    assert by_unit(found.table) == [(0, 1)]
    assert found.table.units.tolist() == [4]
    notes = {note.code: note.jobs for note in found.notes}
    assert notes["no_serial"] == 2
    assert found.rows == 5  # four of counts, and one of jobs that are no episodes


def test_equal_serials_are_those_of_the_linker():
    jobs = rough_shop()
    found = exact_units(jobs)
    nothing_else = jobs.jobs.assign(customer=None, phone=None, postcode=None)
    everything = exact_units(History(to_schema(nothing_else)))
    linked = link_units(jobs, link_at=1.0, review_from=1.0)
    assert found.unit_of_job.tolist() == linked.unit_of_job.tolist()
    assert [note for note in found.notes if note.code == "filler_serials"]
    assert len(set(everything.unit_of_job)) < len(set(found.unit_of_job))  # without customers, no
    assert not [note for note in everything.notes if note.code == "filler_serials"]  # word is told
