"""What the pages that watch show, kept between clicks like all of :mod:`dashboards.data`."""

from __future__ import annotations

import io
from collections.abc import Sequence

import pandas as pd
import streamlit as st

from dashboards.asking import watch as watch_asking
from dashboards.data import Source, followup
from dashboards.data import book as book_data
from dashboards.selection import Selection
from insights.errors import RequestError
from insights.history.book.people import Person
from insights.money.costs import comeback_cost_if_recorded
from insights.report.recall_page import recall_page
from insights.reviewing import kept_watch
from insights.reviewing.kept_limits import KeptLimits
from insights.reviewing.kept_watch import WatchSettings
from insights.reviewing.missing import MissingPractices, missing_practices
from insights.reviewing.recall import Recall, can_be_suspect, recall_list
from insights.reviewing.signals import Signals
from insights.reviewing.watch import watch
from insights.wording import watch as wording_watch


def settings(source: Source) -> WatchSettings:
    """Read what is to be watched: the book's, or the usual."""
    book = book_data.book() if source.is_book else None
    return WatchSettings() if book is None else kept_watch.settings_of(book)


def actions(source: Source, given: bytes | None = None) -> pd.DataFrame | None:
    """Read what was done about signals: from the book, or from a file given.

    Raises
    ------
    RequestError
        The file is no CSV.
    """
    book = book_data.book() if source.is_book else None
    if book is not None:
        return kept_watch.actions_of(book)
    return None if given is None else _csv(given)


def signals(
    source: Source, rules: Selection, wanted: WatchSettings, done: pd.DataFrame | None
) -> Signals:
    """Watch the whole record under the clock's rules."""
    text = "" if done is None else done.to_csv(index=False)
    return _signals(source, source.revision, rules, wanted, text)


def alert(source: Source, rules: Selection) -> str:
    """Say in a sentence what sounds; nothing where nothing does."""
    wanted = watch_asking.remembered(settings(source))
    found = signals(source, rules, wanted, actions(source, watch_asking.given()))
    return "" if found.open.empty else wording_watch.of_open(found)


def left_out(source: Source, rules: Selection) -> MissingPractices:
    """Find the practices left out, over the whole record."""
    return _left_out(source, source.revision, rules)


def suspects(source: Source, rules: Selection, found: Signals) -> tuple[str, ...]:
    """List what units can be called in for: what sounds first."""
    every = can_be_suspect(followup(source, rules))
    sounding = [chart for chart in found.open["chart"] if chart in set(every)]
    return tuple(dict.fromkeys([*sounding, *every]))


def causes(source: Source, rules: Selection) -> tuple[str, ...]:
    """List the root causes that can be named as dangerous."""
    found = followup(source, rules).history.jobs["root_cause"].cat.categories
    return tuple(map(str, found))


def comeback_cost(source: Source, rules: Selection) -> float | None:
    """Average what a comeback costs, where the record tells."""
    cost = comeback_cost_if_recorded(followup(source, rules))
    return None if cost is None else cost.mean


def to_call_in(
    source: Source,
    rules: Selection,
    chart: str,
    days: tuple[str | None, str | None],
    costs: tuple[float | None, float | None],
    *,
    may_hurt: bool,
    given: bytes | None = None,
) -> Recall:
    """List the units to call in.

    Parameters
    ----------
    source, rules
        The record, and the clock's rules.
    chart
        What is suspect.
    days
        First and last day of hand-back.
    costs
        Of calling one unit in, and of a comeback.
    may_hurt
        Whether someone may be hurt.
    given
        A file of statuses, where there is no book to keep them.
    """
    book = book_data.book() if source.is_book else None
    status = None if given is None else _csv(given)
    return recall_list(
        followup(source, rules),
        chart,
        since=days[0],
        until=days[1],
        call_in_cost=costs[0],
        comeback_cost=costs[1],
        dangerous=may_hurt,
        status=status if book is None else kept_watch.statuses_of(book, chart),
    )


def page_of(recall: Recall, source: Source, rules: Selection) -> str:
    """Print a recall list."""
    return recall_page(recall, followup(source, rules).data_date)


def note_action(chart: str, date: str, done: str, chance: bool, person: Person) -> None:
    """Store in the open book what was done about a signal."""
    book = book_data.book()
    if book is not None:
        kept_watch.keep_action(book, chart, date, done, chance=chance, by=person)


def note_settings(wanted: WatchSettings, person: Person) -> None:
    """Store in the open book what is to be watched."""
    book = book_data.book()
    if book is not None:
        kept_watch.keep_settings(book, wanted, by=person)


def note_status(chart: str, jobs: Sequence[str], status: str, person: Person) -> None:
    """Store in the open book how far the calls about some units are."""
    book = book_data.book()
    if book is None:
        return
    for job in jobs:
        kept_watch.keep_status(book, chart, job, status, by=person)


def warm(source: Source) -> None:
    """Answer what the page asks at first."""
    signals(source, Selection(), settings(source), actions(source))
    left_out(source, Selection())


def _csv(content: bytes) -> pd.DataFrame:
    try:
        return pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False)
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RequestError(f"This is no CSV file that can be read: {error}.") from error


@st.cache_resource(max_entries=1, show_spinner=False)
def _kept() -> KeptLimits:
    return KeptLimits()


@st.cache_resource(max_entries=8, show_spinner=False)
def _signals(
    _source: Source, revision: str, rules: Selection, wanted: WatchSettings, done: str
) -> Signals:
    kept = _kept()
    found = watch(
        followup(_source, rules),
        false_alarms_a_year=wanted.false_alarms_a_year,
        dangerous=wanted.dangerous,
        actions=_csv(done.encode()) if done else None,
        kept=kept,
    )
    kept.save()  # where it can't be written the limits are worked out anew: slower, not wrong
    return found


@st.cache_resource(max_entries=8, show_spinner=False)
def _left_out(_source: Source, revision: str, rules: Selection) -> MissingPractices:
    return missing_practices(followup(_source, rules))
