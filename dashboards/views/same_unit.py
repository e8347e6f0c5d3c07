"""Same unit? Pairs of jobs that may be one unit, side by side, for a person to decide."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, book_data, claims_data, workplace
from dashboards.markup import literal
from dashboards.workplace import Place
from insights import tables_bench, wording_bench
from insights.bench import same_unit
from insights.errors import StaysfixedError
from insights.history.book.people import WRITERS

SAID, REFUSED = "same-unit-said", "same-unit-refused"
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
    st.markdown(literal(wording_bench.of_pair(row.reasons, row.probability)))  # type: ignore[attr-defined]
    shown = same_unit.side_by_side(book_data.history(place.book), pair[1], pair[0])
    answer.table(tables_bench.of_pair(shown), key="pair", alt="Two jobs side by side")
    left, right = st.columns(2)
    words = {True: "The same unit", False: "Two different units"}
    for column, same in ((left, True), (right, False)):
        column.button(
            words[same],
            key=f"same-{same}-{same_unit.pair_key(*pair)}",
            on_click=_decide,
            args=(place, pair, same),
            disabled=place.person.role not in WRITERS,
            width="stretch",
        )


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
            "Take back", pairs, format_func=lambda one: f"{one[1]} and {one[0]}", key="same-back"
        )
        st.button(
            "Take this decision back",
            key=f"back-{same_unit.pair_key(*pair)}",
            on_click=_decide,
            args=(place, pair, None),
            disabled=place.person.role not in WRITERS,
        )


def _decide(place: Place, pair: Pair, same: bool | None) -> None:
    history = book_data.history(place.book)
    try:
        same_unit.decide(place.book, history, *pair, same, by=place.person)
    except StaysfixedError as error:
        st.session_state[REFUSED] = str(error)
        return
    words = {True: "one unit", False: "two units", None: "open again"}
    st.session_state[SAID] = f"Saved: {pair[1]} and {pair[0]}, {words[same]}."
