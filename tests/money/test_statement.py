"""A quote kept and read again; the customer's page says what the owner chose, and runs nothing."""

from __future__ import annotations

import json
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shop import fleet, followed

from insights.errors import RequestError, SourceError
from insights.money.quote import quote_warranty
from insights.money.saved_quote import read_quote, save_quote
from insights.money.statement import Statement, warranty_page

CAUTION = "This adds to your statutory rights and never reduces them. Not legal advice."


class Page(HTMLParser):
    """Tags and text of a page."""

    def __init__(self):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.text.append(data)


def parsed(page: str) -> Page:
    reader = Page()
    reader.feed(page)
    return reader


def statement(**changed) -> Statement:
    facts = {
        "workshop": "Three Benches, 4 Mill Lane",
        "repaired": "Milk steamer, contacts cleaned and switch renewed",
        "starts_on": "2026-03-09",
        "term_days": 180,
        "caution": CAUTION,
        "jurisdiction": "England and Wales",
        "exclusions": ("Limescale", "Mains lead cut or crushed"),
    }
    return Statement(**(facts | changed))


def test_the_last_day_is_the_last_on_which_a_claim_counts():
    # Handed back on 9 March 2026; 180 days later is 5 September.
    assert statement().last_day == pd.Timestamp("2026-09-05")
    rows = fleet(1, (180,), term_days=180)
    inside = followed(*rows, count="covered")
    assert inside.return_count == 1
    assert followed(*fleet(1, (181,), term_days=180), count="covered").return_count == 0


def test_the_page_says_what_the_owner_chose():
    page = warranty_page(statement(customer="Cafe Nine", job_id="J-77"))
    text = " ".join(" ".join(parsed(page).text).split())
    for wanted in (
        "Three Benches, 4 Mill Lane",
        "Cafe Nine",
        "J-77",
        "9 March 2026",
        "180 days",
        "5 September 2026",
        "Limescale",
        "Mains lead cut or crushed",
        "put it right without charge",
        "does not lengthen it",
        CAUTION,
        "Law that applies: England and Wales",
    ):
        assert wanted in text
    assert "Not covered" not in warranty_page(statement(exclusions=()))


def test_what_happens_after_a_claim_follows_the_kind():
    assert "starts it again" in warranty_page(statement(kind="renewing"))
    refund = warranty_page(statement(kind="pro_rata"))
    assert "refund a part of the price" in refund
    assert "put it right without charge" not in refund


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.text(min_size=1).filter(str.strip))
def test_nothing_written_into_it_can_run_or_load(text):
    hostile = f"<script>alert(1)</script><img src=x onerror=y>{text}</td>{{after}}"
    plain = parsed(warranty_page(statement()))
    page = warranty_page(
        statement(
            workshop=hostile,
            repaired=hostile,
            jurisdiction=hostile,
            caution=hostile,
            exclusions=(hostile, hostile),
        )
    )
    found = parsed(page)
    assert found.tags == plain.tags
    assert found.attributes == plain.attributes
    assert not {"script", "img", "link", "iframe"} & set(found.tags)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"term_days": 0}, "term"),
        ({"term_days": -30}, "term"),
        ({"starts_on": "9/3/2026"}, "not a date"),
        ({"kind": "forever"}, "forever"),
        ({"caution": " "}, "needs its caution"),
        ({"jurisdiction": ""}, "needs its jurisdiction"),
        ({"workshop": ""}, "needs its workshop"),
    ],
)
def test_a_statement_without_its_parts_is_refused(changed, words):
    with pytest.raises(RequestError, match=words):
        statement(**changed)


def quote(**assumed):
    return quote_warranty(followed(*fleet(60, (10, 50))), [90, 180, 730], **assumed)


def test_a_quote_comes_back_as_it_was_saved(tmp_path):
    made = quote(claim_cost=(20.0, 60.0), kind="renewing", batch=200)
    path = tmp_path / "quote.json"
    saved = save_quote(made, path, "2026-12-31")
    again = read_quote(path)
    pd.testing.assert_frame_equal(again.table, made.table)
    assert again.assumptions == made.assumptions == saved.assumptions
    assert (again.made_on, again.data_date) == (pd.Timestamp("2026-12-31"),) * 2
    assert (again.mix, again.jobs, again.claims) == ("all jobs", 60, 2)
    data = json.loads(path.read_text("utf-8"))
    assert data["made_on"] == "2026-12-31"
    assert data["assumptions"]["kind"] == "renewing"
    assert data["table"][2]["claims_per_100"] is None


def test_a_quote_without_costs_comes_back_too(tmp_path):
    path = tmp_path / "quote.json"
    save_quote(quote(), path, "2026-12-31")
    again = read_quote(path)
    assert again.assumptions.claim_cost is None
    assert again.table["cost_per_job"].isna().all()
    assert np.isnan(again.mean_claim_cost)


@pytest.mark.parametrize(
    ("text", "words"),
    [("{", "not JSON"), ("[]", "not a saved quote"), ('{"format": "other"}', "not a saved quote")],
)
def test_what_is_no_saved_quote_is_refused(tmp_path, text, words):
    path = tmp_path / "other.json"
    path.write_text(text)
    with pytest.raises(SourceError, match=words):
        read_quote(path)


def test_a_quote_that_lost_a_part_is_refused(tmp_path):
    path = tmp_path / "quote.json"
    save_quote(quote(), path, "2026-12-31")
    data = json.loads(path.read_text("utf-8"))
    del data["data_date"]
    path.write_text(json.dumps(data))
    with pytest.raises(SourceError, match="lacks data_date"):
        read_quote(path)


def test_places_that_can_not_be_written_or_read_are_named(tmp_path):
    with pytest.raises(RequestError, match="can't be written"):
        save_quote(quote(), tmp_path / "missing" / "quote.json", "2026-12-31")
    with pytest.raises(SourceError, match="can't be read"):
        read_quote(tmp_path / "missing.json")
    with pytest.raises(RequestError, match="not a date"):
        save_quote(quote(), tmp_path / "quote.json", "yesterday")
