"""What is chosen survives the way into an address and back."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.markup import literal
from dashboards.selection import Selection, from_address, label_of, to_address

DAY = st.dates(dt.date(1990, 1, 1), dt.date(2190, 1, 1)).map(lambda day: day.isoformat())
NAMES = st.lists(st.text(min_size=1, max_size=8), max_size=3, unique=True).map(tuple)
SELECTIONS = st.builds(
    Selection,
    since=st.none() | DAY,
    until=st.none() | DAY,
    model=NAMES,
    technician=NAMES,
    follow=st.sampled_from(["covered", "all"]),
    count=st.sampled_from(["all", "faults", "covered"]),
    by=st.none() | st.sampled_from(["", "model", "practice_switch"]),
)


@settings(derandomize=True, max_examples=60)
@given(SELECTIONS)
def test_there_and_back(selection):
    assert from_address(to_address(selection)) == (selection, ())


def test_the_usual_choice_leaves_the_address_empty():
    assert to_address(Selection()) == {}


def test_what_means_nothing_is_named_and_the_rest_is_used():
    selection, refused = from_address(
        {"count": ["everything"], "since": ["09/03/2026"], "page": ["2"], "model": ["boiler"]}
    )
    assert selection == Selection(model=("boiler",))
    assert refused == ("count = everything", "since = 09/03/2026", "page = 2")


def test_only_columns_with_values_are_filtered_by():
    assert Selection(technician=("Ada",)).where == {"technician": ("Ada",)}


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("practice_contact_pair", "Practice: contact pair"),
        ("lot_heating_element", "Lot of heating element"),
        ("month", "Month of hand-back"),
        ("earlier_repair", "Earlier repair"),
    ],
)
def test_columns_are_named_in_words(name, label):
    assert label_of(name) == label


def test_no_sign_of_the_records_own_is_markup():
    assert literal("a_b *c* <d>.csv") == r"a\_b \*c\* \<d\>.csv"
