"""Who may do what: people and their roles, how long customers' data stay, who looked at them."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboards import answer, who
from dashboards.bench import workplace
from dashboards.bench.workplace import Place
from dashboards.data import people as people_data
from dashboards.markup import literal
from insights.errors import RequestError, StaysfixedError
from insights.history.book.access_log import accesses
from insights.history.book.erasing import erase_customer
from insights.history.book.passwords import SHORTEST
from insights.history.book.people import OWNER, ROLES
from insights.history.book.retention import retention_days, set_retention, wipe_overdue
from insights.history.book.users import (
    add_user,
    change_own_password,
    remove_user,
    set_password,
    set_role,
    users_of,
)
from insights.tables import people as tables_people
from insights.wording import Finding
from insights.wording import people as wording_people

SAID, REFUSED = "people-said", "people-refused"
_LENGTH = f"At least {SHORTEST} characters; a few words in a row are easily kept in mind."
_HERE_ONLY = (
    "People sign in where the book is opened with `--sign-in`, or to the workshop's network with "
    "`--address`. Opened on this machine only, it asks nobody."
)


def show() -> None:
    """Draw the page."""
    place = workplace.begin(
        "Who may do what", "Who may sign in, how long customers' data stay, who looked at them."
    )
    if place is None:
        return
    _tell()
    if who.signs_in():
        _own_password(place)
    if place.person.role not in OWNER:
        st.markdown("Only an owner sees and changes the rest of this page.")
        return
    people, customers, log = st.tabs(["People", "Customers' data", "Who looked"])
    with people, st.container(key="plain"):
        _people(place)
    with customers:
        _limit(place)
        _erase(place)
    with log:
        found = tables_people.of_accesses(accesses(place.book, by=place.person))
        answer.table(found, key="accesses", alt="Who looked at, exported or erased what")


def _people(place: Place) -> None:
    users = users_of(place.book)
    st.markdown(literal(wording_people.of_users([(one.name, one.role) for one in users]).sentence))
    st.markdown(_HERE_ONLY)
    if users:
        answer.table(tables_people.of_users(users), key="users", alt="Who may sign in")
    with st.form("add-user", clear_on_submit=True):
        st.markdown("**Someone new**")
        st.text_input("Name, as beside what they save", key="new-name", autocomplete="off")
        st.radio("Role", ROLES, key="new-role", horizontal=True)
        _secret("First password", "new-password")
        st.form_submit_button("Add", on_click=_do, args=(place, _add))
    if not users:
        return
    with st.form("change-user", clear_on_submit=True):
        st.markdown("**Someone known**")
        st.selectbox("Who", [one.name for one in users], key="known-name")
        st.radio("Role from now on", ROLES, key="known-role", horizontal=True)
        st.form_submit_button("Change the role", on_click=_do, args=(place, _change_role))
        _secret("New password", "known-password")
        st.form_submit_button("Set the password", on_click=_do, args=(place, _renew))
        st.form_submit_button("Take out", on_click=_do, args=(place, _remove))


def _own_password(place: Place) -> None:
    with st.expander("Your own password"), st.form("own-password", clear_on_submit=True):
        st.text_input(
            "Present", key="own-old", type="password", autocomplete="current-password", width=420
        )
        _secret("New", "own-new")
        st.form_submit_button("Change it", on_click=_do, args=(place, _change_own))


def _limit(place: Place) -> None:
    days = retention_days(place.book)
    people = people_data.beyond_limit(place.book, workplace.today())
    finding = wording_people.of_retention(days, len(people))
    answer.say(finding)
    for caveat in finding.caveats:
        st.markdown(literal(caveat))
    with st.form("limit"):
        st.number_input(
            "Days to keep customers' data; empty: no limit", value=days, key="limit-days", step=1
        )
        st.form_submit_button("Set", on_click=_do, args=(place, _set_limit))
    if len(people):
        answer.table(
            tables_people.of_overdue(people), key="beyond", alt="Whose data are beyond the limit"
        )
        st.checkbox("I have looked through the list. It can't be undone.", key="wipe-sure")
        st.button(
            "Wipe these customers' data",
            key="wipe",
            disabled=not st.session_state["wipe-sure"],
            on_click=_do,
            args=(place, _wipe),
        )


def _erase(place: Place) -> None:
    st.header("Erase a customer", anchor=False)
    st.markdown(
        "Reference, postcode, telephone, complaint and notes go from every version of their jobs, "
        "from records and drafts. Every count and curve stays as it is."
    )
    st.markdown(wording_people.OUT_OF_REACH)
    with st.form("erase", clear_on_submit=True):
        st.text_input("Their reference, as on the jobs", key="erase-customer", autocomplete="off")
        st.text_input("The same once more: it can't be undone", key="erase-again")
        st.form_submit_button("Erase", on_click=_do, args=(place, _erase_one))


def _secret(label: str, key: str) -> None:
    st.text_input(
        label, key=key, type="password", autocomplete="new-password", help=_LENGTH, width=420
    )


def _tell() -> None:
    if said := st.session_state.pop(SAID, ""):
        st.success(literal(said))
    if refused := st.session_state.pop(REFUSED, ""):
        st.error(literal(refused))


def _do(place: Place, action: Callable[[Place], str]) -> None:
    try:
        st.session_state[SAID] = action(place)
    except StaysfixedError as error:
        st.session_state[REFUSED] = str(error)


def _typed(key: str) -> str:
    return str(st.session_state[key] or "")


def _add(place: Place) -> str:
    name, role = _typed("new-name"), st.session_state["new-role"]
    add_user(place.book, name, role, _typed("new-password"), by=place.person)
    return _changed(name, "add", role)


def _change_role(place: Place) -> str:
    name, role = _typed("known-name"), st.session_state["known-role"]
    set_role(place.book, name, role, by=place.person)
    return _changed(name, "role", role)


def _renew(place: Place) -> str:
    name = _typed("known-name")
    set_password(place.book, name, _typed("known-password"), by=place.person)
    return _changed(name, "password")


def _remove(place: Place) -> str:
    name = _typed("known-name")
    remove_user(place.book, name, by=place.person)
    return _changed(name, "remove")


def _change_own(place: Place) -> str:
    book = who.book_of_users()
    change_own_password(book, _typed("own-old"), _typed("own-new"), by=place.person)
    return "Your password is changed."


def _set_limit(place: Place) -> str:
    days = st.session_state["limit-days"]
    set_retention(place.book, days, by=place.person)
    return "The limit is set."


def _wipe(place: Place) -> str:
    done = wipe_overdue(place.book, workplace.today(), by=place.person)
    return _in_words(wording_people.of_erased(done))


def _erase_one(place: Place) -> str:
    customer = _typed("erase-customer")
    if customer != _typed("erase-again"):
        raise RequestError("The two differ: nothing was erased. Type the reference twice.")
    done = erase_customer(place.book, customer, by=place.person)
    return _in_words(wording_people.of_erased(done))


def _changed(name: str, action: str, role: str | None = None) -> str:
    return _in_words(wording_people.of_change(name, action, role))


def _in_words(finding: Finding) -> str:
    return " ".join((finding.sentence, *finding.caveats))
