"""On the bench: the jobs not handed back yet, and one of them step by step."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboards import looking
from dashboards.bench import workplace
from dashboards.bench.workplace import Place
from dashboards.markup import literal
from dashboards.views import (
    bench_arrival,
    bench_changes,
    bench_findings,
    bench_leaving,
    bench_parts,
    bench_practices,
    bench_readings,
)
from insights.bench.open_jobs import matching
from insights.errors import RequestError
from insights.history.book.entries import BookJob
from insights.wording.counter import of_job

JOB = "job"
MOST_SHOWN = 30
STEPS: dict[str, Callable[[Place, BookJob], None]] = {
    "Found": bench_findings.show,
    "Done": bench_practices.show,
    "Parts": bench_parts.show,
    "Readings": bench_readings.show,
    "Leaves": bench_leaving.show,
    "Arrived": bench_arrival.show,
    "Changes": bench_changes.show,
}


def show() -> None:
    """Draw the page."""
    place = workplace.begin("On the bench", "Jobs that were not handed back, the longest first.")
    if place is None:
        return
    job = _opened(place)
    if job is None:
        _list(place)
    else:
        _one(place, job)


def _opened(place: Place) -> BookJob | None:
    asked = st.query_params.get(JOB)
    if not asked:
        return None
    try:
        return place.book.job(asked)
    except RequestError as error:
        st.warning(literal(str(error)))
        return None


def _list(place: Place) -> None:
    st.text_input(
        "Find",
        key="bench-find",
        placeholder="scan a card or a serial, or type part of anything",
        on_change=_open_if_one,
        args=(place,),
    )
    on_bench = place.book.jobs_on_bench()
    jobs = matching(on_bench, str(st.session_state["bench-find"]))
    if not on_bench:
        st.markdown("Nothing is on the bench.")
    elif not jobs:
        st.markdown("No job on the bench fits. A job handed back opens by its whole number.")
    for job in jobs[:MOST_SHOWN]:
        st.button(
            literal(of_job(job, workplace.today())),
            key=f"open-{job.job_id}",
            on_click=_open,
            args=(job.job_id,),
            width="stretch",
        )
    if len(jobs) > MOST_SHOWN:
        st.markdown(f"{len(jobs)} jobs fit; the {MOST_SHOWN} longest here are shown.")


def _open_if_one(place: Place) -> None:
    wanted = str(st.session_state["bench-find"])
    jobs = matching(place.book.jobs_on_bench(), wanted)
    if wanted and len(jobs) == 1:
        _open(jobs[0].job_id)
    elif not jobs and place.book.versions_of(wanted.strip()):
        _open(wanted.strip())  # handed back already


def _open(job_id: str | None) -> None:
    if job_id is None:
        st.query_params.clear()
    else:
        st.query_params[JOB] = job_id


def _one(place: Place, job: BookJob) -> None:
    looking.looked_at(place.book, place.person, job.job_id)
    st.markdown(f"## {literal(of_job(job, workplace.today()))}")
    if job.values.get("complaint"):
        st.markdown(f"“{literal(str(job.values['complaint']))}”")
    step = st.radio("Step", list(STEPS), key=f"bench-step-{job.job_id}", horizontal=True)
    STEPS[step](place, job)
    st.button("Back to the list", key="bench-back", on_click=_open, args=(None,), width="stretch")
