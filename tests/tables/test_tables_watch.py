"""Long lists of the watch: the latest stand on the page, and it says so."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd

from insights.tables import watch as tables_watch
from insights.wording.watch import of_latest


def handed_back(rows: int) -> SimpleNamespace:
    frame = pd.DataFrame(
        {
            "job_id": [f"J{number}" for number in range(rows)],
            "handed_back": pd.Timestamp("2026-03-09"),
            "model": "contact grill",
            "technician": None,
            "practice": "switch",
            "asked_for": "cleaned",
            "recorded": None,
            "came_back": False,
        }
    )
    return SimpleNamespace(handed_back=frame)


def test_of_a_long_list_the_latest_five_hundred_are_worded():
    table = tables_watch.of_handed_back(handed_back(503))
    assert table["Job"].tolist() == [f"J{number}" for number in range(500)]
    assert table["Recorded"].iloc[0] == "nothing"


def test_what_is_cut_is_said_and_nothing_else():
    assert of_latest(503, 500) == "Here stand the latest 500 of 503; the download holds them all."
    assert of_latest(500, 500) == ""
