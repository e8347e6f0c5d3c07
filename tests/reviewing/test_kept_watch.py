"""What the job book keeps for the watch comes back as it was said."""

from __future__ import annotations

import pytest

from insights.errors import NotAllowed, RequestError
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.reviewing.actions import tidy_actions
from insights.reviewing.kept_watch import (
    WatchSettings,
    actions_of,
    keep_action,
    keep_settings,
    keep_status,
    settings_of,
    statuses_of,
)

OWNER, BENCH = Person("Ada", "owner"), Person("Bo", "bench")


@pytest.fixture
def book(tmp_path):
    return create_book(tmp_path / "book.db", Settings(), OWNER)


def test_what_is_watched(book):
    assert settings_of(book) == WatchSettings()
    wanted = WatchSettings(("arcing",), 0.5)
    keep_settings(book, wanted, by=OWNER)
    assert settings_of(book) == wanted
    with pytest.raises(NotAllowed):
        keep_settings(book, WatchSettings(), by=BENCH)
    with pytest.raises(RequestError, match="above zero"):
        WatchSettings(false_alarms_a_year=0)


def test_actions_come_back_as_the_watch_takes_them(book):
    assert tidy_actions(actions_of(book)).empty
    keep_action(book, "lot_contact=B7", "2026-03-09", "held the box", chance=False, by=BENCH)
    keep_action(book, "all jobs", "2026-03-10", "looked", chance=True, by=BENCH)
    # Said again, on the same day: the last word stands.
    keep_action(book, "all jobs", "2026-03-10", "looked twice", chance=True, by=BENCH)
    rows = tidy_actions(actions_of(book))
    assert rows["done"].tolist() == ["held the box", "looked twice"]
    assert rows["chance"].tolist() == [False, True]
    with pytest.raises(RequestError, match="what was done"):
        keep_action(book, "all jobs", "2026-03-11", "  ", chance=True, by=BENCH)


def test_how_far_each_call_is(book):
    keep_status(book, "lot_contact=B7", "J1", "called", by=BENCH)
    keep_status(book, "lot_contact=B7", "J1", "inspected", by=BENCH)
    keep_status(book, "lot_contact=B8", "J1", "called", by=BENCH)
    rows = statuses_of(book, "lot_contact=B7")
    assert rows.to_dict("records") == [{"job_id": "J1", "status": "inspected"}]
    with pytest.raises(RequestError, match="no status"):
        keep_status(book, "lot_contact=B7", "J1", "lost", by=BENCH)
