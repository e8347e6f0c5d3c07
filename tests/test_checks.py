"""What is written down of the checks is of the tests there are, and its writing loses nothing."""

from __future__ import annotations

import json

import pytest
from checks import RECORD, gather, kept_by, merged, write

COMMITTED = json.loads(RECORD.read_text("utf-8"))
HOW = "Run `python tests/write_checks.py` (with --slow, --study or --bench) and commit the file."


@pytest.mark.parametrize("kind", ["outside", "measured"])
def test_every_test_written_down_exists_and_still_keeps_something(kind):
    gone = {entry["test"] for entry in COMMITTED[kind]} - kept_by(kind).keys()
    assert not gone, HOW


def test_every_test_against_outside_values_is_written_down():
    missing = kept_by("outside").keys() - {entry["test"] for entry in COMMITTED["outside"]}
    assert not missing, HOW


def test_every_entry_names_its_run_and_nothing_of_the_machine():
    for kind in ("outside", "measured"):
        assert {entry["run"] for entry in COMMITTED[kind]} <= COMMITTED["runs"].keys()
    assert '"/' not in RECORD.read_text("utf-8")


def line(test: str, what: str, difference: float, values: int = 1) -> str:
    entry = {"kind": "outside", "test": test, "what": what, "source": "a table"}
    numbers = {"values": values, "expected": 1.0, "found": 1 + difference}
    allowed = {"difference": difference, "allowed": {"abs": 0.5, "rel": None}}
    return json.dumps(entry | numbers | allowed)


HERE = "tests/test_valve_seats.py::test_replacements_per_engine_as_published"
OTHER = "tests/test_valve_seats.py::test_mean_cumulative_replacements_and_robust_error"


def test_cases_become_one_entry_with_the_value_farthest_apart():
    now = gather([line(f"{HERE}[a]", "x", 0.1, 3), line(f"{HERE}[b]", "x", 0.2, 4)], "today")
    (entry,) = now["outside"]
    assert (entry["values"], entry["found"], entry["difference"]) == (7, 1.2, 0.2)
    assert entry["test"] == HERE


def test_a_run_replaces_its_own_tests_and_leaves_the_others_their_date(tmp_path):
    before = merged(
        {}, gather([line(HERE, "x", 0.1), line(OTHER, "y", 0.1)], "old"), {"old": {"date": "1"}}
    )
    gone = before["outside"][0] | {"test": "tests/test_gone.py::test_gone"}
    before["outside"].append(gone)
    after = merged(before, gather([line(HERE, "z", 0.3)], "new"), {"new": {"date": "2"}})
    assert [(entry["what"], entry["run"]) for entry in after["outside"]] == [
        ("y", "old"),
        ("z", "new"),
    ]
    assert after["runs"] == {"new": {"date": "2"}, "old": {"date": "1"}}
    write(after, tmp_path / "checks.json")
    assert json.loads((tmp_path / "checks.json").read_text("utf-8")) == after
    # A run that no entry is from any more is forgotten.
    again = merged(after, gather([line(OTHER, "y", 0.1)], "new"), {"new": {"date": "2"}})
    assert again["runs"] == {"new": {"date": "2"}}
