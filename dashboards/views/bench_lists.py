"""Bench lists: what the owner keeps for the bench - limits, a sheet a model, instruments."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import streamlit as st

from dashboards import answer
from dashboards.bench import workplace
from dashboards.bench.forms import Form, Sent
from dashboards.bench.workplace import Place
from dashboards.data import bench as bench_data
from dashboards.data import claims as claims_data
from dashboards.markup import literal
from insights.bench import kept, typed
from insights.bench.cautions import CONFIRM, LICENSED, MAINS, TEST_VOLTAGE
from insights.bench.keeping import keep
from insights.bench.readings import PROTECTIONS, Limit
from insights.bench.rules import RULES
from insights.bench.sheets import Instrument, ModelSheet, limits_to_start_from
from insights.history.book.kinds import INSTRUMENT, LIMIT, SHEET
from insights.history.book.people import OWNER
from insights.tables import bench as tables_bench
from insights.wording import bench as wording_bench

NEW = ""
SAID = "bench-lists-said"
USUAL = {"required": typed.YES, "confirmed": typed.NO}
NOT_OWNER = "Only an owner changes these lists."


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "Bench lists", "How far each reading may go, what is asked on each model, what measures."
    )
    if place is None:
        return
    if said := st.session_state.get(SAID):
        st.success(literal(said))
    limits, sheets, instruments = st.tabs(["Limits", "Models", "Instruments"])
    with limits:
        _limits(place)
    with sheets:
        _sheets(place)
    with instruments:
        _instruments(place)


def _limits(place: Place) -> None:
    known = {limit.key: limit for limit in kept.limits(place.book)}
    for caution in (CONFIRM, MAINS, TEST_VOLTAGE, LICENSED):
        st.markdown(literal(caution))
    if known:
        answer.table(tables_bench.of_limits(known.values()), key="limits", alt="All limits")
    else:
        st.markdown("There are no limits yet, so no reading holds a unit back.")
        st.button(
            "Begin with the limits of trade texts, each to be confirmed",
            key="limits-begin",
            on_click=_begin_with,
            args=(place,),
            disabled=place.person.role not in OWNER,
        )
    key = _which("limit", known, lambda key: wording_bench.limit_words(known[key]))
    _limit_form(place, key, known.get(key))


def _limit_form(place: Place, key: str, limit: Limit | None) -> None:
    stands = typed.limit_as_typed(limit, place.settings) if limit else USUAL
    form = _form(place, "limit", LIMIT, key, stands)
    form.notices()
    rule = form.pick("rule", "Kind of limit", list(RULES), wording_bench.RULES)
    if limit is None:
        form.text("quantity", "What is read", hint="small letters, such as plate or insulation")
        form.text("unit", "Unit", hint="c, ohm, mohm (megohm), ma, ...")
        models = bench_data.codes(place.book).of("model")
        form.code("model", "Only for the model", models, hint="every model")
        every = {"": "every protection", **PROTECTIONS}
        form.pick("protection", "Only for the protection", list(PROTECTIONS), every)
    usual = typed.numbers_to_start_from(rule, place.settings) if rule else {}
    for name in typed.numbers_of(rule) if rule else ():
        label = wording_bench.number_words(rule)[name]
        form.text(name, label, hint=usual.get(name, ""), number=True)
    form.pick("required", "Must be measured before hand-back", (typed.YES, typed.NO))
    form.pick("confirmed", "Confirmed against our local code", (typed.YES, typed.NO))
    form.text("source", "Where it comes from")

    def save(sent: Sent) -> str:
        entered = usual | {name: text for name, text in sent.fields.items() if text}
        read = typed.limit_from_typed(entered, place.settings, claims_data.today().date())
        _keep(place, LIMIT, read.key, read.to_json(), sent, key)
        return _say(f"Saved: {wording_bench.limit_words(read)}.")

    form.save("Save the limit", save, blocked=_blocked(place))
    _withdraw(place, LIMIT, key)


def _sheets(place: Place) -> None:
    known = {sheet.model: sheet for sheet in kept.sheets(place.book)}
    answer.table(tables_bench.of_sheets(known.values()), key="sheets", alt="Sheets by model")
    model = _which("sheet", known, str)
    sheet = known.get(model)
    form = _form(place, "sheet", SHEET, model, typed.sheet_as_typed(sheet) if sheet else {})
    form.notices()
    if sheet is None:
        form.code("model", "Model", bench_data.codes(place.book).of("model"))
    form.pick("protection", "Protection, from its rating plate", list(PROTECTIONS), PROTECTIONS)
    form.long_text(
        "checklist",
        "What is answered on every job, one line each",
        hint="contacts: cleaned, left",
    )

    def save(sent: Sent) -> str:
        read: ModelSheet = typed.sheet_from_typed(sent.fields)
        _keep(place, SHEET, read.model, read.to_json(), sent, model)
        return _say(f"Saved: the sheet of {read.model}.")

    form.save("Save the sheet", save, blocked=_blocked(place))
    _withdraw(place, SHEET, model)


def _instruments(place: Place) -> None:
    known = {one.name: one for one in kept.instruments(place.book)}
    today = claims_data.today()
    answer.table(
        tables_bench.of_instruments(known.values(), today), key="instruments", alt="Instruments"
    )
    name = _which("instrument", known, str)
    one = known.get(name)
    stands = typed.instrument_as_typed(one) if one else {}
    form = _form(place, "instrument", INSTRUMENT, name, stands)
    form.notices()
    if one is None:
        form.text("name", "What the bench calls it")
    form.text("calibrated_on", "Last calibrated on", hint="2026-03-09; empty: not known")
    form.text("calibration_days", "Calibrate again after, days", hint="365", number=True)
    form.pick("in_use", "In use", (typed.YES, typed.NO))

    def save(sent: Sent) -> str:
        read: Instrument = typed.instrument_from_typed(sent.fields, place.settings, today.date())
        _keep(place, INSTRUMENT, read.name, read.to_json(), sent, name)
        return _say(f"Saved: {read.name}.")

    form.save("Save the instrument", save, blocked=_blocked(place))
    _withdraw(place, INSTRUMENT, name)


def _which(what: str, known: Iterable[str], words: Callable[[str], str]) -> str:
    return str(
        st.selectbox(
            f"Which {what}",
            [NEW, *known],
            format_func=lambda key: words(key) if key else f"a new {what}",
            key=f"bench-lists-{what}",
        )
    )


def _form(place: Place, page: str, kind: str, key: str, stands: dict[str, str]) -> Form:
    record = place.book.get(kind, key) if key else None
    number = record.number if record else 0
    return Form(place.book, place.person, page, key, fields=stands, number=number)


def _keep(place: Place, kind: str, key: str, body: object, sent: Sent, old: str) -> None:
    keep(
        place.book,
        kind,
        key,
        body,
        new=old == NEW,
        expected=sent.expected,
        by=place.person,
        token=sent.token,
    )


def _withdraw(place: Place, kind: str, key: str) -> None:
    if key == NEW:
        return
    st.button(
        "Take it off the list",
        key=f"withdraw-{kind}-{key}",
        on_click=_take_off,
        args=(place, kind, key),
        disabled=place.person.role not in OWNER,
    )


def _take_off(place: Place, kind: str, key: str) -> None:
    place.book.put(kind, key, None, by=place.person, roles=OWNER)
    st.session_state[f"bench-lists-{kind}"] = NEW
    _say("Taken off the list; its history stays in the book.")


def _begin_with(place: Place) -> None:
    for limit in limits_to_start_from():
        place.book.put(LIMIT, limit.key, limit.to_json(), by=place.person, roles=OWNER)
    _say("The limits of trade texts are in the list. Confirm each against your local code.")


def _say(text: str) -> str:
    st.session_state[SAID] = text
    return text


def _blocked(place: Place) -> str:
    return "" if place.person.role in OWNER else NOT_OWNER
