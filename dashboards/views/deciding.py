"""Comebacks to decide: the evidence, then what failed and how it relates, then the money."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench import side_by_side, workplace
from dashboards.bench.forms import Sent
from dashboards.bench.job_form import as_entered, job_form, saving
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.data import claims as claims_data
from dashboards.markup import literal
from insights.bench import kept
from insights.bench.at_bench import judgement_of
from insights.bench.claim_table import ANSWERS, EVIDENCE
from insights.bench.deciding import (
    ASKED,
    STEPS,
    WRITTEN,
    Comeback,
    keep_decision,
    keep_evidence,
    open_comeback,
)
from insights.bench.limits import Judgement
from insights.bench.summary import summary_page
from insights.errors import RequestError
from insights.history.book.people import OWNER
from insights.history.schema import DECISIONS, RELATIONS
from insights.tables import bench as tables_bench
from insights.wording import bench as wording_bench
from insights.wording.summary import customer_summary


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "Comebacks to decide", "The evidence first, then what failed, and only then the money."
    )
    if place is None:
        return
    waiting = claims_data.waiting(place.book)
    answer.say(wording_bench.of_waiting(waiting))
    if not waiting.empty:
        with st.expander("The queue", expanded=True):
            answer.table(
                tables_bench.of_queue(waiting),
                key="queue",
                alt="Comebacks that wait for a decision",
                numbers=waiting,
            )
    index_of = claims_data.to_open(place.book)
    if not index_of:
        return
    job_id = st.selectbox("Comeback", list(index_of), key="deciding-job")
    comeback = open_comeback(place.book, job_id, index_of[job_id])
    st.header(f"{literal(job_id)}, judged against {literal(comeback.index.job_id)}", anchor=False)
    side_by_side.show(place, comeback.index, comeback.job)
    step = comeback.next_step
    with st.expander("1. The evidence", expanded=step == STEPS[0]):
        _evidence(place, comeback)
    with st.expander("2. What failed, and how it relates", expanded=step == STEPS[1]):
        _relation(place, comeback)
    st.header("3. Who pays", anchor=False)
    _decision(place, comeback)
    st.header("For the customer, to print", anchor=False)
    _summary(place, comeback)
    with st.expander("The rules that propose, in the order tried"):
        answer.table(
            tables_bench.of_decision_table(), key="rules", alt="The rules that propose who pays"
        )


def _evidence(place: Place, comeback: Comeback) -> None:
    form = job_form(place, comeback.job, "evidence", (), more=comeback.evidence)
    form.notices()
    form.pick("evidence", "Seal and photographs show the unit", EVIDENCE, wording_bench.EVIDENCE)
    form.pick("our_part", "Did a part or lot that we fitted fail?", ANSWERS)
    form.pick("our_site", "Does the fault sit where we worked?", ANSWERS)
    form.text("seal", "Seal", hint="its number, whole or broken")
    form.text("lot", "Lot of the failed part")
    form.text("photos", "Where the photographs are")
    form.long_text("remarks", "What else was seen")

    def save(sent: Sent) -> str:
        answers = {name: sent.fields.get(name, "") for name in (*ASKED, *WRITTEN)}
        keep_evidence(
            place.book,
            comeback.job.job_id,
            answers,
            expected=sent.expected,
            by=place.person,
            token=sent.token,
        )
        return "Saved: the evidence."

    form.save("Save the evidence", save)
    _said(form.said)


def _relation(place: Place, comeback: Comeback) -> None:
    columns = ("root_cause", "relation")
    form = job_form(place, comeback.job, "relation", columns)
    form.notices()
    form.code(
        "root_cause", "Root cause of this visit", bench_data.codes(place.book).of("root_cause")
    )
    form.pick("relation", "Relation to the earlier job", RELATIONS)
    form.save("Save cause and relation", saving(place, comeback.job, "relation", as_entered))
    _said(form.said)


def _decision(place: Place, comeback: Comeback) -> None:
    if comeback.next_step == STEPS[0]:
        st.markdown("The evidence comes first: save it above, then a decision is proposed here.")
        return
    if comeback.next_step == STEPS[1]:
        st.markdown("How this visit relates to the earlier job comes first: save it above.")
        return
    claim = wording_bench.of_claim(comeback.propose())
    answer.say(claim)
    st.markdown(claim.caveats[0])
    form = job_form(
        place,
        comeback.job,
        "decision",
        ("decision", "claim_cost"),
        more={name: str(comeback.decided.get(name, "")) for name in ("reason", "printed")},
    )
    form.notices()
    form.pick("decision", "Decided", DECISIONS)
    form.long_text("reason", "Why, for us", hint="needed where it is not what is proposed")
    form.long_text("printed", "Why, as the customer reads it", hint="empty: as proposed")
    form.text("claim_cost", "What it cost us, postage included", number=True)

    def save(sent: Sent) -> str:
        keep_decision(
            place.book,
            comeback,
            sent.fields.get("decision", ""),
            sent.fields.get("reason", ""),
            expected=sent.expected,
            by=place.person,
            token=sent.token,
            claim_cost=sent.changes.get("claim_cost"),
            printed=sent.fields.get("printed", ""),
        )
        return "Saved: the decision."

    owner = place.person.role in OWNER
    form.save("Save the decision", save, blocked="" if owner else "Only an owner decides.")
    _said(form.said)


def _summary(place: Place, comeback: Comeback) -> None:
    known = kept.printed(place.book)
    left, right = st.columns(2)
    workshop = left.text_input("Workshop and address", known.workshop, key="summary-workshop")
    law = right.text_input(
        "Law that applies", known.jurisdiction, key="summary-law", placeholder="a country"
    )
    if not workshop.strip() or not law.strip():
        st.markdown("Fill in both, and the page can be printed: whose law applies stands on it.")
        return
    try:
        summary = customer_summary(
            comeback.job,
            place.settings,
            workshop=workshop,
            jurisdiction=law,
            judgement=_judgement(place, comeback),
            index=comeback.index,
        )
    except RequestError as error:
        st.markdown(literal(str(error)))
        return
    st.download_button(
        "The page to print",
        data=lambda: summary_page(summary).encode("utf-8"),
        file_name=f"{comeback.job.job_id}.html",
        mime="text/html",
        key="summary",
        on_click="ignore",
    )


def _judgement(place: Place, comeback: Comeback) -> Judgement | None:
    try:
        return judgement_of(place.book, comeback.job)
    except RequestError as error:
        st.markdown(f"The readings are left out of it: {literal(str(error))}")
        return None


def _said(text: str) -> None:
    if text:
        st.success(literal(text))
