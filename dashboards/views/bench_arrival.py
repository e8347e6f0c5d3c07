"""What was said when the unit arrived, to be completed or put right."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench.job_form import as_entered, job_form, saving
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from insights.history.book.entries import BookJob

COLUMNS = (
    "unit_serial",
    "model",
    "customer",
    "phone",
    "postcode",
    "complaint",
    "received",
    "notified",
    "earlier_repair",
)
REPAIRED = ("never", "here", "elsewhere", "unknown")


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    form = job_form(place, job, "arrival", COLUMNS)
    form.notices()
    form.text("unit_serial", "Serial number")
    form.code("model", "Model", bench_data.codes(place.book).of("model"))
    form.text("customer", "Customer")
    form.text("phone", "Telephone")
    form.long_text("complaint", "What does the customer say?")
    with st.expander("More about it"):
        form.text("received", "Received on", hint="2026-03-09")
        form.text("notified", "Fault first reported on", hint="2026-03-09")
        form.pick("earlier_repair", "Repaired before", REPAIRED)
        form.text("postcode", "Postcode")
    with st.container(key="save-bar"):
        form.save("Save the correction", saving(place, job, "correction", as_entered))
        answer.saved(form.said)
