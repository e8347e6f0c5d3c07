"""Widgets that choose what a page answers, and the address that remembers the choice.

The address (the part after ``?``) is read and written here only. Streamlit drops it when the
page changes, so it is written again at the end of every run from what is chosen; it is read
when a visit begins, and whenever it is not the one written last (a bookmark, the Back button).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import streamlit as st

from dashboards import data
from dashboards.data import Facts, Source
from dashboards.markup import literal
from dashboards.selection import (
    FILTER_COLUMNS,
    Selection,
    from_address,
    label_of,
    to_address,
)

CHOSEN = "chosen"
WRITTEN = "address_written"
OPENED = "source_opened"

FOLLOW_WORDS = {
    "covered": "while our warranty runs",
    "all": "as long as we have a record",
}
COUNT_WORDS = {
    "faults": "real faults",
    "all": "every return",
    "covered": "only what we paid for",
}
LABELS = {"model": "Model", "technician": "Technician"}
EVERYTHING = "All jobs together"


def source() -> Source:
    """Say which record is open: the one the reader opened here, else what the program got."""
    opened = st.session_state.get(OPENED)
    return opened if isinstance(opened, Source) else data.first_source()


def is_other_than_first() -> bool:
    """Whether the reader opened another record than the program was started on."""
    return st.session_state.get(OPENED) is not None


def open_source(record: Source | None = None) -> None:
    """Open another record from the next run on.

    Parameters
    ----------
    record
        The record; None goes back to what the program was started on.
    """
    st.session_state[OPENED] = record
    # The clock's rules are kept; models, technicians and days belong to the record just left.
    rules = _chosen()
    _start_over(Selection(follow=rules.follow, count=rules.count))


class Menu:
    """The list of pages in the sidebar, whose links carry what is chosen along.

    Streamlit's own list empties the address on every change of page, which leaves a stray entry
    for the Back button to stop at.

    Parameters
    ----------
    sections
        The pages under their headings, in order.
    bench
        The heading of the pages on which nothing is chosen.
    """

    def __init__(self, sections: Mapping[str, Sequence[st.Page]], bench: str) -> None:
        self._sections = sections
        self._bench = bench
        self._place = st.sidebar.empty()
        self._drawn: dict[str, list[str]] | None = None
        self.draw()

    def draw(self) -> None:
        """Draw the links for what is chosen now; nothing where they are drawn already."""
        query = to_address(_chosen())
        if query == self._drawn:
            return
        self._drawn = query
        with self._place.container(gap="xsmall"):
            for heading, pages in self._sections.items():
                st.markdown(f"**{heading}**")
                for page in pages:
                    carried = {} if heading == self._bench else query
                    st.page_link(page, query_params=carried, width="stretch")


def name_record(record: Source) -> None:
    """Say in the sidebar which record is open.

    Parameters
    ----------
    record
        The open record.
    """
    st.sidebar.markdown(f"Open record: **{literal(record.name)}**")


def read_address(page: str) -> None:
    """Take up the address where it is news.

    Parameters
    ----------
    page
        The page shown: on changing it, Streamlit empties the address, which then means nothing.
    """
    query = _query()
    last_page, written = st.session_state.get(WRITTEN, (page, {}))
    if page != last_page:
        # On another page these are other widgets: each takes its value from what was chosen.
        _start_over(_chosen())
    if query == written or (page != last_page and not query):
        return
    selection, refused = from_address(query)
    _start_over(selection)
    if refused:
        asked = literal(", ".join(refused))
        st.warning(f"The address asks for {asked}, which no page knows: left out.")


def write_address(page: str) -> None:
    """Write what is chosen into the address, so that it can be bookmarked.

    Parameters
    ----------
    page
        The page shown.
    """
    query = to_address(_chosen())
    if _query() != query:
        st.query_params.from_dict(query)
    st.session_state[WRITTEN] = (page, query)


def filters(record: Source) -> Selection:
    """Draw the filters in the sidebar.

    Parameters
    ----------
    record
        Whose models, technicians and days are offered.

    Returns
    -------
    Selection
        What is chosen; ``by`` is left to :func:`grouping`.
    """
    facts = data.facts(record)
    before = _chosen()
    with st.sidebar:
        st.header("Which jobs")
        since = _day("since", "Handed back from", before.since, facts)
        until = _day("until", "Handed back up to", before.until, facts)
        kept = {name: _values(name, getattr(before, name), facts) for name in FILTER_COLUMNS}
        st.header("What counts")
        follow = _one("follow", "Follow each unit", FOLLOW_WORDS, before.follow)
        count = _one("count", "Count as a comeback", COUNT_WORDS, before.count)
        selection = Selection(since, until, **kept, follow=follow, count=count, by=before.by)
        if selection != Selection(by=before.by):
            st.button("Back to all jobs", key="clear", on_click=_clear, width="stretch")
    st.session_state[CHOSEN] = selection
    return replace(selection, by=None)


def rules() -> Selection:
    """Draw the clock's rules alone, for a page that is about all jobs of the record.

    Returns
    -------
    Selection
        The rules, for all jobs; what else is chosen stands for the other pages.
    """
    before = _chosen()
    with st.sidebar:
        st.header("What counts")
        st.markdown("This page is about all jobs of the record, whatever is chosen elsewhere.")
        follow = _one("follow", "Follow each unit", FOLLOW_WORDS, before.follow)
        count = _one("count", "Count as a comeback", COUNT_WORDS, before.count)
    st.session_state[CHOSEN] = replace(before, follow=follow, count=count)
    return Selection(follow=follow, count=count)


def grouping(record: Source, selection: Selection, *, compare: bool) -> Selection:
    """Draw the choice of what to compare by.

    Parameters
    ----------
    record
        Whose columns are offered.
    selection
        What :func:`filters` gave.
    compare
        What to do until the reader chooses: compare by the first grouping, or take all jobs
        together.
    """
    options = ("", *data.facts(record).groupings)
    before = _chosen().by
    usual = options[1] if compare and len(options) > 1 else ""
    known = _known("column", () if before is None else (before,), options)
    start = known[0] if known else usual
    _seed("by", start)
    by = st.selectbox(
        "Compare by",
        options,
        format_func=lambda name: label_of(name) if name else EVERYTHING,
        key="by",
        width=420,
    )
    if by != start:
        st.session_state[CHOSEN] = replace(_chosen(), by=by)
    return replace(selection, by=by or None)


def chosen_rules() -> Selection:
    """Give the clock's rules in force, for all jobs of the record."""
    chosen = _chosen()
    return Selection(follow=chosen.follow, count=chosen.count)


