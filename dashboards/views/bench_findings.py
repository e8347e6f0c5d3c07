"""What was found: root cause, what made it fail, and in what state the unit is."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench.job_form import as_entered, job_form, saving
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.views.take_in import CONDITIONS
from insights.history.book.entries import BookJob
from insights.history.schema import EARLIER_WORK
from insights.wording import suggestion as wording_suggestion

COLUMNS = (
    "root_cause",
    "upstream_cause",
    "cause_removed",
    "notes",
    "technician",
    "condition",
    "earlier_work",
    "unit_age_years",
)


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    codes = bench_data.codes(place.book)
    form = job_form(place, job, "findings", COLUMNS)
    form.notices()
    form.code("root_cause", "Root cause: what failed", codes.of("root_cause"))
    _suggest(place, job, form.value("notes"))
    form.code("upstream_cause", "Upstream cause: what made it fail", codes.of("upstream_cause"))
    form.pick("cause_removed", "Was that put right?", ["yes", "no", "unknown"])
    form.long_text("notes", "Notes from the bench")
    with st.expander("Who, and in what state"):
        people = dict.fromkeys((place.person.name, *codes.of("technician")))
        form.code("technician", "Done by", list(people))
        form.pick("condition", "Condition", list(CONDITIONS), CONDITIONS)
        form.pick("earlier_work", "Repaired before? In what state is that work", EARLIER_WORK)
        form.text("unit_age_years", "Age in years", number=True)
    with st.container(key="save-bar"):
        form.save("Save what was found", saving(place, job, "findings", as_entered))
        answer.saved(form.said)


def _suggest(place: Place, job: BookJob, notes: str) -> None:
    """Show a suggestion beside the field; nothing is ever filled in from it."""
    learnt = bench_data.cause_model(place.book)
    if learnt is None:
        return
    found = bench_data.suggestion(learnt, str(job.values.get("complaint", "")), notes)
    said = wording_suggestion.of_suggestion(found, learnt)
    answer.aside(" ".join((said.sentence, *said.caveats)))
