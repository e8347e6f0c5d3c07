"""What the first pages show, kept between clicks.

Everything is kept under the revision of the source (never under a frame: only a sample of a
large frame would be compared) and what was asked. Results are immutable, so they are shared,
not copied.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboards.data import book as book_data
from dashboards.data.sources import Source, first_source
from dashboards.selection import Selection
from insights.errors import EvidenceError, StaysfixedError
from insights.followup import Count, Follow, Followup, follow_up, select
from insights.history.files import read_raw
from insights.history.headings import suggest_headings
from insights.history.intake import read_history
from insights.history.schema import History
from insights.history.units import REVIEW_FROM, Links, link_units, relink
from insights.standing import Standing
from insights.standing import standing as count_standing
from insights.survival.causes import CauseCurves, cause_curves
from insights.survival.curves import Curves, return_curves
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.survival.maturity import Maturity

DAYS = (30, 60, 90, 120, 150, 180, 270, 365, 545, 730, 1095)
MOST_CATEGORIES = 60
LARGE = 200_000
KNOWN_ONLY_LATER = ("ended_how",)
"""Not to compare by: what happened after the hand-back is not a reason for it."""


@dataclass(frozen=True)
class Facts:
    """What a record offers to choose from.

    Parameters
    ----------
    first_day, last_day
        Of the hand-backs, as ISO dates.
    values
        For each column to filter by, its values, where there are at least two.
    groupings
        Columns whose groups can be compared, practices first.
    """

    first_day: str
    last_day: str
    values: dict[str, tuple[str, ...]]
    groupings: tuple[str, ...]


def history(source: Source) -> History:
    """Read a record."""
    return _history(source, source.revision)


def headings(source: Source) -> pd.DataFrame:
    """Suggest which heading of a file is which column of ours.

    Returns
    -------
    pandas.DataFrame
        As :func:`insights.history.headings.suggest_headings` gives it.
    """
    return _headings(source, source.revision)


def followup(source: Source, selection: Selection) -> Followup:
    """Follow the hand-backs that a reader selected, each with the clock it has in the whole."""
    return _selected(
        source,
        source.revision,
        selection.follow,
        selection.count,
        (selection.since, selection.until),
        tuple(selection.where.items()),
    )


def facts(source: Source) -> Facts:
    """List what can be chosen in a record."""
    return _facts(source, source.revision)


def standing(source: Source, selection: Selection) -> Standing:
    """Count where things stand for the hand-backs selected."""
    return count_standing(followup(source, selection))


def curves(source: Source, selection: Selection) -> Curves:
    """Estimate the share back by day for each group of ``selection.by``."""
    return _curves(source, source.revision, selection)


def causes(source: Source, selection: Selection) -> CauseCurves:
    """Split the share back by root cause."""
    return _causes(source, source.revision, selection)


def recent(source: Source, selection: Selection) -> Maturity | None:
    """Complete the latest months by what is still to come; None where nothing can be said yet."""
    try:
        return _recent(source, source.revision, selection)
    except EvidenceError:
        return None


def curves_if_doubtful_are_linked(source: Source, selection: Selection) -> Curves:
    """Estimate the share back as if every doubtful pair were one unit."""
    return _curves_if_linked(source, source.revision, selection)


def warm() -> None:
    """Work out the first page's answers ahead of the first visit."""
    try:
        record = first_source()
        facts(record)
        standing(record, Selection())
        curves(record, Selection())
    except StaysfixedError:
        # Nothing is kept of a record that can't be read: the page reads it again and says why.
        return


def warm_record(source: Source) -> None:
    """Answer what the page about the record asks at first."""
    if source.is_file:
        headings(source)
    curves_if_doubtful_are_linked(source, Selection())


def is_large() -> bool:
    """Tell whether pages take so long at first that their answers are worked out ahead of a visit.

    Below some hundred thousand hand-backs each takes a second or two, and working ahead would
    only keep the first visitor waiting.
    """
    try:
        return followup(first_source(), Selection()).job_count >= LARGE
    except StaysfixedError:
        return False


