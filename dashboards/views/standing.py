"""Where we stand: jobs, open exposure, comebacks, and what wants attention."""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboards import answer, controls, data, opening
from dashboards.data import Source
from dashboards.figures import curves as picture
from dashboards.markup import literal
from dashboards.selection import Selection
from insights import tables, wording


def show() -> None:
    """Draw the page."""
    answer.title("Where we stand", "What left the bench, what came back, and what wants a look.")
    record = controls.source()
    selection = controls.filters(record)
    alerts = st.container()
    standing = data.standing(record, selection)
    found = wording.of_standing(standing)
    answer.say(found)
    answer.tally(tables.tally_of(standing))

    st.header("What wants attention", anchor=False)
    if standing.attention.empty:
        st.markdown("Nothing: every row loads, the dates agree and every unit is recognised.")
    else:
        answer.table(
            tables.of_attention(standing), key="attention", alt="What wants attention, and why"
        )

    st.header("How many come back", anchor=False)
    curves = data.curves(record, selection)
    back = wording.of_curves(curves)
    answer.say(back)
    if record.is_book:
        _not_brought(record, selection)
    answer.figure(picture.draw(curves, answer.palette()), key="share-back", alt=back.sentence)
    with st.expander("The numbers behind this figure"):
        answer.table(
            tables.of_curves(curves),
            key="share-back-numbers",
            alt="Share back by day",
            numbers=curves.table,
        )
    recent = data.recent(record, selection)
    if recent is not None:
        st.header("The latest months", anchor=False)
        st.markdown(wording.YOUNG_MONTHS)
        answer.table(
            tables.of_months(recent),
            key="latest-months",
            alt="The latest months, completed by what is still to come",
            numbers=recent.table,
        )
    answer.keep_in_mind(wording.Finding("", (*found.caveats, *back.caveats)))
    _alert(record, alerts)


def _not_brought(record: Source, selection: Selection) -> None:
    """Say how many fail, where owners were asked."""
    # Half a second to import, which only a book should cost.
    from dashboards.data import review as review_data
    from insights.wording import calls as wording_calls

    failed = review_data.failed_by_book(record, selection, wording.HEADLINE_DAY)
    if failed is not None:
        st.markdown(wording_calls.of_failed(failed, wording.HEADLINE_DAY))


def _alert(record: Source, place: DeltaGenerator) -> None:
    """Say at the top what sounds; worked out last, so that the page does not wait for it."""
    # Half a second to import, and the last thing on its page.
    from dashboards.data import watch as watch_data

    text = watch_data.alert(record, controls.chosen_rules())
    if text:
        with place:
            st.warning(literal(text))
            opening.link("watch", "See the signals")
