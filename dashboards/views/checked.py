"""How this was checked: outside values, ranges that should hold the truth, times."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.data import checked as checked_data
from insights.checked import Measured
from insights.tables import checked as tables_checked
from insights.wording import checked as wording_checked


def show() -> None:
    """Draw the page."""
    answer.title(
        "How this was checked", "Does this program find what others have found on the same data?"
    )
    checked = checked_data.checked()
    found = wording_checked.of_checked(checked)
    answer.say(found)
    st.markdown(wording_checked.of_closeness(checked))
    st.header("Where the values are from", anchor=False)
    answer.table(
        tables_checked.of_sources(checked), key="checked-sources", alt="Outside sources of values"
    )
    st.header("Value by value", anchor=False)
    st.markdown(wording_checked.FARTHEST)
    for room, rows in tables_checked.of_outside(checked).items():
        name = wording_checked.ROOMS[room]
        with st.expander(f"{name} ({len(rows)})"):
            answer.table(rows, key=f"checked-values-{room or 'whole'}", alt=f"Values: {name}")
    st.header("Do the ranges hold the truth?", anchor=False)
    st.markdown(wording_checked.RECOVERY)
    for table in checked.recovered:
        with st.expander(table.name):
            _measured(table)
    if checked.speed is not None:
        st.header("How long it takes", anchor=False)
        st.markdown(wording_checked.SPEED)
        _measured(checked.speed)
    answer.keep_in_mind(found)
    with st.expander("Versions"):
        answer.bullets(wording_checked.of_runs(checked))


def _measured(table: Measured) -> None:
    st.markdown(wording_checked.of_measured(table))
    answer.table(
        tables_checked.of_measured(table),
        key=f"checked-{table.key}",
        alt=table.name,
        numbers=table.rows,
    )
