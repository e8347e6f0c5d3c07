"""The page about a practice: its numbers are the analysis's own, and money answers at once."""

from __future__ import annotations

import pytest
from screen import answers, charts, page_text

from insights.evidence.practice import compare_practice
from insights.followup import follow_up
from insights.history.intake import read_history
from insights.money.costs import ComebackCost, Costs, comeback_cost_from_record
from insights.money.payback import payback
from insights.wording import practice as wording_practice

PAGE = "Does it work?"


@pytest.fixture(scope="module")
def followup(shop_file):
    return follow_up(read_history(shop_file))


@pytest.fixture(scope="module")
def evidence(followup):
    return compare_practice(followup, "contact_pair", level="both", against="one")


def payback_of(evidence, costs: Costs) -> str:
    pays = payback(-evidence.draws, costs, risk_without=evidence.adjusted.risk_against)
    return wording_practice.for_money(evidence, pays).sentence


def test_the_answer_is_the_analysis_own(open_app, shop_file, evidence):
    app = open_app(shop_file, PAGE)
    assert not app.exception
    assert answers(app)[0] == wording_practice.of_practice(evidence).sentence
    shown = charts(app)
    assert set(shown) == {"practice-estimates", "practice-balance", "practice-overlap"}
    assert "Keep in mind" in page_text(app)


def test_costs_answer_without_another_comparison(open_app, shop_file, followup, evidence):
    app = open_app(shop_file, PAGE)
    recorded = comeback_cost_from_record(followup)
    before = answers(app)
    assert before[1] == payback_of(evidence, Costs(2.0, 2.0, 40.0, recorded))
    app.checkbox(key="practice-recorded").uncheck().run()
    app.slider(key="practice-comeback").set_value(120).run()
    app.slider(key="practice-part").set_value(0.5).run()
    assert answers(app)[1] == payback_of(evidence, Costs(0.5, 2.0, 40.0, ComebackCost(120.0)))
    assert answers(app)[0] == before[0]


def test_safety_work_is_not_weighed(open_app, shop_file):
    app = open_app(shop_file, PAGE)
    app.checkbox(key="practice-safety").check().run()
    assert "not weighed against money" in page_text(app)
    assert not any("It pays" in sentence or "a job (" in sentence for sentence in answers(app))


def test_another_question_gets_another_answer(open_app, shop_file, followup):
    app = open_app(shop_file, PAGE)
    app.selectbox(key="practice-population").set_value("all").run()
    app.multiselect(key="practice-controls-").set_value(["cord"]).run()
    asked = compare_practice(
        followup,
        "contact_pair",
        level="both",
        against="one",
        population="all",
        control_causes=("cord",),
    )
    assert answers(app)[0] == wording_practice.of_practice(asked).sentence


def test_other_practices_are_exploration(open_app, shop_file):
    app = open_app(shop_file, PAGE)
    app.toggle(key="practice-explore").set_value(True).run()
    tables = [table.value for table in app.table]
    many = next(table for table in tables if "Stands out" in table.columns)
    assert many["Asked as"].tolist() == ["declared", *["exploration"] * (len(many) - 1)]


def test_a_trial_has_its_cards(open_app, shop_file):
    app = open_app(shop_file, PAGE)
    tables = [table.value for table in app.table]
    looks = next(table for table in tables if "Look" in table.columns)
    assert looks["Look"].tolist() == ["1", "2", "3"]
    assert "contact pair" in page_text(app).replace("_", " ")


def test_a_record_without_practices_says_so(open_app, shop_frame, tmp_path):
    path = tmp_path / "plain.csv"
    practices = [name for name in shop_frame.columns if name.startswith("practice_")]
    shop_frame.drop(columns=practices).to_csv(path, index=False, date_format="%Y-%m-%d")
    assert "Nothing to compare" in page_text(open_app(path, PAGE))
