"""No cell of a file we write is run by a spreadsheet; what was written is read back as it was.

The signs: OWASP, "CSV Injection" (equals, plus, minus, at, tab, carriage return).
"""

from __future__ import annotations

import ast
import io
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from insights.harmless import harmless, harmless_frame
from insights.history.values import trimmed

ROOT = Path(__file__).resolve().parent.parent
OWASP = ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.parametrize("sign", OWASP)
def test_each_sign_is_put_behind_an_apostrophe(sign):
    assert harmless(f"{sign}1") == f"'{sign}1"
    assert harmless(f"1{sign}") == f"1{sign}"


@given(st.text(alphabet="'=+-@a1", min_size=1, max_size=6))
def test_what_is_written_is_read_back(text):
    written = harmless(text)
    assert not written.startswith(OWASP)
    read = trimmed(pa.chunked_array([pa.array([written], type=pa.large_string())]))
    assert read.to_pylist() == [text]


def test_texts_headings_and_categories_change_and_numbers_do_not():
    frame = pd.DataFrame(
        {
            "=heading": ["=1+1", None],
            "model": pd.Categorical(["@a", "b"]),
            "arrow": pd.array(["+1", None], dtype="string[pyarrow]"),
            "difference": [-0.5, 1.0],
        }
    )
    lines = harmless_frame(frame).to_csv(index=False).splitlines()
    assert lines == ["'=heading,model,arrow,difference", "'=1+1,'@a,'+1,-0.5", ",b,,1.0"]
    assert frame.loc[0, "=heading"] == "=1+1"


def test_headings_may_be_equal():
    frame = pd.DataFrame([["-a", "b"]], columns=["x", "x"])
    assert harmless_frame(frame).to_csv(index=False).splitlines() == ["x,x", "'-a,b"]
    empty = io.StringIO()
    harmless_frame(pd.DataFrame()).to_csv(empty, index=False)
    assert empty.getvalue().strip() in ("", '""')


ONLY_A_KEY = {"dashboards/data/watch.py"}
"""Texts that tell one answer of the cache from another; nobody opens them."""

WRITERS = {"to_csv", "to_excel", "write_csv", "Workbook"}


def test_every_file_for_a_spreadsheet_goes_through_the_rule():
    """Walk the program for what writes CSV or XLSX; each such module must use the rule."""
    found = set()
    for path in [*ROOT.glob("insights/**/*.py"), *ROOT.glob("dashboards/**/*.py")]:
        source = path.read_text("utf-8")
        if not any(writer in source for writer in WRITERS):
            continue
        tree = ast.parse(source)
        names = {
            node.attr if isinstance(node, ast.Attribute) else node.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute | ast.Name)
        }
        name = str(path.relative_to(ROOT))
        if names & WRITERS and name not in ONLY_A_KEY:
            found.add(name)
            assert names & {"harmless", "harmless_frame", "RUN_AS_FORMULA"}, (
                f"{path} writes cells as they are"
            )
    assert {"insights/history/refusals.py", "dashboards/answer.py"} <= found
