"""Does it work: what a practice changes on like jobs, whether it pays, and why to believe it."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data
from dashboards.asking import practice as asking
from dashboards.data import Source
from dashboards.data import practice as practice_data
from dashboards.figures import practice as picture
from dashboards.markup import literal
from dashboards.question import PracticeQuestion
from dashboards.selection import Selection
from insights import wording
from insights.evidence.result import PracticeEvidence
from insights.tables import practice as tables_practice
from insights.wording import practice as wording_practice


def show() -> None:
    """Draw the page."""
    answer.title("Does it work?", "Does a practice prevent comebacks, and is it worth it?")
    record = controls.source()
    selection = controls.filters(record)
    question = asking.question(practice_data.choices(record, selection))
    if question is None:
        st.markdown("This record has no practice that was done in two ways. Nothing to compare.")
        return
    evidence = practice_data.practice(record, selection, question)
    found = wording_practice.of_practice(evidence)
    answer.say(found)
    answer.figure(
        picture.draw_estimates(evidence, answer.palette()),
        key="practice-estimates",
        alt=f"The difference by every way of estimating it. {found.sentence}",
    )
    answer.table(
        tables_practice.of_estimators(evidence),
        key="practice-numbers",
        alt="Shares back both ways, by every way of estimating them",
        numbers=evidence.table,
    )
    st.header("By root cause", anchor=False)
    answer.table(
        tables_practice.of_parts(evidence),
        key="practice-causes",
        alt="The difference split by root cause; the parts add up",
        numbers=evidence.causes,
    )
    _money(record, selection, evidence)
    _belief(record, selection, question, evidence)
    _wear(record, selection, question)
    _trial(record, selection, evidence)
    _others(record, selection, question)
    answer.keep_in_mind(found)
    answer.method(evidence.method, tables_practice.none())


def _money(record: Source, selection: Selection, evidence: PracticeEvidence) -> None:
    st.header("Does it pay?", anchor=False)
    asked = asking.costs(
        practice_data.comeback_cost(record, selection), data.history(record).currency
    )
    if asked is None:
        st.markdown(
            "Safety work is done on every job, whatever it costs. It is not weighed against money."
        )
        return
    pays = practice_data.pays(record, evidence, asked)
    answer.say(wording_practice.for_money(evidence, pays))
    answer.table(
        tables_practice.of_payback(pays),
        key="practice-payback",
        alt="What the practice earns, and what more data would be worth",
        numbers=pays.table,
    )


def _belief(
    record: Source, selection: Selection, question: PracticeQuestion, evidence: PracticeEvidence
) -> None:
    palette = answer.palette()
    st.header("Why believe it?", anchor=False)
    st.markdown(
        "The groups must be alike in what was known before the repair. Left of the dotted line "
        "they are alike enough."
    )
    answer.figure(
        picture.draw_balance(evidence, palette),
        key="practice-balance",
        alt="How different the two groups are in each fact, as done and after weighting",
    )
    st.markdown(
        "Jobs of both kinds must be found at the same height of this picture: where there are "
        "only jobs of one kind, nothing can be compared."
    )
    answer.figure(
        picture.draw_overlap(evidence, palette),
        key="practice-overlap",
        alt="Jobs of each group by the chance that such a job is done the way asked about",
    )
    answer.table(
        tables_practice.of_technicians(evidence),
        key="practice-technicians",
        alt="Who does it how often",
        numbers=evidence.technicians,
    )
    with st.expander("Every fact, before and after"):
        answer.table(
            tables_practice.of_balance(evidence),
            key="practice-balance-numbers",
            alt="How different the two groups are in each fact",
            numbers=evidence.balance,
        )
    with st.expander("Hazard ratios, beside it"):
        if asking.wants_ratios():
            ratios = practice_data.ratios(record, selection, question)
            answer.table(
                tables_practice.of_ratios(ratios),
                key="practice-ratios",
                alt="How the rate of comebacks compares between levels",
                numbers=ratios.table,
            )
            answer.remarks(ratios.notes)


def _wear(record: Source, selection: Selection, question: PracticeQuestion) -> None:
    st.header("Does the part wear out at all?", anchor=False)
    st.markdown(
        "Renewing a sound part prevents failures only if parts wear out. Where the rate falls "
        "with age, a new part is the greater risk."
    )
    causes = asking.part_causes(practice_data.choices(record, selection))
    if not causes:
        return
    wear = practice_data.wear(record, selection, causes)
    answer.say(wording_practice.of_wear(wear))
    answer.table(
        tables_practice.of_wear(wear),
        key="practice-wear",
        alt="Rate of comebacks by age",
        numbers=wear.table,
    )
    st.markdown(
        "If the practice renews both parts of a pair: what became of the partner, where only one "
        "had failed?"
    )
    pair = practice_data.pair(record, selection, question, causes[0])
    answer.say(wording_practice.of_pair(pair))
    answer.table(
        tables_practice.of_pair(pair),
        key="practice-pair",
        alt="Partner left in against partner renewed",
        numbers=pair.table,
    )


def _trial(record: Source, selection: Selection, evidence: PracticeEvidence) -> None:
    st.header("Let chance decide", anchor=False)
    st.markdown(
        "Where the record can't tell, a fair trial can: for some months the card drawn for a job "
        "says which way it is done, and the analysis is fixed before the first card."
    )
    with st.expander("Plan a trial"):
        planned = asking.trial(evidence)
        if planned is None:
            return
        plan, cards = practice_data.trial(record, selection, evidence, planned)
        for sentence in plan.words:
            st.markdown(f"- {literal(sentence)}")
        answer.table(
            tables_practice.of_looks(plan),
            key="trial-looks",
            alt="When to look, and what stops the trial",
        )
        answer.download(cards, key="trial-cards", label="Job cards as CSV")


def _others(record: Source, selection: Selection, question: PracticeQuestion) -> None:
    st.header("The other practices", anchor=False)
    st.markdown(
        "Looking at many practices finds something by chance alone. The one chosen above is the "
        "question; the others are looked at as exploration, and corrected for their number."
    )
    if not asking.wants_others():
        return
    many = practice_data.others(record, selection, question)
    answer.table(
        tables_practice.of_many(many),
        key="practice-others",
        alt="Every practice, and which stand out",
    )
    answer.keep_in_mind(wording.Finding("", tuple(note.text for note in many.notes)))
