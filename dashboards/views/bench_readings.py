"""Final readings: what to mind, what is asked for, how each lies to its limit."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.job_form import job_form, marked_at
from dashboards.bench.workplace import Place
from dashboards.markup import literal
from insights.bench.at_bench import (
    Save,
    judgement_of,
    protection_of,
    reading_column,
    readings_of,
    readings_typed,
    save_readings,
)
from insights.bench.cautions import cautions_for
from insights.bench.kept import instruments, limits
from insights.bench.limits import Judgement
from insights.bench.readings import PROTECTIONS
from insights.errors import RequestError
from insights.history.book.entries import BookJob
from insights.wording import Finding
from insights.wording import bench as wording_bench


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    judgement = _judged(place, job)
    taken = readings_of(job)
    form = job_form(
        place,
        job,
        "readings",
        (),
        {
            "protection": protection_of(place.book, job),
            "instrument": taken[-1].instrument if taken else "",
        },
    )
    form.notices()
    form.pick("protection", "Protection, from the rating plate", list(PROTECTIONS), PROTECTIONS)
    _instrument(place, form)
    for line in judgement.lines if judgement else ():
        label = wording_bench.in_words(line.quantity).capitalize()
        unit = wording_bench.UNITS.get(line.unit, line.unit)
        name = f"reading_{line.quantity}_{line.unit}"
        allowed = wording_bench.allowed_words(line)
        form.text(name, f"{label}, {unit}", hint=allowed, number=True)
        answer.aside(wording_bench.of_reading(line))
    with st.expander("Another reading"):
        form.text("other", "Its name and unit", hint="such as plate left, °C or leakage, mA")
        form.text("other-value", "Read", number=True)
    if judgement is not None:
        answer.bullets(note.text for note in judgement.notes)
    with st.container(key="save-bar"):
        form.save("Save these readings", lambda sent: _save(place, job, sent))
        answer.saved(form.said)


def _judged(place: Place, job: BookJob) -> Judgement | None:
    try:
        judgement = judgement_of(place.book, job)
    except RequestError as error:
        st.warning(literal(str(error)))
        answer.bullets(cautions_for([limit.quantity for limit in limits(place.book)]))
        return None
    answer.say(Finding(wording_bench.of_verdict(judgement)))
    answer.bullets(cautions_for([line.quantity for line in judgement.lines]))
    return judgement


def _instrument(place: Place, form: Form) -> None:
    names = [one.name for one in instruments(place.book) if one.in_use]
    if not names:
        st.markdown(
            "What it was measured with can't be recorded yet: the owner's list of instruments, on "
            "the page *Bench lists*, is empty."
        )
        return
    form.code("instrument", "Measured with", names, hint="choose one", add=False)
    st.markdown("Save once for each instrument. A reading taken again is kept beside the first.")


def _save(place: Place, job: BookJob, sent: Sent) -> str:
    typed = {name: text for name, text in sent.fields.items() if name.startswith("reading_")}
    other = ""
    if sent.fields.get("other"):
        other = reading_column(sent.fields["other"])
        typed[other] = sent.fields.get("other-value", "")
    known = {one.name: one for one in instruments(place.book)}
    instrument = known.get(sent.fields.get("instrument", ""))
    day = workplace.today()
    with marked_at({other: "other-value"}):
        taken = readings_typed(typed, instrument, place.settings, day)
    how = Save(sent.expected, place.person, sent.token)
    save_readings(place.book, job, taken, sent.fields.get("protection", ""), how)
    return "Saved: final readings."
