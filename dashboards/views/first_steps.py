"""First steps: from a record to the first answer, and a tour of the invented workshop."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data, opening
from dashboards.data import book as book_data
from dashboards.selection import Selection
from insights.first_steps import TOUR, first_steps, of_steps


def show() -> None:
    """Draw the page."""
    answer.title("First steps", "From your record to the first answer, in the order that pays.")
    record = controls.source()
    everything = Selection()
    steps = first_steps(
        data.standing(record, everything),
        data.curves(record, everything),
        jobs=len(data.history(record).jobs),
        source=record.name,
        own=not record.is_invented,
        book=book_data.is_open(),
    )
    answer.say(of_steps(steps))
    for number, step in enumerate(steps, start=1):
        state = "done" if step.done else "to do"
        st.header(f"{number}. {step.title}: {state}", anchor=False)
        answer.aside(step.says)
        opening.link(step.page, step.link)
    st.header("A tour", anchor=False)
    st.markdown(
        "Seven pages, a minute each. On the invented workshop the truth is known, so you can see "
        "what the answers are worth."
    )
    for page, name, what in TOUR:
        opening.link(page, name)
        answer.aside(what)
