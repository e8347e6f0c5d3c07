"""What a customer reads: what was chosen, nothing that runs, the law's rights named."""

from __future__ import annotations

from html.parser import HTMLParser

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from insights.bench.summary import DECISIONS, NOT_RETURNED, Summary, summary_page
from insights.errors import RequestError
from insights.history import schema
from insights.wording import STATUTORY


class Page(HTMLParser):
    """Tags and text of a page."""

    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(attrs)))

    def handle_data(self, data):
        self.text.append(data)


def summary(**changed) -> Summary:
    facts = {
        "workshop": "Three Benches, 4 Mill Lane",
        "job_id": "J0000077",
        "model": "milk steamer",
        "received": pd.Timestamp("2026-03-02"),
        "caution": STATUTORY,
        "jurisdiction": "England and Wales",
        "handed_back": pd.Timestamp("2026-03-09"),
        "term_days": 180,
    }
    return Summary(**(facts | changed))


def read(page: str) -> Page:
    reader = Page()
    reader.feed(page)
    return reader


def text_of(**changed) -> str:
    return " ".join(" ".join(read(summary_page(summary(**changed))).text).split())


def test_a_job_s_page():
    text = text_of(
        serial="MS-11",
        customer="Cafe Nine",
        complaint="no steam",
        found="contact",
        done="Contacts cleaned",
        price="58.00 GBP",
        readings=("Insulation 50 MΩ: in (at least 1 MΩ).",),
    )
    # 9 March 2026 and 180 days is 5 September.
    for wanted in (
        "milk steamer, MS-11",
        "Cafe Nine",
        "2 March 2026",
        "no steam",
        "58.00 GBP",
        "report a fault by 5 September 2026",
        "Insulation 50 MΩ",
        STATUTORY,
        "Law that applies: England and Wales",
    ):
        assert wanted in text
    assert "Who pays" not in text


@pytest.mark.parametrize("decision", schema.DECISIONS)
def test_a_comeback_s_page_says_who_pays_and_against_which_job(decision):
    text = text_of(index_job="J0000011", decision=decision, reason="Same contact, our part.")
    assert DECISIONS[decision] in text
    assert "earlier job J0000011" in text
    assert "Same contact, our part." in text


def test_an_undecided_comeback_is_called_so():
    assert DECISIONS["pending"] in text_of(index_job="J0000011")


def test_a_unit_not_returned_to_use_carries_a_warning_and_no_warranty():
    text = text_of(not_returned="Insulation failed; owner scraps it")
    assert NOT_RETURNED in text
    assert "owner scraps it" in text
    assert "Our warranty" not in text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"term_days": 0}, "no warranty of our own"),
        ({"handed_back": None}, "180 days from the day we hand it back"),
    ],
)
def test_other_terms(changed, words):
    assert words in text_of(**changed)


def test_no_term_no_word_of_it():
    assert "Our warranty" not in text_of(term_days=None)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.text(min_size=1).filter(str.strip))
def test_nothing_written_into_it_can_run_or_load(text):
    hostile = f"<script>alert(1)</script><img src=x onerror=y>{text}</td>{{body}}"
    fields = (
        "workshop",
        "model",
        "serial",
        "customer",
        "complaint",
        "found",
        "done",
        "price",
        "caution",
        "jurisdiction",
        "index_job",
        "reason",
        "not_returned",
    )
    plain = summary(**dict.fromkeys(fields, "plain"), readings=("plain",))
    hurt = summary(**dict.fromkeys(fields, hostile), readings=(hostile,))
    assert read(summary_page(hurt)).tags == read(summary_page(plain)).tags


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"workshop": " "}, "needs its workshop"),
        ({"caution": ""}, "needs its caution"),
        ({"jurisdiction": ""}, "needs its jurisdiction"),
        ({"decision": "free"}, "'free'"),
    ],
)
def test_a_summary_without_its_parts_is_refused(changed, words):
    with pytest.raises(RequestError, match=words):
        summary(**changed)
