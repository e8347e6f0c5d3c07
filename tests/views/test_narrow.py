"""Which tables stand in lines on a telephone, and what their headings may hold."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from dashboards import narrow
from dashboards.answer import FEW_ROWS
from insights.tables.bench import of_visits


def unescaped(css: str) -> str:
    """Read a CSS string as a browser does (CSS Syntax Module Level 3, 4.3.7)."""
    return re.sub(r"\\([0-9a-f]{1,6})\s?", lambda found: chr(int(found[1], 16)), css)


@pytest.mark.parametrize(
    ("rows", "wide"),
    [
        (of_visits({"complaint": "cold"}, {"complaint": "warm on one side only"}), False),
        (pd.DataFrame({name: ["1"] for name in "abcd"}), False),
        (pd.DataFrame({name: ["1"] for name in "abcde"}), True),
        (pd.DataFrame({"Pair": ["1"], "Why": ["same customer; " * 9]}), True),
        (pd.DataFrame({name: [] for name in "abc"}), False),
    ],
)
def test_a_table_too_wide_for_a_telephone_is_known(rows, wide):
    assert narrow.is_wide(rows) is wide


def test_a_heading_stands_as_it_is_and_can_not_end_the_style():
    odd = "Waiting, days '}</style><b>ж 🙂\\"
    rows = pd.DataFrame({"Job": ["1"], odd: ["2"], "": ["3"]})
    style = narrow._headings(rows, "late ones/1")
    assert style.count("<") == 2
    assert ".st-key-lines-late-ones-1 td:nth-child(2)::before" in style
    texts = re.findall(r"content: '([^']*)'", style)
    assert [unescaped(text) for text in texts] == ["Job", odd]


def test_a_long_list_says_how_much_of_it_a_telephone_shows():
    from streamlit.testing.v1 import AppTest

    def page():
        import pandas as pd

        from dashboards import answer

        rows = pd.DataFrame({name: [f"{name}{row}" for row in range(40)] for name in "abcde"})
        answer.table(rows, key="forty", alt="Forty")

    app = AppTest.from_function(page).run()
    assert len(app.dataframe[0].value) == 40
    assert app.table[0].value["a"].tolist() == [f"a{row}" for row in range(FEW_ROWS)]
    assert [said.value for said in app.markdown] == [
        "The first 25 of 40. The file holds all of them."
    ]