@st.cache_resource(max_entries=3, show_spinner=False)
def _history(_source: Source, revision: str) -> History:
    if _source.is_invented:
        made, _ = generate(cafe_workshop())
        return made
    if _source.is_book:
        return book_data.history(_open_book())
    return read_history(_source.given, _source.declared)


@st.cache_resource(max_entries=3, show_spinner=False)
def _headings(_source: Source, revision: str) -> pd.DataFrame:

    return suggest_headings(read_raw(_source.given, _source.declared).head())


@st.cache_resource(max_entries=4, show_spinner=False)
def _links(_source: Source, revision: str, link_at: float | None) -> Links:
    if link_at is not None:
        return relink(_links(_source, revision, None), link_at=link_at)
    if _source.is_book:
        return book_data.links(_open_book())
    return link_units(history(_source))


def _open_book() -> Book:
    book = book_data.book()
    assert book is not None  # a source says it is the book only where one is open
    return book


@st.cache_resource(max_entries=6, show_spinner=False)
def _followup(
    _source: Source, revision: str, follow: Follow, count: Count, link_at: float | None
) -> Followup:
    return follow_up(
        history(_source),
        follow=follow,
        count=count,
        links=_links(_source, revision, link_at),
    )


@st.cache_resource(max_entries=8, show_spinner=False)
def _selected(
    _source: Source,
    revision: str,
    follow: Follow,
    count: Count,
    days: tuple[str | None, str | None],
    where: tuple[tuple[str, tuple[str, ...]], ...],
    link_at: float | None = None,
) -> Followup:
    whole = _followup(_source, revision, follow, count, link_at)
    if days == (None, None) and not where:
        return whole
    return select(whole, since=days[0], until=days[1], where=dict(where))


@st.cache_resource(max_entries=3, show_spinner=False)
def _facts(_source: Source, revision: str) -> Facts:
    whole = followup(_source, Selection())
    handed_back = whole.history.jobs["handed_back"]
    values = {name: _categories(whole, name) for name in ("model", "technician")}
    groupings = [
        name
        for name in whole.groupable
        if name not in KNOWN_ONLY_LATER and 2 <= len(_categories(whole, name)) <= MOST_CATEGORIES
    ]
    return Facts(
        first_day=f"{handed_back.min():%Y-%m-%d}",
        last_day=f"{handed_back.max():%Y-%m-%d}",
        values={name: known for name, known in values.items() if len(known) > 1},
        groupings=tuple(sorted(groupings, key=lambda name: not name.startswith("practice_"))),
    )


def _categories(whole: Followup, name: str) -> tuple[str, ...]:
    return tuple(str(value) for value in whole.values(name).cat.categories)


@st.cache_resource(max_entries=32, show_spinner=False)
def _curves(_source: Source, revision: str, selection: Selection) -> Curves:
    selected = followup(_source, selection)
    return return_curves(selected, by=selection.by, at=_days_in_reach(selected))


@st.cache_resource(max_entries=32, show_spinner=False)
def _causes(_source: Source, revision: str, selection: Selection) -> CauseCurves:
    selected = followup(_source, selection)
    return cause_curves(selected, by=selection.by, at=_days_in_reach(selected))


@st.cache_resource(max_entries=16, show_spinner=False)
def _recent(_source: Source, revision: str, selection: Selection) -> Maturity:
    # Half a second to import, and the last thing on its page.
    from insights.survival.maturity import maturity

    return maturity(followup(_source, selection))


@st.cache_resource(max_entries=8, show_spinner=False)
def _curves_if_linked(_source: Source, revision: str, selection: Selection) -> Curves:
    linked = _selected(
        _source,
        revision,
        selection.follow,
        selection.count,
        (selection.since, selection.until),
        tuple(selection.where.items()),
        REVIEW_FROM,
    )
    return return_curves(linked, at=_days_in_reach(linked))


def _days_in_reach(selected: Followup) -> tuple[int, ...]:
    """Leave out the days that nobody is followed to: asking would only earn a remark."""
    longest = float(selected.episodes["days"].max())
    return tuple(day for day in DAYS if day <= longest) or DAYS[:1]
