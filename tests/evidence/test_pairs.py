"""Partner left in against partner renewed, on a record counted by hand."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from insights.errors import RequestError
from insights.evidence.pairs import TOTAL, pair_comebacks
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links

START = pd.Timestamp("2022-01-01")


def workshop(groups):
    """Give jobs by (level, failed cause, jobs, {cause of comeback: how many, on day 60})."""
    rows = []
    unit = 0
    for level, failed, jobs, back in groups:
        comebacks = [cause for cause, many in back.items() for _ in range(many)]
        for number in range(jobs):
            rows.append((unit, START, failed, level))
            if number < len(comebacks):
                rows.append((unit, START + pd.Timedelta(days=60), comebacks[number], None))
            unit += 1
    frame = pd.DataFrame(rows, columns=["unit", "received", "root_cause", "practice_pair"])
    frame["handed_back"] = frame["received"].where(frame["practice_pair"].notna())
    frame = frame.assign(job_id=np.arange(len(frame)).astype(str), model="boiler")
    links = Links(frame.pop("unit").to_numpy(), pd.DataFrame())
    return follow_up(History(to_schema(frame)), links=links, data_date="2022-12-31", follow="all")


SHOP = [
    ("one", "element", 180, {"element": 6, "cord": 2}),
    ("both", "element", 150, {"element": 1, "cord": 3}),
    ("one", "cord", 400, {"element": 40}),  # neither of the pair failed: says nothing of partners
]


def ask(groups=SHOP, **changes):
    asked = {"left": "one", "renewed": "both", "failed": "element", **changes}
    return pair_comebacks(workshop(groups), "pair", **asked)


def test_six_of_180_against_one_of_150():
    result = ask()
    table = result.table.set_index(["level", "cause"])
    assert table.loc[("one", "element"), ["jobs", "returns"]].tolist() == [180, 6]
    assert table.loc[("both", "element"), ["jobs", "returns"]].tolist() == [150, 1]
    assert table.loc[("one", TOTAL), "returns"] == 8
    np.testing.assert_allclose(table["share"], [6 / 180, 8 / 180, 1 / 150, 4 / 150], rtol=1e-9)
    # 6 of 180, log-log by hand: -log(1 - share) = .03390 times or over exp(1.96 x .4083).
    assert table.loc[("one", "element"), "low"] == pytest.approx(0.01511, abs=1e-5)
    assert table.loc[("one", "element"), "high"] == pytest.approx(0.07269, abs=1e-5)
    # 1 of 150, Clopper & Pearson 1934: at each bound the tail of the binomial is 2.5%.
    low, high = table.loc[("both", "element"), ["low", "high"]]
    assert stats.binom.sf(0, 150, low) == pytest.approx(0.025, abs=1e-6)
    assert stats.binom.cdf(1, 150, high) == pytest.approx(0.025, abs=1e-6)
    assert result.difference == pytest.approx(1 / 150 - 6 / 180)
    # By hand: -.02667 - sqrt(.00650^2 + .03936^2), -.02667 + sqrt(.02993^2 + .01822^2).
    assert result.low == pytest.approx(-0.0666, abs=2e-4)
    assert result.high == pytest.approx(0.0084, abs=2e-4)
    assert result.verdict == "too_few_to_call"
    assert "plain_comparison" in {note.code for note in result.notes}


@pytest.mark.parametrize(("one", "both", "verdict"), [(40, 4, "fewer"), (4, 40, "more")])
def test_a_clear_difference(one, both, verdict):
    groups = [
        ("one", "element", 300, {"element": one}),
        ("both", "element", 300, {"element": both}),
    ]
    assert ask(groups).verdict == verdict


def test_none_of_either():
    groups = [("one", "element", 50, {"cord": 1}), ("both", "element", 40, {})]
    table = ask(groups).table.set_index(["level", "cause"])
    assert table.loc[("both", "element"), "share"] == 0
    assert table.loc[("both", "element"), "high"] == pytest.approx(0.0881, abs=5e-5)  # 0 of 40
    assert 0.06 < table.loc[("one", "element"), "high"] < 0.08  # 0 of 49 still at risk


def test_a_day_past_the_follow_up_is_not_stated():
    result = ask(day=800)
    assert result.verdict == "not_followed"
    assert np.isnan(result.difference)


def test_what_is_refused():
    with pytest.raises(RequestError, match=r"No practice 'switch'.*pair"):
        pair_comebacks(workshop(SHOP), "switch", left="one", renewed="both", failed="element")
    with pytest.raises(RequestError, match="compared with itself"):
        ask(renewed="one")
    with pytest.raises(RequestError, match="No job has root_cause = rust"):
        ask(failed="rust")
    with pytest.raises(RequestError, match="root cause 'rust'"):
        ask(cause="rust")
    with pytest.raises(RequestError, match="practice_pair = both"):
        ask([SHOP[0], ("both", "cord", 10, {})])
