"""The sentences about suggested root causes: never surer than the record, plain about silence."""

from __future__ import annotations

import pandas as pd
import pytest

from insights.bench.suggestion import learn_root_causes, suggest_root_cause
from insights.history.schema import History, to_schema
from insights.wording.suggestion import NEVER_FILLED, of_suggestion, of_track_record


@pytest.fixture(scope="module")
def learnt():
    """Two causes in their own words; every tenth job of the second is coded as the first."""
    received = pd.date_range("2024-01-01", periods=400)
    cold = [row % 2 == 0 for row in range(400)]
    frame = {
        "job_id": [f"J{row}" for row in range(400)],
        "received": received,
        "handed_back": received + pd.Timedelta(days=1),
        "model": "grill",
        "complaint": ["clicks but stays cold" if one else "water underneath" for one in cold],
        "root_cause": [
            "contact" if one or row % 20 == 1 else "seal" for row, one in enumerate(cold)
        ],
    }
    return learn_root_causes(History(to_schema(pd.DataFrame(frame))))


def test_a_suggestion_says_what_spoke_for_it_and_how_often_it_was_right(learnt):
    found = of_suggestion(suggest_root_cause(learnt, "water underneath", confidence=0.7), learnt)
    hits = learnt.record.at(0.7, "seal")
    assert found.sentence.startswith("It may be seal:")
    assert "'water'" in found.sentence
    assert f"said seal {hits.spoke} times before, and been right {hits.right}." in found.sentence
    assert hits.right / hits.spoke == pytest.approx(0.9, abs=0.02)
    assert found.caveats == (NEVER_FILLED,)


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "no words"), ("Ζεσταίνει αργά", "new to the record"), ("clicks underneath", "not sure")],
)
def test_silence_is_said_with_its_reason(learnt, text, says):
    found = of_suggestion(suggest_root_cause(learnt, text, confidence=0.95), learnt)
    assert found.sentence.startswith("No suggestion:")
    assert says in found.sentence


def test_the_record_is_told_with_its_range_and_its_limits(learnt):
    hits = learnt.record.at(0.7)
    found = of_track_record(learnt, 0.7)
    assert f"On {hits.judged} later jobs" in found.sentence
    assert f"spoken for {hits.spoke} and been right {hits.right} times" in found.sentence
    assert f"likely {100 * hits.low:.1f} to {100 * hits.high:.1f}" in found.sentence
    assert any("without seeing it" in caveat for caveat in found.caveats)
    assert "spoken for none" in of_track_record(learnt, 0.999).sentence
