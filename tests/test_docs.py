"""The README and DEVELOPERS.md name what there is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from insights.followup import GRACE_DAYS
from insights.history.schema import COLUMNS
from insights.verbs.analyses import ANALYSES

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


@pytest.mark.parametrize("column", COLUMNS, ids=lambda column: column.name)
def test_every_column_is_listed(column):
    (line,) = [line for line in README.splitlines() if line.startswith(f"| `{column.name}` |")]
    assert column.note in line
    assert ("required" in line) == column.required
    assert all(choice in line for choice in column.choices)


@pytest.mark.parametrize("verb", [*(verb.name for verb in ANALYSES), "demo", "open"])
def test_every_verb_is_shown(verb):
    assert f"staysfixed {verb}" in README


def test_every_picture_is_there():
    pictures = re.findall(r"\]\(([^)]+\.png)\)", README)
    assert len(pictures) >= 6
    assert all((ROOT / picture).is_file() for picture in pictures)


def test_the_rule_of_the_clock_is_the_code_s_own():
    assert f"its own term plus {GRACE_DAYS} days" in README


def test_every_room_is_explained():
    for room in ("history", "survival", "evidence", "money"):
        assert f"insights/{room}/" in DEVELOPERS
    for room in ("dashboards", "synthetic"):
        assert f"`{room}/`" in DEVELOPERS
