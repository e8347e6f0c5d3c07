"""A customer's data go, everywhere; what happened to their units, and every count, stays."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from insights.errors import BookError, NotAllowed, RequestError
from insights.followup import follow_up
from insights.history.book.access_log import accesses
from insights.history.book.book import Book
from insights.history.book.decisions import unit_decisions
from insights.history.book.drafts import draft_of, keep_draft, key_of
from insights.history.book.engines import writing
from insights.history.book.entries import Settings
from insights.history.book.erasing import erase_customer, erase_groups, jobs_of
from insights.history.book.kept_links import kept_links
from insights.history.book.naming import marks_of, without
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.retention import overdue, retention_days, set_retention, wipe_overdue
from insights.history.schema import History
from insights.history.units import Links, link_units
from insights.survival.curves import return_curves
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

ADA, BO = Person("Ada"), Person("Bo", "bench")
PERSONAL = ["customer", "postcode", "phone", "complaint", "notes"]
CARD = {
    "received": "2024-03-01",
    "model": "boiler",
    "unit_serial": "WB-12345",
    "customer": "Café Rosalind 7",
    "postcode": "XQ4 9ZZ",
    "phone": "0555 010-7788",
    "complaint": "The Rosalind boiler drips",
    "notes": "call after six",
    "handed_back": "2024-03-05",
    "term_days": "180",
}


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return create_book(tmp_path / "book.db", Settings(), ADA)


@pytest.fixture
def one(book: Book) -> Book:
    """Two customers; the first job was first written down under the other's name."""
    first = book.receive({**CARD, "customer": "Tomas 9"}, by=BO, bench={"seal": "whole"})
    book.save(first.job_id, {"customer": CARD["customer"]}, expected=1, by=BO, what="correction")
    later = {**CARD, "received": "2024-05-01", "handed_back": "2024-05-02"}
    said = {"asked": {"phone": "0555 010 7788", "by": "Bo"}, "photo": "IMG 12"}
    book.receive({**later, "customer": "CAFÉ ROSALIND-7"}, by=BO, bench=said)
    other = {"customer": "Tomas 9", "phone": "0555 999999", "postcode": "ZZ1 1AA"}
    book.receive({**CARD, **other, "complaint": "cold", "notes": ""}, by=BO)
    return book


def links(book: Book) -> Links:
    history = book.history()
    return link_units(history, decisions=unit_decisions(book, history))


def everything_in(book: Book) -> bytes:
    """Read the file and what stands beside it, byte by byte."""
    here = Path(book.name)
    return b"".join(path.read_bytes() for path in sorted(here.parent.glob(f"{here.name}*")))


def test_a_customer_goes_from_every_version_and_from_the_file(one: Book) -> None:
    book = one
    row = {"row": 7, "given": ["J9", "Café Rosalind 7", "tel 05550107788", "drips"]}
    book.put("refused", "1", {"rows": [row, {"row": 8, "given": ["J8", "Tomas 9"]}]}, by=BO)
    keep_draft(book, key_of(BO, "findings", "J000002"), {"entries": {"x": "y"}}, by=BO)
    keep_draft(book, key_of(BO, "take in", ""), {"entries": {"customer": "café rosalind 7"}}, by=BO)
    keep_draft(book, key_of(BO, "take in", "b"), {"entries": {"customer": "Tomas 9"}}, by=BO)
    assert b"Rosalind" in everything_in(book)
    done = erase_customer(book, "café rosalind 7", by=ADA)
    assert (done.customers, done.jobs, done.versions) == (1, 2, 3)
    assert (done.records, done.drafts, done.files_clean) == (1, 2, True)
    left = everything_in(book)
    for text in ("Rosalind", "ROSALIND", "XQ4", "call after six", "010-7788", "010 7788"):
        assert text.encode() not in left, text
    assert draft_of(book, key_of(BO, "take in", "b")) is not None
    rows = book.get("refused", "1").body["rows"]
    assert rows[0]["given"][1].startswith("erased-")
    assert rows[1]["given"] == ["J8", "Tomas 9"]


