"""Take in: a unit arrives, and the book says at once whether it was here before."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, looking, opening
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.markup import literal
from dashboards.views.bench_arrival import REPAIRED
from insights.bench.job_card import job_card_page
from insights.history.book.look_up import Found
from insights.wording import counter as wording_counter

TELLING = (
    "unit_serial",
    "model",
    "customer",
    "phone",
    "postcode",
    "unit_age_years",
    "earlier_repair",
    "received",
    "notified",
)
CONDITIONS = {"1": "1 good", "2": "2", "3": "3", "4": "4", "5": "5 poor"}


def show() -> None:
    """Draw the page."""
    place = workplace.begin("Take in", "A unit arrives. Scan its serial, or type it, then Enter.")
    if place is None:
        return
    form = Form(
        place.book, place.person, "take-in", fields={"received": workplace.today().isoformat()}
    )
    form.notices()
    form.text("unit_serial", "Serial number", hint="scan it, or type it from the plate")
    found = bench_data.here_before(place.book, {name: form.value(name) for name in TELLING})
    _here_before(place, found)
    _fields(place, form)
    with st.container(key="save-bar"):
        form.save("Take it in", lambda sent: _take_in(place, sent))
        if form.said:
            _taken_in(place, form.said)


def _here_before(place: Place, found: Found | None) -> None:
    if found is None:
        return
    said = wording_counter.of_found(found)
    shown = [visit.job.job_id for unit in found.units for visit in unit.visits]
    looking.looked_at(place.book, place.person, *shown)
    answer.say(said)
    for unit in found.units:
        with st.container(border=True):
            if len(found.units) > 1:
                st.markdown(f"**{literal(wording_counter.of_likeness(unit))}**")
            for visit in wording_counter.of_unit(unit):
                st.markdown(f"- {literal(visit)}")
            st.markdown(literal(f"Compared: {unit.reasons}."))
    answer.keep_in_mind(said)


def _fields(place: Place, form: Form) -> None:
    form.code("model", "Model", bench_data.codes(place.book).of("model"))
    form.text("customer", "Customer", hint="a name, or your own reference")
    form.text("phone", "Telephone")
    form.long_text("complaint", "What does the customer say?")
    with st.expander("More about it"):
        form.text("received", "Received on", hint="2026-03-09")
        form.text("notified", "Fault first reported on", hint="2026-03-09")
        form.pick("condition", "Condition", list(CONDITIONS), CONDITIONS)
        form.text("unit_age_years", "Age in years", number=True)
        form.pick("earlier_repair", "Repaired before", REPAIRED)
        form.text("postcode", "Postcode")
        form.text("job_id", "A job number of your own", hint="empty: the next one")


def _take_in(place: Place, sent: Sent) -> str:
    entered = {name: value for name, value in sent.fields.items() if value}
    return place.book.receive(entered, by=place.person, token=sent.token).job_id


def _taken_in(place: Place, job_id: str) -> None:
    answer.job_number(job_id, "is its job number. Write it on the tag.")
    left, right = st.columns(2)
    left.download_button(
        "Card to print",
        data=lambda: _card(place, job_id),
        file_name=f"{job_id}.html",
        mime="text/html",
        key=f"card-{job_id}",
        on_click="ignore",
        width="stretch",
    )
    with right:
        opening.link("bench", "Open it on the bench", job=job_id)


def _card(place: Place, job_id: str) -> bytes:
    job = place.book.job(job_id)
    found = bench_data.here_before(place.book, {**job.values, "job_id": job_id})
    sure = [unit for unit in found.units if unit.is_sure] if found else []
    earlier = [visit for unit in sure for visit in wording_counter.of_unit(unit)]
    return job_card_page(job, place.settings, earlier).encode("utf-8")
