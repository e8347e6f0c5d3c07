"""The list of pages."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboards import ahead

ahead.wait_for_imports()

from dashboards import answer, controls, opening, who  # noqa: E402
from dashboards.data import book as book_data  # noqa: E402
from insights.errors import (  # noqa: E402
    FormatQuestion,
    HeadingsError,
    SourceError,
    StaysfixedError,
)

ASSETS = Path(__file__).with_name("assets")

st.set_page_config(
    page_title="Stays Fixed",
    page_icon=str(ASSETS / "mark.png"),
    layout="wide",
    initial_sidebar_state="auto",
)
st.logo(str(ASSETS / "mark.svg"), size="large")
BENCH, RECORD = "At the bench", "What the record says"
SECTIONS = {
    BENCH: [
        st.Page(opening.page("take_in"), title="Take in", url_path="take-in"),
        st.Page(opening.page("bench"), title="On the bench", url_path="bench"),
        st.Page(opening.page("deciding"), title="Comebacks to decide", url_path="decide"),
        st.Page(opening.page("second_coding"), title="A second opinion", url_path="second"),
        st.Page(opening.page("same_unit"), title="Same unit?", url_path="same-unit"),
        st.Page(opening.page("bench_lists"), title="Bench lists", url_path="lists"),
        st.Page(opening.page("adding"), title="Add a file", url_path="add-file"),
        st.Page(opening.page("people"), title="Who may do what", url_path="people"),
    ],
    RECORD: [
        st.Page(opening.page("standing"), title="Where we stand", url_path="stand", default=True),
        st.Page(opening.page("comebacks"), title="Coming back", url_path="comebacks"),
        st.Page(opening.page("causes"), title="Root causes", url_path="causes"),
        st.Page(opening.page("practice"), title="Does it work?", url_path="practice"),
        st.Page(opening.page("review"), title="Better or worse", url_path="review"),
        st.Page(opening.page("watch"), title="Trouble early", url_path="watch"),
        st.Page(opening.page("recall"), title="Call in", url_path="call-in"),
        st.Page(opening.page("money"), title="Warranties", url_path="warranties"),
        st.Page(opening.page("record"), title="The record", url_path="record"),
        st.Page(opening.page("first_steps"), title="First steps", url_path="first-steps"),
        st.Page(opening.page("words"), title="Words", url_path="words"),
        st.Page(opening.page("checked"), title="How this was checked", url_path="checked"),
    ],
}
if not book_data.is_open():
    SECTIONS[BENCH] = SECTIONS.pop(BENCH)  # last, while there is no book to work in
opening.know(known for pages in SECTIONS.values() for known in pages)
page = st.navigation(SECTIONS, position="hidden")
at_bench = page.url_path in {bench.url_path for bench in SECTIONS[BENCH]}
if not at_bench:
    controls.read_address(page.url_path)
menu = controls.Menu(SECTIONS, BENCH)
controls.name_record(controls.source())
if book_data.is_open():
    who.show()
try:
    # Shown only where it takes longer than half a second.
    with st.spinner("Reading and counting …", show_time=True):
        page.run()
except StaysfixedError as error:
    answer.refuse(error)
    if isinstance(error, SourceError | HeadingsError | FormatQuestion):
        opening.link("record", "Say how this sheet is written, or open another one")
if not at_bench:
    controls.write_address(page.url_path)
menu.draw()
answer.footer()
