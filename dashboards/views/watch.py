"""Trouble early: what sounds, what was done about it, and which practices are being left."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, opening, who
from dashboards.asking import watch as watch_asking
from dashboards.data import Source
from dashboards.data import watch as watch_data
from dashboards.figures import watch as picture
from dashboards.selection import Selection
from insights.errors import RequestError
from insights.reviewing.kept_watch import WatchSettings
from insights.reviewing.signals import Signals
from insights.tables import watch as tables_watch
from insights.wording import Finding
from insights.wording import watch as wording_watch


def show() -> None:
    """Draw the page."""
    answer.title(
        "Trouble early", "Is a lot, a cause, a model, a bench or a habit going wrong just now?"
    )
    record = controls.source()
    rules = controls.rules()
    wanted = watch_asking.wanted(watch_data.settings(record), watch_data.causes(record, rules))
    done = watch_data.actions(record, watch_asking.given())
    signals = watch_data.signals(record, rules, wanted, done)
    found = wording_watch.of_signals(signals)
    answer.say(found)
    if len(signals.table):
        answer.table(
            tables_watch.of_signals(signals),
            key="signals",
            alt="Signals, open ones first",
            numbers=signals.table,
        )
    _act(record, signals, wanted)
    if len(signals.charts):
        _one(signals)
        _all(signals)
    left_out = _practices(record, rules)
    answer.keep_in_mind(found.with_caveats(left_out.caveats))
    with st.expander("How this is worked out"):
        st.markdown(signals.method)
        answer.table(
            tables_watch.of_baselines(signals),
            key="watch-baselines",
            alt="What was usual, from when on, and the limit of each kind of chart",
            numbers=signals.baselines,
        )


def _act(record: Source, signals: Signals, wanted: WatchSettings) -> None:
    opening.link("call-in", "Units to call in")
    with st.expander("What was done about a signal"):
        if not record.is_book:
            watch_asking.actions_file()
            return
        if not who.may_write():
            st.markdown("You may read this book, not write in it.")
            return
        person = who.current_person()
        if wanted != watch_data.settings(record) and st.button(
            "Keep what is dangerous, and how often charts may sound", key="watch-keep"
        ):
            watch_data.note_settings(wanted, person)
            st.rerun()
        if signals.open.empty:
            st.markdown("No signal is open.")
            return
        sent = watch_asking.action(signals.open["chart"])
        if sent is None:
            return
        try:
            watch_data.note_action(*sent, person)
        except RequestError as error:
            answer.refuse(error)
            return
        st.rerun()


def _one(signals: Signals) -> None:
    st.header("One chart", anchor=False)
    chart = watch_asking.chart_of(signals)
    palette = answer.palette()
    answer.figure(
        picture.draw_seen(signals, chart, palette),
        key="watch-seen",
        alt=f"Seen and expected on the chart {chart}, added up by day.",
    )
    answer.figure(
        picture.draw_level(signals, chart, palette),
        key="watch-level",
        alt=f"Evidence for a change on the chart {chart}, as a share of its limit.",
    )


def _all(signals: Signals) -> None:
    with st.expander("Every chart as it stands"):
        answer.table(
            tables_watch.of_charts(signals),
            key="charts",
            alt="Every chart: seen, expected, how near its limit",
            numbers=signals.charts,
        )


def _practices(record: Source, rules: Selection) -> Finding:
    st.header("Practices left out", anchor=False)
    missing = watch_data.left_out(record, rules)
    found = wording_watch.of_missing(missing)
    answer.say(found)
    answer.figure(
        picture.draw_use(missing, answer.palette()),
        key="practice-use",
        alt="How often each practice asked for was done, by month.",
    )
    if missing.checklist.empty:
        return found
    answer.table(
        tables_watch.of_missing(missing),
        key="practices-left-out",
        alt="How jobs with and without each practice fared",
        numbers=missing.table,
    )
    with st.expander("What is asked for, and the jobs handed back without"):
        answer.table(
            tables_watch.of_checklist(missing), key="checklist", alt="What each model asks for"
        )
        listed = wording_watch.of_latest(len(missing.handed_back), tables_watch.MOST_LISTED)
        if listed:
            st.markdown(listed)
        answer.table(
            tables_watch.of_handed_back(missing),
            key="handed-back-without",
            alt="Jobs handed back without what is asked for",
            numbers=missing.handed_back,
        )
    return found
