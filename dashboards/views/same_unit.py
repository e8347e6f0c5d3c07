"""Same unit? Pairs of jobs that may be one unit, side by side, for a person to decide."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, looking
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.workplace import Place
from dashboards.data import book as book_data
from dashboards.data import claims as claims_data
from dashboards.markup import literal
from insights.bench import same_unit
from insights.errors import RequestError, StaysfixedError
from insights.history.book.people import WRITERS
from insights.tables import bench as tables_bench
from insights.wording import bench as wording_bench

SAID, REFUSED, BACK = "same-unit-said", "same-unit-refused", "same-unit-back"
ONE = "one"
SAME = {ONE: "one unit", "two": "two different units"}
Pair = tuple[str, str]


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "Same unit?",
        "Every count of comebacks rests on which jobs were one unit. Where the record alone can't "
        "tell, someone who knows decides; what is decided also teaches the rest.",
    )
    if place is None:
        return
    if said := st.session_state.get(SAID):
        st.success(literal(said))
    if refused := st.session_state.pop(REFUSED, ""):
        st.error(literal(refused))
    pairs = claims_data.doubtful(place.book)
    answer.say(wording_bench.of_doubts(len(pairs)))
    if not pairs.empty:
        _ask(place, {(row.job_id, row.earlier_job_id): row for row in pairs.itertuples()})
    _decided(place)


def _ask(place: Place, rows: dict[Pair, object]) -> None:
    pair = st.selectbox(
        "Pair", list(rows), format_func=lambda one: f"{one[1]} and {one[0]}", key="same-unit-pair"
    )
    row = rows[pair]
    looking.looked_at(place.book, place.person, *pair)
    st.markdown(literal(wording_bench.of_pair(row.reasons, row.probability)))  # type: ignore[attr-defined]
    shown = same_unit.side_by_side(book_data.history(place.book), pair[1], pair[0])
    answer.table(tables_bench.of_pair(shown), key="pair", alt="Two jobs side by side")
    form = Form(place.book, place.person, "same-unit", same_unit.pair_key(*pair))
    form.notices()
    form.pick("same", "Are these two jobs the same unit?", list(SAME), {"": "not decided", **SAME})

    def save(sent: Sent) -> str:
        said = sent.fields.get("same", "")
        if said not in SAME:
            raise RequestError("Say whether they are one unit or two, then save.")
        return _decide(place, pair, said == ONE, sent.token)

    form.save("Save the decision", save)


def _decided(place: Place) -> None:
    decided = claims_data.decided(place.book)
    if decided.empty:
        return
    with st.expander("Decided before"):
        answer.table(
            tables_bench.of_decided_pairs(decided), key="decided", alt="Pairs decided before"
        )
        pairs = list(zip(decided["job_id"], decided["earlier_job_id"], strict=True))
        pair = st.selectbox(
            "Take back",
            pairs,
            index=None,
            format_func=lambda one: f"{one[1]} and {one[0]}",
            key=BACK,
            placeholder="which pair",
        )
        if pair is not None:
            st.button(
                "Take this decision back",
                key=f"back-{same_unit.pair_key(*pair)}",
                on_click=_take_back,
                args=(place, pair),
                disabled=place.person.role not in WRITERS,
            )


def _take_back(place: Place, pair: Pair) -> None:
    try:
        _decide(place, pair, None, None)
    except StaysfixedError as error:
        st.session_state[REFUSED] = str(error)
        return
    st.session_state[BACK] = None


def _decide(place: Place, pair: Pair, same: bool | None, token: str | None) -> str:
    history = book_data.history(place.book)
    same_unit.decide(place.book, history, *pair, same, by=place.person, token=token)
    words = {True: "one unit", False: "two units", None: "open again"}
    st.session_state[SAID] = f"Saved: {pair[1]} and {pair[0]}, {words[same]}."
    return str(st.session_state[SAID])
