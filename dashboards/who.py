"""Who is at this screen: by sign-in, or, on one machine without it, as they say themselves."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dashboards.gate.policy import SIGN_OUT, Policy
from dashboards.gate.who_is_in import gate_book, person_signed_in
from dashboards.markup import literal
from insights.history.book.people import WRITERS, Person

if TYPE_CHECKING:
    from insights.history.book.book import Book

NAMED = "who_named"
TYPED = "who-typed"
COOKIE = "staysfixed_who"
ROLE_WORDS = {"owner": "owner", "bench": "at the bench", "reader": "reads only"}
_SIGNED_OUT = "You are signed out. Load this page again to sign in."
_SIGN_OUT_FORM = (
    f'<form method="post" action="{SIGN_OUT}"><button style="font: inherit; width: 100%; '
    "min-height: 2.5rem; color: inherit; background: transparent; border: 1px solid; "
    'border-radius: .2rem; cursor: pointer">Sign out</button></form>'
)


def signs_in() -> bool:
    """Tell whether people sign in here."""
    return Policy.from_environment().sign_in


def book_of_users() -> Book:
    """Give the book that knows who may sign in; open for writing also where a reader looks."""
    return gate_book()


def current_person() -> Person:
    """Say who is at this screen.

    Returns
    -------
    Person
        Where people sign in, whoever did, with the role that the book knows at this moment;
        whoever is signed out sees nothing more of the page. On this machine alone everyone may
        do everything, and the name is empty until they say it.
    """
    if not signs_in():
        return Person(_name(), "owner")
    person = person_signed_in(st.context.cookies)
    if person is None:
        st.error(_SIGNED_OUT)
        st.stop()
    return person


def may_write() -> bool:
    """Tell whether who is at this screen may write in the book at all; also outside a page."""
    if not signs_in():
        return True
    if get_script_run_ctx(suppress_warning=True) is None:
        return False  # work done ahead of the first visit
    person = person_signed_in(st.context.cookies)
    return person is not None and person.role in WRITERS


def ask() -> None:
    """Ask for the name: it is written beside every change."""
    st.text_input(
        "Your name",
        key=TYPED,
        on_change=_take,
        autocomplete="name",
        placeholder="as the others at the bench know you",
        width=420,
    )
    st.markdown("It is written beside everything you record, and remembered in this browser.")


def show() -> None:
    """Show in the sidebar who is at this screen, and let someone else take over."""
    if signs_in():
        person = current_person()
        role = ROLE_WORDS[person.role]
        st.sidebar.markdown(f"Signed in: **{literal(person.name)}**, {role}")
        st.sidebar.html(_SIGN_OUT_FORM)
        return
    name = _name()
    _remember(name)
    if name:
        st.sidebar.markdown(f"At this screen: **{literal(name)}**")
        st.sidebar.button("Someone else", key="who-other", on_click=_forget, width="stretch")


def take(name: str) -> None:
    """Take a name as that of whoever is at this screen."""
    st.session_state[NAMED] = " ".join(name.split())


def _name() -> str:
    # A reload begins a new session; the browser's own memory of it ends with its window.
    remembered = unquote(st.context.cookies.get(COOKIE, ""))
    return str(st.session_state.setdefault(NAMED, remembered))


def _take() -> None:
    take(str(st.session_state[TYPED]))


def _forget() -> None:
    take("")


def _remember(name: str) -> None:
    cookie = json.dumps(f"{COOKIE}={quote(name, safe='')}; path=/; SameSite=Strict")
    st.html(f"<script>document.cookie = {cookie};</script>", unsafe_allow_javascript=True)
