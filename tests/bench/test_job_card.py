"""The card that stays with the unit."""

from __future__ import annotations

from insights.bench.job_card import job_card_page
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person


def test_the_card_says_what_is_known_and_loads_nothing(tmp_path):
    settings = Settings(workshop="Counter & Sons")
    book = create_book(tmp_path / "book.db", settings, Person("Ada"))
    job = book.receive(
        {"received": "2026-03-02", "model": "grill", "complaint": "<b>trips</b>"},
        by=Person("Ada"),
    )
    card = job_card_page(job, settings, ("Job J000000: cord.",))
    assert "<h1>J000001</h1>" in card
    for said in ("2 March 2026", "Counter &amp; Sons", "&lt;b&gt;trips", "cord."):
        assert said in card
    assert "Mains can kill" in card
    for loading in ("<script", "src=", "href=", "url("):
        assert loading not in card
