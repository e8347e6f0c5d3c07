"""Final readings: what to mind, what is asked for, how each lies to its limit."""

from __future__ import annotations

import streamlit as st

from dashboards import answer, workplace
from dashboards.forms import Form, Sent
from dashboards.job_form import job_form
from dashboards.markup import literal
from dashboards.workplace import Place
from insights import wording_bench
from insights.bench.at_bench import (
    Save,
    judgement_of,
    protection_of,
    readings_of,
    readings_typed,
    save_readings,
)
from insights.bench.kept import instruments
from insights.bench.limits import Judgement
from insights.bench.readings import PROTECTIONS
from insights.errors import RequestError
from insights.history.book.entries import BookJob

NOT_FIELDS = ("protection", "instrument", "other")


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
    if judgement is not None:
        for line in judgement.lines:
            name = f"reading_{line.quantity}_{line.unit}"
            label = wording_bench.in_words(line.quantity).capitalize()
            unit = wording_bench.UNITS.get(line.unit, line.unit)
            form.text(
                name,
                f"{label}, {unit}",
                hint=wording_bench.allowed_words(line),
                number=True,
            )
    with st.expander("Another reading"):
        form.text("other", "Its name and unit", hint="such as plate_left_c or leakage_ma")
        form.text("other-value", "Read", number=True)
    with st.container(key="save-bar"):
        form.save("Save these readings", lambda sent: _save(place, job, sent))
        answer.saved(form.said)


def _judged(place: Place, job: BookJob) -> Judgement | None:
    try:
        judgement = judgement_of(place.book, job)
    except RequestError as error:
        st.warning(literal(str(error)))
        return None
    said = wording_bench.of_judgement(judgement)
    answer.say(said)
    answer.keep_in_mind(said)
    return judgement


def _instrument(place: Place, form: Form) -> None:
    names = [one.name for one in instruments(place.book) if one.in_use]
    if not names:
        st.markdown("The owner's list of instruments is empty: none can be recorded yet.")
        return
    form.code("instrument", "Measured with", names, hint="choose one", add=False)
    st.markdown("Save once for each instrument. A reading taken again is kept beside the first.")


def _save(place: Place, job: BookJob, sent: Sent) -> str:
    typed = {name: text for name, text in sent.fields.items() if name.startswith("reading_")}
    if sent.fields.get("other"):
        typed[f"reading_{sent.fields['other']}"] = sent.fields.get("other-value", "")
    known = {one.name: one for one in instruments(place.book)}
    instrument = known.get(sent.fields.get("instrument", ""))
    day = workplace.today()
    taken = readings_typed(typed, instrument, place.settings, day)
    how = Save(sent.expected, place.person, sent.token)
    save_readings(place.book, job, taken, sent.fields.get("protection", ""), how)
    return "Saved: final readings."
