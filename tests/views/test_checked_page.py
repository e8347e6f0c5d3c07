"""The page that shows how the program was checked: what is written down is what is shown."""

from __future__ import annotations

import json

import pytest
from checks import RECORD
from screen import answers, page_text

from dashboards.data import checked as checked_data
from insights.checked import read_checked

PAGE = "How this was checked"
RUN = {
    "commit": "abc",
    "python": "3.11.7",
    "processors": 2,
    "libraries": {"numpy": "2.4.6", "scipy": "1.17.1"},
}


def comparison(test: str, source: str, expected: float, found: float, **more) -> dict:
    return {
        "test": f"tests/{test}.py::test_it",
        "what": f"{test} of it",
        "source": source,
        "values": 1200,
        "expected": expected,
        "found": found,
        "difference": abs(found - expected),
        "allowed": {"abs": None, "rel": 0.05},
        "run": "new",
        **more,
    }


RECORDED = {
    "runs": {
        "old": {"date": "2026-03-09", **RUN},
        "new": {"date": "2026-06-01", **RUN},
    },
    "outside": [
        comparison("money/test_a", "A table; page 3, from memory", 40.0, 41.0),
        comparison("survival/test_b", "A table; page 4", 0.5, 0.5),
        # However a difference is allowed, the largest is told.
        comparison(
            "bench/test_f", "A table; page 5", 1e-4, 5.1e-5, allowed={"abs": 6e-5, "rel": None}
        ),
        comparison("test_c", "scipy", 1e-12, 2e-12, allowed={"abs": 0.001, "rel": None}),
    ],
    "measured": [
        {
            "test": "tests/survival/test_d.py::test_it",
            "table": "Ranges: 95% of a share",
            "figures": {"jobs": 1000, "held_share": 0.954, "bias_pp": 0.0312, "spread": None},
            "run": "old",
        },
        {
            "test": "tests/survival/test_e.py::test_it",
            "table": "Speed",
            "figures": {"what": "curves", "jobs": 1000000, "seconds": 0.146},
            "run": "new",
        },
    ],
}


@pytest.fixture
def shown(open_app, shop_file, tmp_path, monkeypatch):
    path = tmp_path / "checks.json"
    path.write_text(json.dumps(RECORDED), "utf-8")
    monkeypatch.setattr(checked_data, "read_checked", lambda: read_checked(path))
    return open_app(shop_file, PAGE)


def test_it_says_how_many_agree_and_how_closely(shown):
    (sentence,) = answers(shown)
    assert sentence == (
        "3,600 values from 1 outside source, and 1,200 that 1 general library works out in their "
        "own way, agree with ours, each as closely as was asked of it."
    )
    text = page_text(shown)
    assert (
        "Checked on 1 June 2026. 2 of the 4 comparisons agree to within a millionth of the value, "
        "2 differ by more than a hundredth." in text
    )
    assert (
        "Farthest off, next to its own size, is a value of 'bench/test_f of it': 0.0001 there, "
        "0.000051 here, 0.00006 allowed. Rounded to the decimals that the source prints, both are "
        "the same." in text
    )
    assert "1 of 4 comparisons are with values known from memory" in text
    assert "Python 3.11.7, 2 processors; numpy 2.4.6, scipy 1.17.1" in text
    assert "Measured on 9 March 2026." in text


def test_every_comparison_and_figure_stands_in_its_table(shown):
    sources, survival, money, _, whole, ranges, speed = (table.value for table in shown.table)
    assert sources.to_numpy().tolist() == [["A table", "3", "3,600"], ["scipy", "1", "1,200"]]
    assert survival["Difference"].tolist() == ["none"]
    assert money[["Expected", "Found", "Allowed"]].to_numpy().tolist() == [["40", "41", "5%"]]
    assert whole[["Difference", "Allowed"]].to_numpy().tolist() == [["below 0.000000001", "0.001"]]
    assert ranges.to_dict("list") == {
        "Jobs": ["1,000"],
        "Held": ["95.4%"],
        "Bias, points of 100": ["0.0312"],
        "Spread": [""],
    }
    assert speed.to_numpy().tolist() == [["curves", "1,000,000", "0.146"]]


def test_the_program_comes_with_what_was_written_down(open_app, shop_file):
    app = open_app(shop_file, PAGE)
    assert not app.exception
    record = json.loads(RECORD.read_text("utf-8"))
    assert f"of the {len(record['outside'])} comparisons" in page_text(app)
