"""Parts and lots typed line by line become the history's columns."""

from __future__ import annotations

import pytest

from insights.bench.fitted import column_of, lines_of, lots_from
from insights.errors import EntryError
from insights.history.schema import column


def test_lines_there_and_back():
    job = {"model": "grill", "lot_switch": "S 1", "lot_cord": "C9"}
    lines = lines_of(job)
    assert lines == {"part-1": "cord", "lot-1": "C9", "part-2": "switch", "lot-2": "S 1"}
    assert lots_from(lines, job) == {"lot_cord": "C9", "lot_switch": "S 1"}


def test_a_line_that_is_emptied_takes_the_lot_out():
    job = {"lot_switch": "S1"}
    assert lots_from({"part-1": "", "lot-1": ""}, job) == {"lot_switch": None}
    assert lots_from({"part-1": "Steam valve", "lot-1": "V2"}, job) == {
        "lot_switch": None,
        "lot_steam_valve": "V2",
    }
    assert column(column_of("Steam valve (left)")) is not None


@pytest.mark.parametrize(
    ("lines", "field", "problem"),
    [
        ({"part-1": "valve", "lot-1": " "}, "lot-1", "lot is missing"),
        ({"part-1": "", "lot-1": "V2"}, "part-1", "without its part"),
        ({"part-1": "Ω", "lot-1": "V2"}, "part-1", "no name"),
        (
            {"part-1": "Valve", "lot-1": "1", "part-2": "valve", "lot-2": "2"},
            "part-2",
            "there already",
        ),
    ],
)
def test_half_a_line_is_marked(lines, field, problem):
    with pytest.raises(EntryError, match=problem) as refused:
        lots_from(lines, {})
    assert [found[0] for found in refused.value.problems] == [field]
