"""A page's module, imported when the page is first turned to."""

from __future__ import annotations

import importlib
from collections.abc import Callable


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
