"""The unit leaves: readings first, then price and term; what the customer takes along."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.job_form import job_form, marked_at
from dashboards.bench.workplace import Place
from dashboards.markup import literal
from insights import wording
from insights.bench.at_bench import NOT_RETURNED, Save, hand_back, judgement_of
from insights.bench.kept import Printed, printed
from insights.bench.limits import Judgement, check_hand_back
from insights.bench.summary import summary_page
from insights.errors import RequestError
from insights.history.book.entries import BookJob
from insights.history.book.kinds import PRINTED, WHOLE_BOOK
from insights.history.schema import ENDINGS
from insights.wording.summary import customer_summary

BACK = "handed back"
MONEY = ("price", "term_days")


def show(place: Place, job: BookJob) -> None:
    """Draw the step."""
    judgement, held = _held(place, job)
    gone = "handed_back" in job.values or "ended_on" in job.values
    if held and not gone:
        st.warning(literal(held))
    form = _form(place, job)
    form.notices()
    form.pick("how", "How does it leave?", [BACK, *ENDINGS])
    form.text("on", "On", hint="2026-03-09")
    form.text("price", f"Price {place.settings.currency}".strip(), number=True)
    form.text("term_days", "Our warranty, in days (0: none)", number=True)
    st.markdown(literal(wording.STATUTORY))
    form.long_text(
        NOT_RETURNED,
        "Not returned to use: why (leave empty if it goes back into use)",
        hint="such as: customer declined the repair, cut lead, labelled",
    )
    with st.container(key="save-bar"):
        form.save("It leaves", lambda sent: _leave(place, job, sent))
        answer.saved(form.said)
    if gone:
        _print(place, job, judgement)


def _held(place: Place, job: BookJob) -> tuple[Judgement | None, str]:
    """Judge the readings, and say what holds the unit back, if anything."""
    try:
        judgement = judgement_of(place.book, job)
        check_hand_back(judgement)
    except RequestError as error:
        return None, str(error)
    return judgement, ""


def _form(place: Place, job: BookJob) -> Form:
    known = job.values
    left = known.get("handed_back", known.get("ended_on"))
    more = {
        "how": str(known.get("ended_how", BACK)),
        "on": f"{left:%Y-%m-%d}" if left is not None else workplace.today().isoformat(),
        NOT_RETURNED: str(job.bench.get(NOT_RETURNED, "")),
    }
    return job_form(place, job, "leaving", MONEY, more)


def _leave(place: Place, job: BookJob, sent: Sent) -> str:
    fields = sent.fields
    entered: dict[str, str | None] = {name: fields.get(name, "") for name in MONEY}
    if fields["how"] in ENDINGS:
        entered |= {"handed_back": None, "ended_on": fields["on"], "ended_how": fields["how"]}
    else:
        entered |= {"handed_back": fields["on"], "ended_on": None, "ended_how": None}
    how = Save(sent.expected, place.person, sent.token)
    with marked_at({"handed_back": "on", "ended_on": "on"}):
        saved = hand_back(place.book, job, entered, fields.get(NOT_RETURNED, ""), how)
    return f"Saved: {saved.what}."


def _print(place: Place, job: BookJob, judgement: Judgement | None) -> None:
    st.header("For the customer", anchor=False)
    said = printed(place.book)
    if not said.workshop or not said.jurisdiction:
        _ask_what_is_printed(place, said)
        return
    st.download_button(
        "Summary to print",
        data=lambda: _summary(place, job, judgement, said),
        file_name=f"{job.job_id} summary.html",
        mime="text/html",
        key=f"summary-{job.job_id}",
        on_click="ignore",
        width="stretch",
    )


def _summary(place: Place, job: BookJob, judgement: Judgement | None, said: Printed) -> bytes:
    summary = customer_summary(
        job,
        place.settings,
        workshop=said.workshop,
        jurisdiction=said.jurisdiction,
        judgement=judgement,
    )
    return summary_page(summary).encode("utf-8")


def _ask_what_is_printed(place: Place, said: Printed) -> None:
    st.markdown("Once, for all summaries: what is printed on each of them.")
    kept = place.book.get(PRINTED, WHOLE_BOOK)
    number = kept.number if kept else 0
    form = Form(place.book, place.person, "printed", fields=vars(said), number=number)
    form.notices()
    form.text("workshop", "The workshop's name and address")
    form.text("jurisdiction", "Whose law applies", hint="such as: the law of our own country")
    form.save("Print it so", lambda sent: _keep_printed(place, sent))


def _keep_printed(place: Place, sent: Sent) -> str:
    place.book.put(
        PRINTED,
        WHOLE_BOOK,
        dict(sent.fields),
        by=place.person,
        expected=sent.expected,
        token=sent.token,
    )
    return "Saved."
