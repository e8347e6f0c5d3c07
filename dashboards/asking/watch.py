"""Widgets of the pages that watch: what is dangerous, what was done, whom to call in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import streamlit as st

from insights.reviewing.kept_watch import WatchSettings
from insights.reviewing.recall import STATUSES
from insights.reviewing.signals import Signals
from insights.wording import in_currency
from insights.wording.watch import name_of, named

ASKED = "watch-asked"
GIVEN = "watch-actions-given"
OFTEN = {
    0.25: "once in four years",
    0.5: "once in two years",
    1.0: "once a year",
    2.0: "twice a year",
    4.0: "four times a year",
}


def remembered(usual: WatchSettings) -> WatchSettings:
    """Give what was asked for in this visit, or the usual."""
    kept = st.session_state.get(ASKED, usual)
    assert isinstance(kept, WatchSettings)
    return kept


def given() -> bytes | None:
    """Give the file of actions handed over in this visit."""
    kept = st.session_state.get(GIVEN)
    return kept if isinstance(kept, bytes) else None


def wanted(usual: WatchSettings, causes: Sequence[str]) -> WatchSettings:
    """Draw what is dangerous, and how many false alarms are put up with.

    Parameters
    ----------
    usual
        What is in force until the reader chooses.
    causes
        Root causes to choose from.
    """
    before = remembered(usual)
    left, right = st.columns([3, 2])
    known = [cause for cause in before.dangerous if cause in causes]
    dangerous = left.multiselect(
        "Root causes that can hurt someone: the first case is a signal",
        causes,
        default=known,
        key="watch-dangerous",
        placeholder="None named yet",
    )
    rates = sorted({*OFTEN, before.false_alarms_a_year})
    often = right.selectbox(
        "With nothing wrong, all charts together may sound",
        rates,
        index=rates.index(before.false_alarms_a_year),
        format_func=lambda rate: OFTEN.get(rate, f"{rate:g} times a year"),
        key="watch-often",
    )
    chosen = WatchSettings(tuple(dangerous), float(often))
    st.session_state[ASKED] = chosen
    return chosen


def actions_file() -> bytes | None:
    """Draw the upload of actions, where there is no book to keep them."""
    st.markdown(
        "A CSV file with the columns `chart`, `date`, `done` and, if you like, `chance` (yes: it "
        "was nothing). The names of the charts are in the list to download above."
    )
    file = st.file_uploader("What was done about signals", type="csv", key="watch-actions")
    if file is not None:
        st.session_state[GIVEN] = file.getvalue()
    return given()


def chart_of(signals: Signals) -> str:
    """Draw the choice of one chart, those with open signals first.

    Parameters
    ----------
    signals
        The watch.
    """
    first = list(dict.fromkeys([*signals.open["chart"], *signals.table["chart"]]))
    rows = signals.charts.set_index("chart")
    charts = [chart for chart in dict.fromkeys([*first, *rows.index]) if chart in rows.index]
    names = {
        chart: named(kind, column, value)
        for chart, kind, column, value in zip(
            rows.index, rows["kind"], rows["column"], rows["value"], strict=True
        )
    }
    return st.selectbox(
        "Chart shown", charts, format_func=lambda chart: names[chart], key="watch-chart", width=520
    )


def action(charts: Sequence[str]) -> tuple[str, str, str, bool] | None:
    """Draw the form for what was done: chart, day, words, mere chance; None until it is sent.

    Parameters
    ----------
    charts
        Those with an open signal.
    """
    with st.form("watch-act", clear_on_submit=True):
        chart = st.selectbox("Signal", list(charts), format_func=name_of, key="watch-act-chart")
        day = st.date_input(
            "Done on", value=dt.date.today(), format="YYYY-MM-DD", key="watch-act-day"
        )
        done = st.text_input("What was done", key="watch-act-done")
        chance = st.checkbox("It was looked into, and nothing was found", key="watch-act-chance")
        sent = st.form_submit_button("Write it down")
    if not sent or not isinstance(day, dt.date):
        return None
    return str(chart), day.isoformat(), done, chance


def recall(
    charts: Sequence[str], cost: float | None, currency: str
) -> tuple[str, tuple[str | None, str | None], tuple[float | None, float | None], bool]:
    """Draw what to call in: chart, days, costs, and whether someone may be hurt.

    Parameters
    ----------
    charts
        What can be suspect.
    cost
        Of a comeback, as recorded; None: not known.
    currency
        Of every amount; empty: not stated.
    """
    chart = st.selectbox(
        "What is suspect", list(charts), format_func=name_of, key="recall-chart", width=520
    )
    left, middle, right = st.columns(3)
    since = left.date_input("Handed back from", value=None, format="YYYY-MM-DD", key="recall-from")
    until = middle.date_input("up to", value=None, format="YYYY-MM-DD", key="recall-to")
    may_hurt = right.checkbox("Someone may be hurt by it", key="recall-hurt")
    call = left.slider(
        in_currency("Calling one unit in costs", currency), 0, 200, 20, key="recall-call-cost"
    )
    recorded = middle.checkbox(
        "A comeback costs what the record says",
        value=cost is not None,
        disabled=cost is None,
        key="recall-recorded",
    )
    typed = middle.slider(
        in_currency("A comeback costs", currency),
        0,
        300,
        50,
        key="recall-comeback-cost",
        disabled=recorded,
    )
    days = (_iso(since), _iso(until))
    return str(chart), days, (float(call), cost if recorded else float(typed)), may_hurt


def statuses_file() -> bytes | None:
    """Draw the upload of statuses, where there is no book to keep them."""
    file = st.file_uploader(
        f"How far each call is: a CSV file with `job_id` and `status` ({', '.join(STATUSES)})",
        type="csv",
        key="recall-status",
    )
    return None if file is None else file.getvalue()


def status(jobs: Sequence[str]) -> tuple[list[str], str] | None:
    """Draw the form for how far calls are: jobs and status; None until it is sent.

    Parameters
    ----------
    jobs
        The units listed, by job.
    """
    with st.form("recall-note", clear_on_submit=True):
        chosen = st.multiselect("Units, by job", list(jobs), key="recall-note-jobs")
        word = st.selectbox("are now", STATUSES, index=1, key="recall-note-status")
        sent = st.form_submit_button("Write it down")
    return (list(chosen), str(word)) if sent and chosen else None


def _iso(day: object) -> str | None:
    return day.isoformat() if isinstance(day, dt.date) else None
