"""Root causes: what brings units back, and when."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data
from dashboards.figures import causes as picture
from dashboards.figures import curves as curves_picture
from dashboards.markup import literal
from insights import tables, wording


def show() -> None:
    """Draw the page."""
    answer.title("Root causes", "What fails on the units that come back, and when?")
    record = controls.source()
    selection = controls.grouping(record, controls.filters(record), compare=False)
    causes = data.causes(record, selection)
    found = wording.of_causes(causes)
    answer.say(found)
    palette = answer.palette()
    day = picture.headline_day(causes)
    answer.figure(
        picture.draw_ranges(causes, day, palette),
        key="root-causes",
        alt=f"Share back within {day:.0f} days by root cause. {found.sentence}",
    )
    left_out = curves_picture.left_out(causes.total)
    if left_out:
        st.markdown(literal(left_out))
    st.header("How the causes add up over time", anchor=False)
    group = controls.group_of(causes.groups["group"])
    answer.figure(
        picture.draw_stack(causes, group, palette),
        key="root-causes-over-time",
        alt=f"Share back by day since hand-back, in layers by root cause: {group}.",
    )
    st.header("The numbers behind these figures", anchor=False)
    answer.table(
        tables.of_causes(causes),
        key="root-causes-numbers",
        alt="Share back by root cause and day",
        numbers=causes.table,
    )
    answer.keep_in_mind(found)
    answer.method(causes.method, tables.tests_by_cause(causes))
