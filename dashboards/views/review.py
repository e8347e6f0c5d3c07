"""Better or worse: this year beside last, groups like for like, what comebacks cost."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, looking
from dashboards.asking import review as review_asking
from dashboards.data import Source
from dashboards.data import review as review_data
from dashboards.figures import review as picture
from dashboards.selection import Selection
from dashboards.views import calls
from insights.errors import EvidenceError, RequestError, SourceError
from insights.reviewing.call_back import ANSWERS
from insights.tables import review as tables_review
from insights.wording import review as wording_review


def show() -> None:
    """Draw the page."""
    answer.title("Better or worse", "Are we getting better, and what is behind our comebacks?")
    record = controls.source()
    selection = controls.filters(record)
    _ages(record, selection)
    reviewed = review_data.reviewed(record, selection)
    st.header("What may be behind it", anchor=False)
    everything = wording_review.of_review(reviewed)
    answer.say(everything)
    by, day = review_asking.groups_and_day(reviewed)
    st.markdown(wording_review.of_review(reviewed, day, by).sentence)
    palette = answer.palette()
    what = wording_review.name_of(by)
    answer.figure(
        picture.draw_ratios(reviewed, by, day, palette),
        key="review-ratios",
        alt=f"Comebacks for each expected by {what}, with ranges.",
    )
    with st.expander("Could it be chance? Every group by its size"):
        answer.figure(
            picture.draw_funnel(reviewed, by, day, palette),
            key="review-funnel",
            alt=f"Comebacks for each expected by size of group, by {what}, with limits of chance.",
        )
    answer.table(
        tables_review.of_groups(reviewed, by, day),
        key="review-groups",
        alt=f"Comebacks by {what}, like for like",
        numbers=reviewed.table,
    )
    with st.expander("Nothing wrong, or misused: arrivals that show no failure"):
        answer.table(
            tables_review.of_apart(reviewed, by),
            key="review-apart",
            alt=f"Arrivals with no fault found or misuse, by {what}",
        )
    st.header("Units that had been repaired before", anchor=False)
    earlier = wording_review.of_earlier(reviewed)
    answer.say(earlier)
    _costs(record, selection)
    _calls(record, selection, day)
    answer.keep_in_mind(everything.with_caveats(earlier.caveats))
    with st.expander("How this is worked out"):
        st.markdown(reviewed.method)


def _ages(record: Source, selection: Selection) -> None:
    ageing = review_data.ageing(record, selection)
    found = wording_review.of_year(ageing.year)
    answer.say(found)
    answer.figure(
        picture.draw_year(ageing.year, answer.palette()), key="review-years", alt=found.sentence
    )
    st.header("Months of hand-back, as they age", anchor=False)
    answer.figure(
        picture.draw_cohorts(ageing, answer.palette()),
        key="review-months",
        alt="Share back by month of hand-back and days since; blank where too young.",
    )
    with st.expander("The numbers behind this figure"):
        answer.table(
            tables_review.of_months(ageing),
            key="review-month-numbers",
            alt="Share back of 100 by month of hand-back and day",
            numbers=ageing.table,
        )


def _costs(record: Source, selection: Selection) -> None:
    st.header("What comebacks cost", anchor=False)
    costs = review_data.costs(record, selection)
    found = wording_review.of_costs(costs)
    answer.say(found)
    if not costs.billed:
        answer.remarks(costs.notes)
        return
    answer.figure(
        picture.draw_costs(costs, answer.palette()), key="review-costs", alt=found.sentence
    )
    answer.table(
        tables_review.of_costs(costs),
        key="review-cost-numbers",
        alt="What comebacks cost by root cause",
        numbers=costs.table,
    )
    answer.table(
        tables_review.of_costs_apart(costs),
        key="review-cost-apart",
        alt="What arrivals cost on which nothing had failed",
    )


def _calls(record: Source, selection: Selection, day: int) -> None:
    st.header("What never came back", anchor=False)
    st.markdown(wording_review.CALL)
    if record.is_book:
        failed = review_data.failed_by_book(record, selection, day)
        if failed is not None:
            said = wording_review.of_corrected(failed, day)
            answer.say(said)
            answer.keep_in_mind(said)
        calls.show(record, selection)
        return
    with st.expander("Call some owners"):
        size, seed = review_asking.calls()
        try:
            drawn = review_data.to_call(record, selection, size, seed)
            noted = looking.noting(record, f"owners to call: {len(drawn)} units")
            answer.download(
                drawn, key="owners-to-call", label="Owners to call, as CSV", before=noted
            )
        except EvidenceError as error:
            st.markdown(str(error))
        st.markdown(
            "Write one of these words under `answer`: "
            + "; ".join(f"`{word}` ({meaning})" for word, meaning in ANSWERS.items())
            + "."
        )
        given = review_asking.answers()
    if given is not None:
        try:
            found = wording_review.of_corrected(
                review_data.failed(record, selection, given, day), day
            )
            answer.say(found)
            answer.keep_in_mind(found)
        except (EvidenceError, RequestError, SourceError) as error:
            answer.refuse(error)
