"""What every page at the bench begins with: an open book, a person, large targets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from dashboards import answer, controls, data, who
from dashboards.bench.keys import KEYS
from dashboards.data import book as book_data
from dashboards.markup import literal
from insights.errors import StaysfixedError
from insights.history.book.adding import add_history, check_currency
from insights.history.book.address import is_book
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person

STYLE = """
<style>
[data-testid="stMain"] [data-testid="stMainBlockContainer"] {max-width: 46rem;}
[data-testid="stMain"] :is(input:not([type="radio"]), textarea, button) {
  min-height: 3rem; font-size: 1.1rem;}
[data-testid="stMain"] button {min-width: 2.75rem;}
[data-testid="stMain"] [role="tab"] {min-height: 2.75rem; min-width: 2.75rem;}
[data-testid="stMain"] :is([data-testid="stTextInputRootElement"],
  [data-testid="stSelectbox"] [role="group"]) {height: auto; min-height: 3rem;}
[data-testid="stMain"] [data-testid="stRadioOption"] {min-height: 2.9rem; min-width: 2.9rem;
  padding-right: .7rem; align-items: center;}
[data-testid="stMain"] [data-testid="stRadioOption"] > div {align-items: center;}
[data-testid="stMain"] [data-testid="stRadioOption"] p {font-size: 1.1rem;}
[data-testid="stMain"] [data-testid="stWidgetLabel"] p {font-size: 1.05rem; font-weight: 600;}
[data-testid="stMain"] :is(summary, [data-testid="stPageLink-NavLink"]) {min-height: 3rem;
  align-items: center;}
[data-testid="stSidebar"] :is([data-testid="stPageLink-NavLink"],
  [data-testid="stBaseButton-secondary"]) {min-height: 2.75rem; align-items: center;}
.st-key-save-bar {position: sticky; bottom: 0; z-index: 5; padding: .6rem 0;
  background: var(--bench-ground); border-top: 1px solid var(--bench-rule);}
.st-key-save-bar [data-testid="stBaseButton-primary"] {min-height: 3.6rem;}
.st-key-save-bar [data-testid="stBaseButton-primary"] p {font-size: 1.25rem;}
.job-number {font-size: 3.2rem; font-weight: 700; line-height: 1.1; margin: 0;
  font-variant-numeric: tabular-nums; overflow-wrap: anywhere;}
.job-number small {display: block; font-size: 1.05rem; font-weight: 400;}
</style>
"""
NAME_PLACE = "book-path"


@dataclass(frozen=True)
class Place:
    """Where someone works.

    Parameters
    ----------
    book, settings
        The open book, and what holds for the whole of it.
    person
        Who works here.
    """

    book: Book
    settings: Settings
    person: Person


def begin(title: str, lead: str) -> Place | None:
    """Begin a page at the bench.

    Parameters
    ----------
    title, lead
        The page's name, and what is done there.

    Returns
    -------
    Place or None
        None where there is no book yet, or nobody has said who they are: that is asked instead.
    """
    answer.title(title, lead)
    colours = answer.palette()
    ground = f"--bench-ground: {colours.background}; --bench-rule: {colours.rule};"
    st.html(STYLE + f"<style>:root {{{ground}}}</style>")
    with st.container(key="bench-page"):
        st.html(KEYS, unsafe_allow_javascript=True)
    book = book_data.book()
    if book is None:
        _invite()
        return None
    person = who.current_person()
    if not person.name:
        with st.container(key="plain"):
            who.ask()
        return None
    return Place(book, book.settings(), person)


def today() -> date:
    """Give today's date by this machine's clock."""
    return date.today()


def _invite() -> None:
    st.markdown(
        "Here jobs are recorded as they come in, in a **job book**: a file of your own on this "
        "machine, in which nothing is ever overwritten. None is open yet."
    )
    record = controls.source()
    with st.container(key="plain"), st.form("new-book"):
        st.text_input("Your name", key="book-by", autocomplete="name")
        st.text_input("Where the book is kept", value=_usual_place(), key=NAME_PLACE)
        st.text_input("The workshop's name, as printed", key="book-workshop")
        st.text_input("Currency", key="book-currency", placeholder="such as EUR")
        st.radio("Decimal mark of what you type", [".", ","], key="book-decimal", horizontal=True)
        begins = [f"with the jobs of {record.name}", "empty"]
        st.radio("It begins", begins, key="book-begins")
        st.form_submit_button("Make the book and open it", type="primary", on_click=_make)
    refused = st.session_state.pop("book-refused", "")
    if refused:
        st.error(literal(refused))
    st.markdown("In a terminal: `staysfixed book new BOOK`, then `staysfixed open BOOK`.")


def _usual_place() -> str:
    return str(Path.home() / "job book.db")


def _make() -> None:
    typed = st.session_state
    person = Person(" ".join(str(typed["book-by"]).split()))
    settings = Settings(
        currency=typed["book-currency"].strip(),
        decimal=typed["book-decimal"],
        workshop=typed["book-workshop"].strip(),
    )
    path = Path(typed[NAME_PLACE].strip()).expanduser()
    if not person.name:
        typed["book-refused"] = "Give your name: it is written beside everything in the book."
        return
    try:
        filled = None if typed["book-begins"] == "empty" else data.history(controls.source())
        if not is_book(path):  # else it was made by the click before
            if filled is not None:
                check_currency(filled, settings, path.name)
            book = create_book(path, settings, person)
            if filled is not None:
                add_history(book, filled, controls.source().declared, by=person)
        book_data.open_from_now_on(path)
        controls.open_source()
    except StaysfixedError as error:
        typed["book-refused"] = str(error)
        return
    who.take(person.name)
