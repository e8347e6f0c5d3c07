"""Aligned text."""

from __future__ import annotations

import pandas as pd

from insights.verbs.plain_table import plain_table


def test_columns_line_up_and_missing_is_a_dash():
    frame = pd.DataFrame({"group": ["a", "long name"], "day": [90, 180], "share": [0.25, None]})
    assert plain_table(frame).splitlines() == [
        "group      day   share",
        "a           90  0.2500",
        "long name  180       –",
    ]


def test_a_long_table_says_how_much_is_left():
    last = plain_table(pd.DataFrame({"row": range(45)})).splitlines()[-1]
    assert last.startswith("... and 5 more")


def test_a_long_cell_is_cut_and_kept_on_one_line():
    lines = plain_table(pd.DataFrame({"note": ["word\n" * 50]})).splitlines()
    assert len(lines) == 2
    assert lines[1].endswith("…")
    assert len(lines[1]) == 80


def test_a_tiny_chance_is_never_printed_as_none():
    lines = plain_table(pd.DataFrame({"p": [1e-9, 0.25]})).splitlines()
    assert [line.strip() for line in lines] == ["p", "<0.0001", "0.2500"]
