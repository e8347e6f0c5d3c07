"""The form that asks how a sheet is written: which heading is what, dates, decimals, currency."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from dashboards import controls, data
from dashboards.data import Source
from dashboards.markup import literal
from insights.errors import FormatQuestion, HeadingsError, StaysfixedError
from insights.history.declared import Declared, recall, remember
from insights.history.headings import SURE, plain
from insights.history.questions import DateQuestion, MissingColumns, SheetQuestion
from insights.history.schema import COLUMNS, Column, column

if TYPE_CHECKING:
    import pandas as pd

NOT_THERE = ""
USUAL = ("received", "handed_back", "unit_serial", "model", "technician", "root_cause", "term_days")
FAMILIES = {
    "practice_": "Columns that say what the bench did or left undone (practices)",
    "lot_": "Columns that hold the purchase lot of a fitted part",
    "reading_": "Columns that hold a final-test reading (the unit last in the heading)",
}
ISO = "%Y-%m-%d"
DATE_FORMATS = ("%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%m/%d/%y", "%d.%m.%y")
LABELS = {
    "condition": "Condition of the unit, 1 (good) to 5 (poor)",
    "postcode": "Postcode, only used to recognise a unit",
    "phone": "Telephone, only used to recognise a unit",
}
"""Where a column's note, read beside its name in a table, would not stand alone."""
SAMPLE_DAY = dt.date(2026, 3, 9)


def ask(
    record: Source,
    question: HeadingsError | FormatQuestion | None = None,
    then: Callable[[Source], None] = controls.open_source,
) -> None:
    """Draw the form; on submit, remember the answer and read the record again.

    Parameters
    ----------
    record
        A file, uploaded or on disk.
    question
        Why the record could not be read; None: it was, and the reader may change how.
    then
        Takes the record as it is to be read now.
    """
    if isinstance(question, SheetQuestion):
        _ask_sheet(record, question, then)
        return
    suggested = data.headings(record)
    known = _known_so_far(record, suggested)
    # Another sheet gets fields of its own: the browser would resend the last one's answers.
    key = f"matching-{record.mark}"
    with st.form(key, border=True):
        st.markdown(
            "**Which of your headings is which?** Likely ones are filled in; look them through. "
            "Your answer is kept on this machine for the next sheet with the same headings."
        )
        chosen = _columns(suggested, known.headings, key)
        families = _families(suggested, known.headings, key)
        st.markdown("**How are dates and amounts written?**")
        date_format = _date_format(known.date_format, question, key)
        decimal = _decimal(known.decimal, key)
        currency = st.text_input(
            "Currency of every amount", known.currency, placeholder="EUR", key=f"{key}-currency"
        )
        sent = st.form_submit_button("Read it like this", type="primary", key=f"{key}-send")
    if not sent:
        return
    if date_format is None:
        st.error("Say how dates are written: more than one way fits the dates in your sheet.")
        return
    headings = list(suggested["theirs"])
    try:
        declared = replace(
            known,
            headings=mapping_of(
                chosen,
                families,
                headings,
                dict(zip(suggested["theirs"], suggested["ours"], strict=True)),
            ),
            date_format=None if date_format == ISO else date_format,
            decimal=decimal,
            currency=currency.strip(),
        )
        remember(headings, declared)
    except StaysfixedError as error:
        st.error(literal(str(error)))
        return
    then(data.again(record, declared))
    st.rerun()


def words_for(question: HeadingsError | FormatQuestion) -> str:
    """Say what has to be answered, in words for a reader who has the form before them."""
    if isinstance(question, MissingColumns):
        missing = [found for found in COLUMNS if found.name in question.missing]
        wanted = "; ".join(found.note.partition(";")[0] for found in missing)
        return (
            "This sheet has headings of its own, and it is not sure which of them holds "
            f"{literal(wanted)}. Say below which heading is which."
        )
    if isinstance(question, DateQuestion):
        return "Some dates are not written year-month-day. Say below how they are written."
    if isinstance(question, SheetQuestion):
        return "This workbook has more than one sheet with something in it."
    return literal(str(question))


def mapping_of(
    chosen: Mapping[str, str],
    families: Mapping[str, Sequence[str]],
    headings: Sequence[str],
    suggested: Mapping[str, str] | None = None,
) -> dict[str, str]:
    """Turn the form's answers into a mapping of every heading.

    Parameters
    ----------
    chosen
        Our column to their heading; empty: not there.
    families
        Our prefix (``practice_``, ``lot_``, ``reading_``) to their headings.
    headings
        All headings of the sheet. One that was not chosen is left aside.
    suggested
        Their heading to our column, where one was suggested: ``Pump batch`` is ``lot_pump``.

    Raises
    ------
    HeadingsError
        One heading was chosen for two columns.
    """
    mapping = dict.fromkeys(headings, NOT_THERE)
    wanted = [(ours, theirs) for ours, theirs in chosen.items() if theirs]
    wanted += [
        (_family_name(prefix, theirs, (suggested or {}).get(theirs, "")), theirs)
        for prefix, several in families.items()
        for theirs in several
    ]
    for ours, theirs in wanted:
        if mapping[theirs]:
            raise HeadingsError(
                f"The heading {theirs!r} is chosen for {mapping[theirs]} and for {ours}. "
                "Choose another heading for one of them."
            )
        mapping[theirs] = ours
    return mapping