def test_one_random_reference_takes_the_place_of_theirs(one: Book) -> None:
    erase_customer(one, CARD["customer"], by=ADA)
    jobs = one.history().jobs
    reference = jobs["customer"].iloc[0]
    assert str(reference).startswith("erased-")
    assert list(jobs["customer"] == reference) == [True, True, False]
    assert jobs.loc[:1, PERSONAL[1:]].isna().all(axis=None)
    assert jobs.loc[2, "phone"] == "0555 999999"
    known = one.job("J000002")
    assert known.bench == {"asked": {"phone": None, "by": "Bo"}, "photo": "IMG 12"}
    assert (known.number, known.what, known.saved_by) == (2, "erased", "Ada")
    with closing(sqlite3.connect(one.name)) as raw:
        signs = raw.execute(
            "SELECT customer_sign, phone_sign FROM heads ORDER BY job_id"
        ).fetchall()
        assert signs[0] == signs[1] == (str(reference).upper().replace("-", ""), None)


def test_the_first_customer_of_a_corrected_card_goes_too(one: Book) -> None:
    done = erase_customer(one, "tomas 9", by=ADA)
    assert (done.jobs, done.versions) == (1, 2)  # their own job, and the card's first version
    assert b"Tomas" not in everything_in(one)
    assert one.job("J000001").values["customer"] == CARD["customer"]


def test_the_book_as_it_was_known_keeps_its_statistics(one: Book) -> None:
    before = datetime.now(tz=UTC)
    was = one.history(before).jobs
    erase_customer(one, CARD["customer"], by=ADA)
    now = one.history(before).jobs
    pd.testing.assert_frame_equal(now.drop(columns=PERSONAL), was.drop(columns=PERSONAL))
    assert "Rosalind" not in now.to_csv()


def test_the_log_tells_who_erased_how_much_and_names_nobody(one: Book) -> None:
    erase_customer(one, CARD["customer"], by=ADA)
    newest = accesses(one, by=ADA).iloc[0]
    assert (newest["who"], newest["did"], newest["what"]) == (
        "Ada",
        "erased",
        "customers: 1, jobs: 2",
    )


def test_only_an_owner_erases_and_only_whom_the_book_knows(one: Book) -> None:
    with pytest.raises(NotAllowed):
        erase_customer(one, CARD["customer"], by=BO)
    with pytest.raises(NotAllowed):
        set_retention(one, 365, by=BO)
    with pytest.raises(NotAllowed):
        wipe_overdue(one, date(2030, 1, 1), by=BO)
    for nobody in ("Café", "n/a", ""):
        with pytest.raises(RequestError, match="No job names"):
            erase_customer(one, nobody, by=ADA)


def test_nothing_else_can_be_changed_by_the_same_door(one: Book) -> None:
    with closing(sqlite3.connect(one.name)) as raw:
        for change in (
            "UPDATE versions SET customer = 'Other'",
            "UPDATE versions SET bench = '{}'",
            "UPDATE versions SET customer = 'erased-1', model = 'x'",
            "UPDATE versions SET customer = 'erased-1', families = '{}'",
            "UPDATE records SET body = '{}'",
            "UPDATE records SET body = 'erased-', key = 'x'",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="only ever adds"):
                raw.execute(change)


@pytest.fixture(scope="module")
def shop() -> History:
    made, _ = generate(cafe_workshop(jobs=500))
    return made


@pytest.fixture
def full(book: Book, shop: History) -> Book:
    book.add_history(shop, by=ADA)
    return book


def test_counts_curves_and_units_stay_when_a_twelfth_of_the_customers_go(full: Book) -> None:
    customers = full.history().jobs["customer"].dropna().unique()[::12]
    before, was = full.history(), links(full)
    done = erase_groups(
        full, {sign: jobs_of(full, sign) for sign in (str(name) for name in customers)}, by=ADA
    )
    after, now = full.history(), links(full)
    assert done.customers == len(customers)
    assert done.jobs == before.jobs["customer"].isin(customers).sum() > 20
    np.testing.assert_array_equal(now.unit_of_job, was.unit_of_job)
    pd.testing.assert_frame_equal(
        after.jobs.drop(columns=PERSONAL), before.jobs.drop(columns=PERSONAL)
    )
    day = date(2025, 6, 30)
    curves = [
        return_curves(follow_up(jobs, links=known, data_date=day)).at
        for jobs, known in ((before, was), (after, now))
    ]
    pd.testing.assert_frame_equal(*curves)


