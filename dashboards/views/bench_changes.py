"""The history of a job: who saved what, and what stood there before."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench.workplace import Place
from dashboards.markup import literal
from insights.history.book.entries import BookJob
from insights.wording.counter import of_saves


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    st.markdown(f"Every save of {literal(job.job_id)}, the latest first. Nothing is overwritten.")
    saves = of_saves(place.book.versions_of(job.job_id), place.settings)
    answer.bullets(reversed(saves))
