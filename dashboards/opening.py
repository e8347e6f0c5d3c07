"""A page's module, imported when the page is first turned to; links from page to page."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable

import streamlit as st

PAGES = "pages_by_name"


def page(name: str) -> Callable[[], None]:
    """Give a page by the name of its module.

    The rooms behind some pages take a second to import: each page pays for its own.

    Parameters
    ----------
    name
        A module of :mod:`dashboards.views` with a function ``show``.
    """

    def show() -> None:
        importlib.import_module(f"dashboards.views.{name}").show()

    # Streamlit tells pages apart by the names of their functions.
    show.__name__ = name
    return show


def know(pages: Iterable[st.Page]) -> None:
    """Note the pages there are, so that one can link to another."""
    st.session_state[PAGES] = {page.url_path: page for page in pages}


def link(path: str, label: str, **query: str) -> None:
    """Draw a link to another page.

    Parameters
    ----------
    path
        The page's address.
    label
        The link's words.
    query
        What the address carries.
    """
    st.page_link(st.session_state[PAGES][path], label=label, query_params=query, width="stretch")
