"""What is worked out ahead of a visit is what the page asks for at first."""

from __future__ import annotations

import importlib

import pytest
from screen import answers

from dashboards import ahead, data
from dashboards.data import answers as data_answers
from dashboards.server import SOURCE_VARIABLE

PAGES = {
    "Does it work?": ("practice", ["compare_practice"]),
    "Better or worse": ("review", ["cohorts", "review", "costs_by_cause"]),
    "Trouble early": ("watch", ["watch", "missing_practices"]),
    "Warranties": ("money", ["claims_curve", "reserve", "backtest"]),
}
SCORED = {"Warranties"}
"""Seconds of work."""


@pytest.mark.parametrize(
    "page",
    [pytest.param(page, marks=[pytest.mark.slow] if page in SCORED else []) for page in PAGES],
)
def test_a_visit_after_the_work_ahead_works_nothing_out(page, open_app, shop_file, monkeypatch):
    name, questions = PAGES[page]
    monkeypatch.setenv(SOURCE_VARIABLE, str(shop_file))
    module = importlib.import_module(f"dashboards.data.{name}")
    module.warm(data.first_source())

    def again(*_args, **_options):
        raise AssertionError("worked out again")

    for question in questions:
        monkeypatch.setattr(module, question, again)
    app = open_app(shop_file, page)
    assert not app.exception
    assert answers(app)


def test_the_record_too(open_app, shop_file, monkeypatch):
    monkeypatch.setenv(SOURCE_VARIABLE, str(shop_file))
    data.warm_record(data.first_source())

    def again(*_args, **_options):
        raise AssertionError("worked out again")

    for question in ("suggest_headings", "relink"):
        monkeypatch.setattr(data_answers, question, again)
    app = open_app(shop_file, "The record")
    assert not app.exception


def test_only_a_large_record_is_worked_out_ahead(shop_file, monkeypatch):
    monkeypatch.setenv(SOURCE_VARIABLE, str(shop_file))
    assert not data.is_large()
    monkeypatch.setattr(data_answers, "LARGE", 100)
    assert data.is_large()


def test_a_record_that_cannot_answer_stops_no_other_page(tmp_path, monkeypatch):
    few = tmp_path / "few.csv"
    few.write_text("job_id,model,received,handed_back\n1,kettle,2025-01-02,2025-01-05\n", "utf-8")
    monkeypatch.setenv(SOURCE_VARIABLE, str(few))
    warmed = []
    for name, _ in PAGES.values():
        module = importlib.import_module(f"dashboards.data.{name}")
        warm = module.warm
        monkeypatch.setattr(
            module, "warm", lambda source, name=name, warm=warm: (warmed.append(name), warm(source))
        )
    ahead._the_other_pages(data)
    assert sorted(warmed) == sorted(name for name, _ in PAGES.values())
