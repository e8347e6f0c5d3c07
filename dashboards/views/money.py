"""Warranties: what to promise, what to hold, and whether earlier forecasts came true."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data
from dashboards.asking import money as money_asking
from dashboards.data import Source
from dashboards.data import money as money_data
from dashboards.data import review as review_data
from dashboards.figures import money as picture
from dashboards.selection import Selection
from insights import wording
from insights.tables import money as tables_money
from insights.wording import calls as wording_calls
from insights.wording import money as wording_money


def show() -> None:
    """Draw the page."""
    answer.title("Warranties", "What does each term cost, how much to hold, and were we right?")
    record = controls.source()
    selection = controls.filters(record)
    assumed = money_asking.assumptions(data.history(record).currency)
    quote = money_data.quote(record, selection, assumed)
    promised = wording_money.of_quote(quote)
    palette = answer.palette()
    st.header("What to promise", anchor=False)
    answer.say(promised)
    if record.is_book:
        _not_brought(record, selection)
    answer.figure(picture.draw_quote(quote, palette), key="warranty-terms", alt=promised.sentence)
    answer.table(
        tables_money.of_quote(quote),
        key="warranty-quote",
        alt="Claims and cost by term",
        numbers=quote.table,
    )
    _held(record, selection, assumed.claim_cost)
    _score(record, selection)
    answer.keep_in_mind(promised)
    with st.expander("How this is worked out"):
        st.markdown(quote.method)


def _not_brought(record: Source, selection: Selection) -> None:
    failed = review_data.failed_by_book(record, selection, wording.HEADLINE_DAY)
    if failed is not None:
        st.markdown(wording_calls.of_quoted(failed))


def _held(record: Source, selection: Selection, claim_cost: object) -> None:
    st.header("What to hold", anchor=False)
    cost = claim_cost if isinstance(claim_cost, float) else None
    reserve = money_data.held(record, selection, cost)
    found = wording_money.of_reserve(reserve)
    answer.say(found)
    answer.figure(
        picture.draw_months(reserve, answer.palette()), key="warranty-months", alt=found.sentence
    )
    answer.table(
        tables_money.of_months(reserve),
        key="warranty-reserve",
        alt="Money that falls due, by month",
        numbers=reserve.months,
    )


def _score(record: Source, selection: Selection) -> None:
    st.header("Were we right?", anchor=False)
    score = money_data.score(record, selection)
    found = wording_money.of_backtest(score)
    answer.say(wording.Finding(found.sentence))
    answer.figure(
        picture.draw_score(score, answer.palette()), key="warranty-score", alt=found.sentence
    )
    if not score.scores.empty:
        answer.table(
            tables_money.of_scores(score),
            key="warranty-scores",
            alt="How earlier quotes and reserves would have done",
            numbers=score.table,
        )
