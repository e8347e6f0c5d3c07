"""The page about warranties: its numbers are the analysis's own, and assumptions answer at once."""

from __future__ import annotations

import pytest
from screen import answers, charts, page_text

from insights.followup import follow_up
from insights.history.intake import read_history
from insights.money.assumptions import USUAL_TERMS as TERMS
from insights.money.backtest import backtest
from insights.money.quote import quote_warranty
from insights.money.reserve import reserve
from insights.wording import money as wording_money

PAGE = "Warranties"


@pytest.fixture(scope="module")
def followup(shop_file):
    return follow_up(read_history(shop_file))


def test_quote_reserve_and_score_are_the_analysis_own(open_app, shop_file, followup):
    app = open_app(shop_file, PAGE)
    assert not app.exception
    assert answers(app) == [
        wording_money.of_quote(quote_warranty(followup, TERMS, price=90.0)).sentence,
        wording_money.of_reserve(reserve(followup)).sentence,
        wording_money.of_backtest(backtest(followup)).sentence,
    ]
    assert set(charts(app)) == {"warranty-terms", "warranty-months", "warranty-score"}
    assert "statutory rights" in page_text(app)


@pytest.mark.slow
def test_assumptions_change_the_quote_and_not_the_score(open_app, shop_file, followup):
    app = open_app(shop_file, PAGE)
    before = answers(app)
    app.checkbox(key="money-recorded").uncheck().run()
    app.slider(key="money-claim-cost").set_value(120).run()
    app.selectbox(key="money-kind").set_value("renewing").run()
    after = answers(app)
    wanted = quote_warranty(followup, TERMS, claim_cost=120.0, kind="renewing", price=90.0)
    assert after[0] == wording_money.of_quote(wanted).sentence
    assert after[1] == wording_money.of_reserve(reserve(followup, claim_cost=120.0)).sentence
    assert after[2] == before[2]


def test_every_term_is_in_the_table_also_the_refused(open_app, shop_file):
    app = open_app(shop_file, PAGE)
    tables = [table.value for table in app.table]
    terms = next(table for table in tables if "Charge to be safe" in table.columns)
    assert terms["Term"].tolist() == [f"{term}\u00a0days" for term in TERMS]
    refused = terms[terms["Claims of 100 jobs"] == "not quoted"]
    assert (refused["Remark"] != "").all()
