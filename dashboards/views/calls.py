"""Owners called: drawn by lot, asked one by one, what they answered kept in the job book."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboards import looking, who
from dashboards.asking import review as review_asking
from dashboards.bench.forms import Form, Sent
from dashboards.data import Source
from dashboards.data import book as book_data
from dashboards.data import review as review_data
from dashboards.markup import literal
from dashboards.selection import Selection
from insights.errors import StaysfixedError
from insights.history.book.as_typed import as_typed
from insights.history.book.book import Book
from insights.reviewing.call_back import ANSWERS
from insights.reviewing.kept_calls import drawn_in, keep_answer
from insights.wording import calls as wording_calls
from insights.wording.calls import LEADS

SAID, REFUSED = "calls-said", "calls-refused"


def show(record: Source, selection: Selection) -> None:
    """Draw whom to call, and take what they say.

    Parameters
    ----------
    record, selection
        The open book, and which hand-backs are looked at.
    """
    book = book_data.book()
    if book is None:
        return
    drawn = drawn_in(book)
    st.markdown(wording_calls.of_calls(drawn))
    with st.expander("Call some owners", expanded=bool((drawn["answer"] == "").any())):
        if not who.may_write():
            st.markdown("You may read this book, not write in it: others call.")
            return
        if not who.current_person().name:
            who.ask()
            return
        if said := st.session_state.get(SAID):
            st.success(literal(said))
        if refused := st.session_state.pop(REFUSED, ""):
            st.error(literal(refused))
        waiting = drawn["answer"] == ""
        if not waiting.any():
            # First those drawn, then others: whoever is left out is missing from the answer.
            _draw(record, selection)
        if len(drawn):
            _ask(book, pd.concat([drawn[waiting], drawn[~waiting]]))


def _draw(record: Source, selection: Selection) -> None:
    size = review_asking.how_many_calls()
    st.button(
        "Draw owners to call", key="calls-draw", on_click=_drawn, args=(record, selection, size)
    )


def _drawn(record: Source, selection: Selection, size: int) -> None:
    st.session_state.pop(SAID, None)
    try:
        review_data.draw_calls(record, selection, size, who.current_person())
    except StaysfixedError as error:
        st.session_state[REFUSED] = str(error)


def _ask(book: Book, drawn: pd.DataFrame) -> None:
    calls = {row.job_id: row for row in drawn.itertuples(index=False)}
    job_id = st.selectbox(
        "Owner of",
        list(calls),
        format_func=lambda job: f"{job}: {_answered(calls[job].answer)}",
        # After each answer a new list, which begins with the next to call.
        key=f"calls-job-{int((drawn['answer'] != '').sum())}",
        width=520,
    )
    person = who.current_person()
    looking.looked_at(book, person, job_id)
    call = calls[job_id]
    known, settings = book.job(job_id).values, book.settings()
    for name, label in LEADS.items():
        if found := as_typed(name, known.get(name), settings):
            st.markdown(f"{label}: **{literal(found)}**")
    fields = {"answer": call.answer}
    form = Form(book, person, "calls", job_id, fields=fields, number=call.number)
    form.notices()
    form.pick("answer", "What the owner says of it", list(ANSWERS), ANSWERS)

    def save(sent: Sent) -> str:
        keep_answer(
            book,
            job_id,
            sent.fields.get("answer", ""),
            by=person,
            expected=sent.expected,
            token=sent.token,
        )
        st.session_state[SAID] = f"Saved: what the owner of {job_id} said."
        return f"Saved: what the owner of {job_id} said."

    form.save("Save the answer", save)


def _answered(given: str) -> str:
    return ANSWERS.get(given, "to be called")