def group_of(groups: Iterable[str]) -> str:
    """Draw the choice of one group, where there are several.

    Parameters
    ----------
    groups
        At least one.
    """
    options = tuple(groups)
    if len(options) == 1:
        return options[0]
    return st.selectbox("Group shown", options, key="group", width=420)


def _chosen() -> Selection:
    selection = st.session_state.get(CHOSEN, Selection())
    assert isinstance(selection, Selection)
    return selection


def _query() -> dict[str, list[str]]:
    return {name: st.query_params.get_all(name) for name in st.query_params}


def _start_over(selection: Selection) -> None:
    """Put a selection in force; every widget takes its value from it when next drawn."""
    st.session_state[CHOSEN] = selection
    for field in fields(Selection):
        st.session_state.pop(field.name, None)


def _clear() -> None:
    _start_over(Selection(by=_chosen().by))


def _seed(key: str, value: Any) -> None:
    """Give a widget its value where it has none: at first, and after its page was left."""
    if key not in st.session_state:
        st.session_state[key] = value


def _known(what: str, wanted: tuple[str, ...], options: tuple[str, ...]) -> tuple[str, ...]:
    """Keep what this record has, and say what it has not."""
    unknown = [value for value in wanted if value not in options]
    if unknown:
        st.warning(f"This record has no {what} {literal(', '.join(unknown))}: left out.")
    return tuple(value for value in wanted if value in options)


def _day(name: str, label: str, before: str | None, facts: Facts) -> str | None:
    first, last = dt.date.fromisoformat(facts.first_day), dt.date.fromisoformat(facts.last_day)
    # The widget refuses a day outside the record; such a limit means the record's own edge.
    _seed(name, min(max(dt.date.fromisoformat(before), first), last) if before else None)
    picked = st.date_input(
        label, value=None, min_value=first, max_value=last, format="YYYY-MM-DD", key=name
    )
    return picked.isoformat() if isinstance(picked, dt.date) else None


def _values(name: str, before: tuple[str, ...], facts: Facts) -> tuple[str, ...]:
    options = facts.values.get(name, ())
    known = _known(LABELS[name].lower(), before, options)
    if not options:
        return ()
    _seed(name, list(known))
    return tuple(
        st.multiselect(LABELS[name], options, key=name, placeholder=f"Every {LABELS[name].lower()}")
    )


def _one(name: str, label: str, words: dict[str, str], before: str) -> Any:
    _seed(name, before)
    return st.radio(label, list(words), format_func=lambda key: words[key], key=name)
