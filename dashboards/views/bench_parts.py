"""Parts with their lots, line by line for a scanner; minutes and cost."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench.forms import Form, Sent
from dashboards.bench.job_form import job_form, saving
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from insights.bench.fitted import lines_of, lots_from, next_line
from insights.history.book.entries import BookJob

COLUMNS = ("bench_minutes", "parts_cost")


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    form = job_form(place, job, "parts", COLUMNS, lines_of(job.values))
    form.notices()
    parts = bench_data.codes(place.book).parts(str(job.values["model"]))
    for line in range(1, next_line(form.fields) + 1):
        _line(form, line, parts)
    form.text("bench_minutes", "Minutes on the bench", number=True)
    form.text("parts_cost", f"Cost of the parts {place.settings.currency}".strip(), number=True)
    with st.container(key="save-bar"):

        def changes(sent: Sent) -> dict[str, str | None]:
            entered = {name: sent.changes[name] for name in COLUMNS if name in sent.changes}
            return {**lots_from(sent.fields, job.values), **entered}

        form.save("Save parts and minutes", saving(place, job, "parts", changes))
        answer.saved(form.said)


def _line(form: Form, line: int, parts: tuple[str, ...]) -> None:
    left, right = st.columns(2)
    with left:
        form.code(f"part-{line}", f"Part {line}", parts)
    with right:
        form.text(f"lot-{line}", f"Its lot {line}", hint="scan the bag")
