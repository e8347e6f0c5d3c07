"""Many questions at once: Benjamini and Hochberg's own example, and SciPy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from sources import SCIPY

from insights.errors import RequestError
from insights.evidence.multiplicity import adjust_benjamini_hochberg, many_questions

# 15 comparisons of two treatments for infarction; at 5% their procedure rejects 4, Bonferroni's 3.
AUTHORS = "Benjamini and Hochberg 1995, JRSS B 57:289-300; section 4"
FIFTEEN = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000,
]  # fmt: skip


def test_the_authors_own_example(outside):
    adjusted = adjust_benjamini_hochberg(np.array(FIFTEEN))
    rejected = (adjusted <= 0.05).sum()
    outside.agrees("several questions: rejected of 15", rejected, 4, source=AUTHORS, abs=0)
    expected = [
        0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645,
        0.0765, 0.486, 0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0,
    ]  # fmt: skip
    printed = f"{SCIPY}; false_discovery_control, as its documentation prints"
    outside.agrees("several questions: adjusted p", adjusted, expected, source=printed, abs=5e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=25))
def test_agrees_with_scipy_ties_included(p):
    ours = adjust_benjamini_hochberg(np.array(p))
    np.testing.assert_allclose(ours, stats.false_discovery_control(p), atol=1e-12)


def test_one_question_declared_stands_alone():
    p = {"pair": 0.04, "switch": 0.003, "seal": 0.012, "cord": 0.021, "plate": 0.3}
    result = many_questions(p, declared="pair")
    table = result.table.set_index("question")
    assert table.loc["pair", "role"] == "declared"
    assert table.loc["pair", "adjusted_p"] == 0.04  # uncorrected
    assert table["stands_out"].to_dict() == {
        "pair": True, "switch": True, "seal": True, "cord": True, "plate": False,
    }  # fmt: skip
    # By hand over the other four: .003 x 4, .012 x 2, .021 x 4/3, .3.
    np.testing.assert_allclose(
        table.loc[["switch", "seal", "cord", "plate"], "adjusted_p"], [0.012, 0.024, 0.028, 0.3]
    )
    assert {note.code for note in result.notes} == {"exploration"}


def test_a_declared_question_is_not_spared_by_the_looser_bound():
    result = many_questions({"pair": 0.07, "switch": 0.07}, declared="pair")
    assert result.table["stands_out"].tolist() == [False, True]


def test_none_declared_and_untested():
    result = many_questions({"pair": 0.04, "seal": float("nan")}, declared=None)
    assert {note.code for note in result.notes} == {"none_declared", "exploration", "untested"}
    assert result.table["stands_out"].tolist() == [True, False]
    assert result.table["adjusted_p"].iloc[0] == 0.04  # the untested one is not counted


def test_what_is_refused():
    with pytest.raises(RequestError, match="'kettle' is not among those asked: pair"):
        many_questions({"pair": 0.04}, declared="kettle")
    with pytest.raises(RequestError, match=r"p-value of 'pair' is 1\.4"):
        many_questions({"pair": 1.4}, declared="pair")
    with pytest.raises(RequestError, match="No question"):
        many_questions({}, declared=None)
    with pytest.raises(RequestError, match="false_share is 0"):
        many_questions({"pair": 0.4}, declared=None, false_share=0)
