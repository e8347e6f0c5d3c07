"""Help beside the numbers: it stands where the numbers are, and in everyday words."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from insights.meanings import MEANINGS

VIEWS = Path(__file__).resolve().parent.parent / "dashboards" / "views"
ANSWERING = ("standing", "comebacks", "causes", "practice", "review", "watch", "recall", "money")
DRAWS = ("figure", "table")


def keys_of(path: Path) -> set[str]:
    """The names of a page's figures and tables."""
    return {
        keyword.value.value
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in DRAWS
        for keyword in node.keywords
        if keyword.arg == "key" and isinstance(keyword.value, ast.Constant)
    }


def test_every_help_belongs_to_something_on_a_page():
    shown = set().union(*(keys_of(path) for path in VIEWS.glob("*.py")))
    assert set(MEANINGS) <= shown


@pytest.mark.parametrize("page", ANSWERING)
def test_every_page_that_answers_has_help_beside_its_numbers(page):
    assert keys_of(VIEWS / f"{page}.py") & set(MEANINGS)


@pytest.mark.parametrize("key", MEANINGS)
def test_help_says_what_it_means_what_not_and_whence(key):
    meaning = MEANINGS[key]
    for text in (meaning.says, meaning.not_that, meaning.worked_out):
        assert text.endswith(".")
        assert "_" not in text
