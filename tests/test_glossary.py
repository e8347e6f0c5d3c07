"""No statistics word without its plain twin."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from insights.glossary import TERMS

ROOT = Path(__file__).resolve().parent.parent
SAID = [
    *sorted((ROOT / "insights" / "wording").glob("*.py")),
    *sorted((ROOT / "insights" / "tables").glob("*.py")),
    *sorted((ROOT / "dashboards" / "asking").glob("*.py")),
    *sorted((ROOT / "dashboards" / "views").glob("*.py")),
    ROOT / "insights" / "meanings.py",
]
# The words that an owner can't be expected to know, and under which entry each is explained.
SPECIAL = {
    r"hazard ratios?": "hazard ratio",
    r"hazard": "hazard",
    r"log-rank": "log-rank",
    r"peto-peto": "Peto-Peto",
    r"e-value": "E-value",
    r"censor\w*": "censored",
    r"doubly robust": "doubly robust",
    r"overlap": "overlap",
    r"cusum": "CUSUM",
    r"kappa": "kappa",
    r"overdispers\w*": "overdispersion",
    r"funnel": "funnel limits",
    r"shrunk\w*": "shrunk ratio",
    r"prediction interval": "prediction interval",
    r"coverage": "coverage",
    r"kaplan|aalen|bayes\w*|frequentist|likelihood|posterior|bootstrap\w*|covariate\w*": "",
    r"statistically significant|significance|confidence interval|regression|stochastic": "",
}


def texts(path: Path) -> list[str]:
    """Every text of a module but its docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    aside = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in aside
    ]


@pytest.mark.parametrize("path", SAID, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_special_words_are_in_the_glossary_or_not_used(path):
    names = {term.name for term in TERMS}
    for text in texts(path):
        for pattern, entry in SPECIAL.items():
            if " " in text.strip() and re.search(rf"\b(?:{pattern})\b", text, re.IGNORECASE):
                assert entry in names, f"{text!r} uses a word without a plain twin"


def test_each_word_is_explained_once_and_without_other_special_words():
    assert len({term.name for term in TERMS}) == len(TERMS)
    for term in TERMS:
        assert len(term.plainly) <= 50
        for pattern in SPECIAL:
            assert not re.search(rf"\b(?:{pattern})\b", term.plainly, re.IGNORECASE), term.name
