"""Call in: units still out with a suspect part or from a suspect period."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data, looking, who
from dashboards.asking import watch as watch_asking
from dashboards.data import Source
from dashboards.data import watch as watch_data
from insights.reviewing.recall import Recall
from insights.tables import watch as tables_watch
from insights.wording import watch as wording_watch


def show() -> None:
    """Draw the page."""
    answer.title("Call in", "Which units are still out with it, and does it pay to call them in?")
    record = controls.source()
    rules = controls.rules()
    wanted = watch_asking.remembered(watch_data.settings(record))
    done = watch_data.actions(record, watch_asking.given())
    signals = watch_data.signals(record, rules, wanted, done)
    charts = watch_data.suspects(record, rules, signals)
    if not charts:
        st.markdown("Nothing is recorded by which units could be called in.")
        return
    cost = watch_data.comeback_cost(record, rules)
    chart, days, costs, may_hurt = watch_asking.recall(charts, cost, data.history(record).currency)
    given = None if record.is_book else watch_asking.statuses_file()
    recall = watch_data.to_call_in(
        record, rules, chart, days, costs, may_hurt=may_hurt, given=given
    )
    found = wording_watch.of_recall(recall)
    answer.say(found)
    if len(recall.table):
        called = f"to call in: {len(recall.table)} units"
        looking.list_seen(record, called)
        noted = looking.noting(record, called)
        answer.table(
            tables_watch.of_recall(recall),
            key="to-call-in",
            alt="Units to call in, the likeliest to come back first",
            numbers=recall.table,
            before=noted,
        )

        def page() -> bytes:
            noted()
            return watch_data.page_of(recall, record, rules).encode("utf-8")

        st.download_button(
            "Page to print",
            data=page,
            file_name="to-call-in.html",
            mime="text/html",
            key="to-call-in-print",
            on_click="ignore",
        )
        _note(record, recall)
    answer.keep_in_mind(found)
    with st.expander("How this is worked out"):
        st.markdown(recall.method)


def _note(record: Source, recall: Recall) -> None:
    if not record.is_book or not who.may_write():
        return
    with st.expander("How far the calls are"):
        sent = watch_asking.status(recall.table["job_id"])
        if sent is not None:
            watch_data.note_status(recall.chart, *sent, who.current_person())
            st.rerun()