def test_links_that_rest_on_what_goes_are_kept_by_decisions(shop: History) -> None:
    """Wiping the customers of every likeness link, each as another: the units fall apart."""
    jobs = shop.jobs.copy()
    was = link_units(shop)
    linked = was.pairs[was.pairs["status"] == "linked"]
    theirs = jobs["job_id"].isin([*linked["job_id"], *linked["earlier_job_id"]])
    assert theirs.sum() > 10
    jobs.loc[theirs, "customer"] = [f"erased-{n}" for n in range(int(theirs.sum()))]
    jobs.loc[theirs, ["postcode", "phone"]] = pd.NA
    wiped = History(jobs=jobs, source=shop.source, currency=shop.currency)
    assert (link_units(wiped).unit_of_job != was.unit_of_job).any()
    none = pd.DataFrame(columns=["job_id", "earlier_job_id", "same"], dtype=object)
    kept = kept_links(shop, wiped, none)
    assert len(kept)
    np.testing.assert_array_equal(link_units(wiped, decisions=kept).unit_of_job, was.unit_of_job)


def test_the_limit_counts_from_the_end_of_the_last_warranty(one: Book) -> None:
    assert retention_days(one) is None
    assert overdue(one, date(2040, 1, 1)).empty
    set_retention(one, 365, by=ADA)
    # 2 May 2024 and 180 days: 29 October 2024; a year later nothing is open any more.
    assert list(overdue(one, date(2025, 10, 29))["customer"]) == ["Tomas 9"]
    late = overdue(one, date(2025, 10, 30))
    assert list(late["jobs"]) == [1, 2]
    assert late["since"].iloc[1] == pd.Timestamp("2024-10-29")
    done = wipe_overdue(one, date(2025, 10, 30), by=ADA)
    assert (done.customers, done.jobs) == (2, 3)
    assert overdue(one, date(2040, 1, 1)).empty
    assert wipe_overdue(one, date(2040, 1, 1), by=ADA).customers == 0


def test_a_unit_on_the_bench_keeps_its_customer(one: Book) -> None:
    set_retention(one, 365, by=ADA)
    here = {**CARD, "customer": "Tomas 9", "received": "2025-01-02", "handed_back": None}
    one.receive(here, by=BO)
    assert list(overdue(one, date(2040, 1, 1))["customer"]) == ["CAFÉ ROSALIND-7"]


def test_too_short_a_limit_is_refused_and_no_limit_is_a_choice(one: Book) -> None:
    with pytest.raises(RequestError, match="shorter than 30"):
        set_retention(one, 29, by=ADA)
    set_retention(one, 30, by=ADA)
    set_retention(one, None, by=ADA)
    assert retention_days(one) is None


def test_a_name_is_found_as_a_word_and_a_number_by_its_digits() -> None:
    marks = marks_of(["Rosa", "C1", None], ["0555 010-7788", ""])
    assert without({"x": "for ROSA today"}, marks, "R") == {"x": "R"}
    assert without({"x": "Rosalind"}, marks, "R") == {"x": "Rosalind"}
    assert without("c1 ", marks, "R") == "R"
    assert without("lot C1 of May", marks, "R") == "lot C1 of May"
    assert without("ring (0555) 0107788", marks, "R") == "R"
    beside = {"customer": "Rosa", "Postcode": "X1", "phone": None, "model": "boiler", "n": 3}
    assert without([beside], marks, "R") == [{**beside, "customer": "R", "Postcode": None}]


def test_a_book_on_a_server_erases_alike(empty_database, model_book) -> None:
    book = open_book(empty_database(model_book))
    for received in ("2024-03-01", "2024-04-01"):
        book.receive({**CARD, "received": received, "handed_back": None}, by=BO)
    book.put("refused", "1", {"given": ["x", CARD["customer"]]}, by=BO)
    done = erase_customer(book, CARD["customer"], by=ADA)
    assert (done.jobs, done.versions, done.records) == (2, 2, 1)
    assert len(set(book.history().jobs["customer"])) == 1
    assert "Rosalind" not in str([book.versions_of(job_id) for job_id in ("J000001", "J000002")])
    for change in (
        "UPDATE versions SET customer = 'Other'",
        "UPDATE versions SET customer = 'erased-1', model = 'x'",
        "UPDATE records SET body = '{}'",
        "UPDATE access_log SET who = 'x'",
        "DELETE FROM access_log",
    ):
        with (
            pytest.raises(BookError, match="only ever adds"),
            writing(book.engine, book.name) as connection,
        ):
            connection.exec_driver_sql(change)
    book.engine.dispose()
