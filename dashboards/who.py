"""Who is at this screen. On one machine without sign-in, they say so themselves."""

from __future__ import annotations

import json
from urllib.parse import quote, unquote

import streamlit as st

from dashboards.markup import literal
from insights.history.book.people import Person

NAMED = "who_named"
TYPED = "who-typed"
COOKIE = "staysfixed_who"


def current_person() -> Person:
    """Say who is at this screen; the name is empty until they say it.

    Returns
    -------
    Person
        On this machine alone everyone may do everything.
    """
    return Person(_name(), "owner")


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
    name = _name()
    _remember(name)
    if name:
        st.sidebar.markdown(f"At this screen: **{literal(name)}**")
        st.sidebar.button("Someone else", key="who-other", on_click=_forget, width="stretch")


def _name() -> str:
    # A reload begins a new session; the browser's own memory of it ends with its window.
    remembered = unquote(st.context.cookies.get(COOKIE, ""))
    return str(st.session_state.setdefault(NAMED, remembered))


def _take() -> None:
    st.session_state[NAMED] = " ".join(str(st.session_state[TYPED]).split())


def _forget() -> None:
    st.session_state[NAMED] = ""


def _remember(name: str) -> None:
    cookie = json.dumps(f"{COOKIE}={quote(name, safe='')}; path=/; SameSite=Strict")
    st.html(f"<script>document.cookie = {cookie};</script>", unsafe_allow_javascript=True)