def _family_name(prefix: str, heading: str, suggested: str) -> str:
    if suggested.startswith(prefix):
        return suggested
    name = plain(heading)
    return name if name.startswith(prefix) else prefix + name


def _known_so_far(record: Source, suggested: pd.DataFrame) -> Declared:
    """Take what was declared or remembered, then our own names, then what is likely enough."""
    headings = list(suggested["theirs"])
    said = record.declared or recall(headings) or Declared()
    known = {ours: theirs for theirs, ours in said.headings.items() if ours}
    if not said.headings:
        likely = suggested[(suggested["likeness"] >= SURE) & (suggested["ours"] != NOT_THERE)]
        known = dict(zip(likely["ours"], likely["theirs"], strict=True))
        own = {name: name for name in headings if column(name) is not None}
        known = own | {name: theirs for name, theirs in known.items() if theirs not in own}
    return replace(said, headings={theirs: ours for ours, theirs in known.items()})


def _columns(suggested: pd.DataFrame, known: Mapping[str, str], key: str) -> dict[str, str]:
    theirs_of = {ours: theirs for theirs, ours in known.items() if ours}
    why = dict(zip(suggested["ours"], suggested["why"], strict=True))
    options = [NOT_THERE, *suggested["theirs"]]
    first = [found for found in COLUMNS if found.required or found.name in USUAL]
    rest = [found for found in COLUMNS if found not in first]
    chosen = {}

    def draw(columns: Sequence[Column]) -> None:
        left, right = st.columns(2)
        for place, found in enumerate(columns):
            theirs = theirs_of.get(found.name, NOT_THERE)
            chosen[found.name] = (left, right)[place % 2].selectbox(
                _label(found),
                options,
                index=options.index(theirs) if theirs in options else 0,
                format_func=lambda name: name or "not in this sheet",
                key=f"{key}-{found.name}",
                help=why.get(found.name) or None,
            )

    draw(first)
    with st.expander("More columns, where your sheet has them"):
        draw(rest)
    return chosen


def _label(found: Column) -> str:
    name = LABELS.get(found.name, found.note)
    return name[:1].upper() + name[1:] + (" (needed)" if found.required else "")


def _families(suggested: pd.DataFrame, known: Mapping[str, str], key: str) -> dict[str, list[str]]:
    options = list(suggested["theirs"])
    return {
        prefix: st.multiselect(
            label,
            options,
            default=[name for name in options if known.get(name, "").startswith(prefix)],
            key=f"{key}-{prefix}",
            placeholder="None",
        )
        for prefix, label in FAMILIES.items()
    }


def _date_format(known: str | None, question: Exception | None, key: str) -> str | None:
    """Ask how dates are written; None where several ways fit and none was chosen."""
    likely: tuple[str, ...] = ()
    start: str | None = known or ISO
    if isinstance(question, DateQuestion):
        likely = question.formats
        start = likely[0] if len(likely) == 1 else None
        for heading, values in question.examples.items():
            st.markdown(f"Dates under {literal(heading)}: {literal(', '.join(values[:4]))}")
    options = list(dict.fromkeys([*likely, known or ISO, ISO, *DATE_FORMATS]))
    return st.selectbox(
        "9 March 2026 is written",
        options,
        index=None if start is None else options.index(start),
        format_func=SAMPLE_DAY.strftime,
        placeholder="More than one way fits: choose",
        key=f"{key}-dates",
        width=320,
    )


def _decimal(known: str, key: str) -> str:
    marks = {".": "12.50", ",": "12,50"}
    return str(
        st.radio(
            "Twelve and a half is written",
            list(marks),
            index=list(marks).index(known),
            format_func=lambda mark: marks[mark],
            key=f"{key}-decimal",
            horizontal=True,
        )
    )


def _ask_sheet(record: Source, question: SheetQuestion, then: Callable[[Source], None]) -> None:
    with st.form(f"sheet-form-{record.mark}", border=True):
        sheet = st.selectbox(
            "Which sheet holds the jobs?", question.sheets, key=f"sheet-{record.mark}", width=320
        )
        sent = st.form_submit_button("Read this sheet", type="primary")
    if sent:
        then(data.again(record, replace(record.declared or Declared(), sheet=sheet)))
        st.rerun()
