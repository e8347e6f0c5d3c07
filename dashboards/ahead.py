"""Work done between the start and the first visit, while the browser loads the page's frame."""

from __future__ import annotations

import importlib
import logging
from threading import Event, Thread
from types import ModuleType

from insights.errors import StaysfixedError

SLOW_PAGES = ("watch", "review", "practice", "money")
_begun = Event()
_imported = Event()


def begin() -> None:
    """Import the first page and work out its answers, beside the server."""
    _begun.set()
    Thread(target=_work, name="work-ahead", daemon=True).start()


def wait_for_imports() -> None:
    """Wait until the first page is imported, where that was begun.

    Two threads in the same imports can meet half-made modules, so a page must not import what
    is still being imported ahead of it.
    """
    if _begun.is_set():
        _imported.wait()


def _work() -> None:
    try:
        importlib.import_module("dashboards.views.standing")
        data = importlib.import_module("dashboards.data")
    finally:
        # Also after a failed import: the page then meets the same failure, and shows it.
        _imported.set()
    data.warm()
    importlib.import_module("dashboards.data.bench").warm()
    if data.is_large():
        _the_other_pages(data)


def _the_other_pages(data: ModuleType) -> None:
    """Work out what the slow pages answer at first."""
    source = data.first_source()
    slow = [importlib.import_module(f"dashboards.data.{page}") for page in SLOW_PAGES]
    for warm in (data.warm_record, *(page.warm for page in slow)):
        try:
            warm(source)
        except StaysfixedError as error:
            # Nothing is kept of what the record can't answer: its page asks again and says why.
            logging.getLogger(__name__).info("Not worked out ahead: %s", error)
