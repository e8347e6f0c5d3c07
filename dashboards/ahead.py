"""Work done between the start and the first visit, while the browser loads the page's frame."""

from __future__ import annotations

import importlib
from threading import Event, Thread

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
