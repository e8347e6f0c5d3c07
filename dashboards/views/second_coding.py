"""A second opinion: one more person codes a comeback without seeing how it was coded."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench import side_by_side, workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.data import claims as claims_data
from dashboards.markup import literal
from insights.bench.comebacks import UNSETTLED
from insights.bench.second_coding import (
    CODED,
    agreements,
    keep_second_coding,
    keep_share,
    share_coded_twice,
)
from insights.history.book.people import OWNER
from insights.history.schema import RELATIONS
from insights.wording import bench as wording_bench

SAID, SHARE = "second-coding-said", "second-coding-share"
SHARES = (0.10, 0.15, 0.20, 0.50, 1.0)
TITLES = {"relation": "How it relates to the earlier job", "root_cause": "The root cause"}


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "A second opinion",
        "A few comebacks, drawn by chance, are coded by a second person who does not see the first "
        "coding or the decision. Don't look the job up elsewhere before you have saved.",
    )
    if place is None:
        return
    if said := st.session_state.get(SAID):
        st.success(literal(said))
    index_of = claims_data.to_code(place.book, place.person)
    if index_of:
        _code(place, index_of)
    else:
        st.markdown("None waits for you.")
    _how_many(place)
    st.header("How far two people agree", anchor=False)
    found = agreements(place.book)
    for name in CODED:
        st.markdown(f"**{TITLES[name]}**")
        finding = wording_bench.of_agreement(found[name])
        answer.say(finding)
        for caveat in finding.caveats:
            st.markdown(literal(caveat))


def _how_many(place: Place) -> None:
    now = share_coded_twice(place.book)
    st.select_slider(
        "How many comebacks are coded twice",
        sorted({*SHARES, now}),
        value=now,
        format_func=lambda share: f"{share:.0%}",
        key=SHARE,
        on_change=_keep_share,
        args=(place,),
        disabled=place.person.role not in OWNER,
    )


def _keep_share(place: Place) -> None:
    keep_share(place.book, st.session_state[SHARE], by=place.person)


def _code(place: Place, index_of: dict[str, str]) -> None:
    job_id = st.selectbox("Comeback", list(index_of), key="second-job")
    job, index = place.book.job(job_id), place.book.job(index_of[job_id])
    side_by_side.show(place, index, job, hidden=("root_cause", "upstream_cause", "cause_removed"))
    form = Form(place.book, place.person, "second-coding", job_id)
    form.notices()
    form.pick(
        "relation", "Relation to the earlier job", [one for one in RELATIONS if one != UNSETTLED]
    )
    form.code(
        "root_cause", "Root cause of this visit", bench_data.codes(place.book).of("root_cause")
    )

    def save(sent: Sent) -> str:
        keep_second_coding(
            place.book,
            job_id,
            sent.fields.get("relation", ""),
            sent.fields.get("root_cause", ""),
            by=place.person,
            token=sent.token,
        )
        st.session_state[SAID] = f"Saved: your coding of {job_id}."
        return f"Saved: your coding of {job_id}."

    form.save("Save my coding", save)
