"""What a form shows is read back as the same value, whatever the decimal mark."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from insights.history.book.as_typed import all_typed, as_typed
from insights.history.book.checking import checked
from insights.history.book.entries import Settings
from insights.history.declared import Declared

JOB = {
    "received": pd.Timestamp("2026-03-09"),
    "price": 1234.5,
    "parts_cost": 0.1,
    "bench_minutes": 7.25,
    "term_days": 180,
    "condition": 4,
    "customer": "C-1,5",
    "reading_insulation_mohm": 1e-7,
}


@pytest.mark.parametrize("decimal", [".", ","])
def test_typed_and_read_again_it_is_the_same(decimal):
    settings = Settings(decimal=decimal)
    typed = all_typed(JOB, [*JOB, "notes"], settings)
    declared = Declared(decimal=decimal)
    read = checked(typed, digits=2, declared=declared, today=date(2026, 4, 1))
    assert read == {**JOB, "notes": None}


def test_money_is_written_with_the_currencys_decimals():
    assert as_typed("price", 45.5, Settings(decimal=",")) == "45,50"
    assert as_typed("price", 45.0, Settings(minor_digits=0)) == "45"
    assert as_typed("bench_minutes", 45.0, Settings()) == "45"
    assert as_typed("received", pd.Timestamp("2026-03-09"), Settings()) == "2026-03-09"
