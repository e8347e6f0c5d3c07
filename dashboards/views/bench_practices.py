"""What was done: the model's checklist, each line a choice of its levels."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench.job_form import as_entered, job_form, saving
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.markup import literal
from insights.bench.kept import sheet_of
from insights.history.book.entries import BookJob


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    model = str(job.values["model"])
    asked = _checklist(place, model)
    if not asked:
        st.markdown(
            f"There is no checklist for {literal(model)} yet, and no practice was ever recorded "
            "on one. The owner makes it on the page *Bench lists*, under Models."
        )
        return
    form = job_form(place, job, "practices", [f"practice_{name}" for name in asked])
    form.notices()
    for name, levels in asked.items():
        form.pick(f"practice_{name}", name.replace("_", " ").capitalize(), levels)
    with st.container(key="save-bar"):
        form.save("Save what was done", saving(place, job, "practices", as_entered))
        answer.saved(form.said)


def _checklist(place: Place, model: str) -> dict[str, tuple[str, ...]]:
    """Give the owner's checklist; without one, what was recorded on this model so far."""
    sheet = sheet_of(place.book, model)
    if sheet is not None and sheet.checklist:
        return {practice.name: practice.levels for practice in sheet.checklist}
    return bench_data.codes(place.book).practices(model)
