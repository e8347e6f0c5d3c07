"""The record: what loads, what is refused, which units are the same, and another sheet to open."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, controls, data, matching
from dashboards.data import Source
from insights import tables, wording
from insights.errors import FormatQuestion, HeadingsError, SourceError
from insights.followup import Followup
from insights.history.schema import History

KINDS = ["csv", "txt", "tsv", "xlsx", "parquet"]


def show() -> None:
    """Draw the page."""
    answer.title("The record", "What the answers rest on, and what is wrong with it.")
    record = controls.source()
    _open_another(record)
    try:
        history = data.history(record)
    except (HeadingsError, FormatQuestion) as question:
        st.warning(matching.words_for(question))
        matching.ask(record, question)
        return
    except SourceError as error:
        answer.refuse(error)
        return
    selection = controls.chosen_rules()
    followup = data.followup(record, selection)
    found = wording.of_standing(data.standing(record, selection))
    answer.say(found)
    answer.remarks((*history.notes, *followup.links.notes, *followup.notes))
    _refused(history)
    _contradictions(followup)
    _units(record, followup)
    if record.is_file:
        with st.expander("How the headings were read, and how to change it"):
            matching.ask(record)


def _open_another(record: Source) -> None:
    with st.expander("Open another job history", expanded=record.is_invented):
        st.markdown(
            "A CSV, Excel (.xlsx) or Parquet file with one row per job. It stays on this "
            "machine. Headings other than ours are asked about, and remembered."
        )
        st.file_uploader("Your file", type=KINDS, key="upload", on_change=_take)
        if controls.is_other_than_first():
            st.button(
                "Back to the record this began with", key="first", on_click=controls.open_source
            )


def _take() -> None:
    given = st.session_state["upload"]
    if given is not None:
        controls.open_source(data.uploaded(given.name, given.getvalue()))


def _refused(history: History) -> None:
    st.header("Rows that did not load", anchor=False)
    if history.refused.empty:
        st.markdown("None: every row loads.")
        return
    answer.table(
        tables.of_refusals_by_reason(history),
        key="refused-by-reason",
        alt="Why rows were refused, and how many",
    )
    with st.expander("Row by row"):
        answer.table(
            tables.of_refused(history), key="refused", alt="Each problem of each refused row"
        )
        answer.download(
            history.refused_rows, key="refused-rows", label="The refused rows as given, to mend"
        )


def _contradictions(followup: Followup) -> None:
    st.header("Dates that contradict each other", anchor=False)
    if followup.problems.empty:
        st.markdown("None.")
        return
    st.markdown("The jobs they touch are left out of the clock until one of the dates is mended.")
    answer.table(
        tables.of_problems(followup), key="contradictions", alt="Dates that contradict each other"
    )


def _units(record: Source, followup: Followup) -> None:
    st.header("Which jobs are the same unit", anchor=False)
    doubtful = tables.of_pairs(followup, "doubtful")
    if doubtful.empty:
        st.markdown("No pair of jobs is in doubt.")
    else:
        st.markdown(
            "These pairs may be one unit. They are kept apart until someone knows; below them "
            "stands how much hangs on it."
        )
        answer.table(doubtful, key="doubtful-pairs", alt="Pairs of jobs that may be one unit")
        selection = controls.chosen_rules()
        answer.table(
            tables.of_linkage(
                data.curves(record, selection),
                data.curves_if_doubtful_are_linked(record, selection),
            ),
            key="if-linked",
            alt="Share back with doubtful pairs kept apart and taken as one unit",
        )
    linked = tables.of_pairs(followup, "linked")
    if not linked.empty:
        with st.expander("Pairs that were linked without an equal serial, and why"):
            answer.table(linked, key="linked-pairs", alt="Pairs of jobs taken to be one unit")
