"""Add a file: its jobs go into the book once, and its refused rows are mended here."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, data, looking, matching
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.workplace import Place
from dashboards.data import Source
from dashboards.data import adding as adding_data
from dashboards.markup import literal
from insights.errors import FormatQuestion, HeadingsError, StaysfixedError
from insights.history.book.people import WRITERS
from insights.history.book.refused import RefusedRow, drop, mend
from insights.tables import adding as tables_adding
from insights.wording import adding as wording_adding

KINDS = ["csv", "txt", "tsv", "xlsx", "parquet"]
FILE, SAID, REFUSED = "adding-file", "adding-said", "adding-refused"


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "Add a file", "Jobs from a sheet go into the book once; what can't be used is mended here."
    )
    if place is None:
        return
    _file(place)
    _waiting(place)


def _file(place: Place) -> None:
    st.markdown(
        "A CSV, Excel (.xlsx) or Parquet file with one row per job. Nothing in the book is "
        "overwritten, and the same file twice adds nothing."
    )
    st.file_uploader("Your file", type=KINDS, key="adding-upload", on_change=_take)
    if said := st.session_state.get(SAID):
        answer.say(said)
        answer.keep_in_mind(said)
    source = st.session_state.get(FILE)
    if source is not None:
        _try(place, source)


def _take() -> None:
    given = st.session_state["adding-upload"]
    _read_as(None if given is None else data.uploaded(given.name, given.getvalue()))


def _read_as(source: Source | None) -> None:
    st.session_state[FILE] = source
    st.session_state.pop(SAID, None)


def _try(place: Place, source: Source) -> None:
    try:
        added = adding_data.tried(place.book, source)
    except (HeadingsError, FormatQuestion) as question:
        st.warning(matching.words_for(question))
        matching.ask(source, question, then=_read_as)
        return
    except StaysfixedError as error:
        answer.refuse(error)
        return
    found = wording_adding.of_added(added, tried=True)
    answer.say(found)
    answer.keep_in_mind(found)
    if len(added.table):
        answer.table(
            tables_adding.of_problems(added),
            key="adding-problems",
            alt="Rows that are refused or differ from the book, and why",
        )
    if refusal := st.session_state.pop(REFUSED, ""):
        st.error(literal(refusal))
    st.button(
        "Add it to the book",
        key=f"adding-add-{source.mark}",
        type="primary",
        width="stretch",
        disabled=place.person.role not in WRITERS or not (added.added or added.kept),
        on_click=_add,
        args=(place, source),
    )
    with st.expander("How the headings were read, and how to change it"):
        matching.ask(source, then=_read_as)


def _add(place: Place, source: Source) -> None:
    try:
        added = adding_data.add(place.book, source, place.person)
    except StaysfixedError as error:
        st.session_state[REFUSED] = str(error)
        return
    _read_as(None)
    st.session_state[SAID] = wording_adding.of_added(added)


def _waiting(place: Place) -> None:
    st.header("Refused rows", anchor=False)
    if mended := st.session_state.get("mending-said"):
        answer.saved(mended)
    rows = {row.key: row for row in adding_data.waiting(place.book)}
    answer.aside(wording_adding.of_refused(list(rows.values())).sentence)
    if not rows:
        return
    chosen = st.selectbox(
        "Which row?",
        list(rows),
        format_func=lambda key: wording_adding.of_waiting(rows[key]),
        key="mending-row",
    )
    if chosen in rows:
        _mend(place, rows[chosen])


def _mend(place: Place, row: RefusedRow) -> None:
    looking.looked_at(place.book, place.person, f"refused row {row.key}")
    st.markdown(literal(f"{row.problem}. {row.remedy}."))
    form = Form(place.book, place.person, "mending", row.key, fields=row.cells, number=row.number)
    form.notices()
    wrong = [heading for heading in row.cells if f"{heading}: " in row.problem]
    for heading in wrong:
        form.text(heading, literal(heading))
    with st.expander("The whole row", expanded=not wrong):
        for heading in row.cells:
            if heading not in wrong:
                form.text(heading, literal(heading))
    with st.container(key="save-bar"):
        form.save("Store it as a job", lambda sent: _store(place, row, sent))
        st.button(
            "It is no job: take it off the list",
            key=f"mending-drop-{row.key}",
            width="stretch",
            disabled=place.person.role not in WRITERS,
            on_click=_drop,
            args=(place, row),
        )


def _store(place: Place, row: RefusedRow, sent: Sent) -> str:
    job = mend(place.book, row, sent.changes, by=place.person, token=sent.token)
    st.session_state["mending-said"] = wording_adding.of_mended(row, job.job_id)
    return job.job_id


def _drop(place: Place, row: RefusedRow) -> None:
    try:
        drop(place.book, row, by=place.person)
    except StaysfixedError as error:
        st.session_state["mending-said"] = str(error)
        return
    st.session_state["mending-said"] = wording_adding.of_dropped([row]).sentence
