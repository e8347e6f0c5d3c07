"""Coming back: the share of units that come back, by when, in which group."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data
from dashboards.figures import curves as picture
from dashboards.markup import literal
from insights import tables, wording


def show() -> None:
    """Draw the page."""
    answer.title("Coming back", "What share of repaired units comes back, and when?")
    record = controls.source()
    selection = controls.grouping(record, controls.filters(record), compare=True)
    curves = data.curves(record, selection)
    found = wording.of_curves(curves)
    answer.say(found)
    answer.figure(picture.draw(curves, answer.palette()), key="coming-back", alt=found.sentence)
    left_out = picture.left_out(curves)
    if left_out:
        st.markdown(literal(left_out))
    st.header("The numbers behind this figure", anchor=False)
    answer.table(
        tables.of_curves(curves),
        key="coming-back-numbers",
        alt="Share back by day, for each group",
        numbers=curves.table,
    )
    answer.keep_in_mind(found)
    answer.method(curves.method, tables.tests_of(curves))
