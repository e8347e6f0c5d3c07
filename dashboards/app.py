"""The list of pages."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboards import ahead

ahead.wait_for_imports()

from dashboards import answer, controls, opening  # noqa: E402
from insights.errors import StaysfixedError  # noqa: E402

ASSETS = Path(__file__).with_name("assets")

st.set_page_config(
    page_title="Stays Fixed",
    page_icon=str(ASSETS / "mark.png"),
    layout="wide",
    initial_sidebar_state="auto",
)
st.logo(str(ASSETS / "mark.svg"), size="large")
PAGES = [
    st.Page(opening.page("standing"), title="Where we stand", url_path="stand", default=True),
    st.Page(opening.page("comebacks"), title="Coming back", url_path="comebacks"),
    st.Page(opening.page("causes"), title="Root causes", url_path="causes"),
    st.Page(opening.page("practice"), title="Does it work?", url_path="practice"),
    st.Page(opening.page("review"), title="Better or worse", url_path="review"),
    st.Page(opening.page("money"), title="Warranties", url_path="warranties"),
    st.Page(opening.page("record"), title="The record", url_path="record"),
]
page = st.navigation(PAGES, position="hidden")
controls.read_address(page.url_path)
menu = controls.Menu(PAGES)
controls.name_record(controls.source())
try:
    # Shown only where it takes longer than half a second.
    with st.spinner("Reading and counting …", show_time=True):
        page.run()
except StaysfixedError as error:
    answer.refuse(error)
controls.write_address(page.url_path)
menu.draw()
answer.footer()
