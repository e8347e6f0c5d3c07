"""Discounts and loadings by kind of job, like for like, on hand-counted shops."""

from __future__ import annotations

import numpy as np
import pytest
from shop import fleet, followed

from insights.errors import RequestError
from insights.money.loadings import loadings


def shop():
    """Cleaned contacts mostly on boilers, which fail more whatever is done."""

    def part(model: str, level: str, size: int, back: int) -> list[dict]:
        days = tuple(range(10, 10 + back))
        rows = fleet(size, days, model=model, practice_contacts=level)
        # Names are the fleet's model; keep the units of the two levels apart.
        return [
            row
            | {"unit": row["unit"] + 2_000_000 * (level == "left"), "job_id": level + row["job_id"]}
            for row in rows
        ]

    return followed(
        *part("boiler", "cleaned", 100, 8),
        *part("boiler", "left", 50, 8),
        *part("grinder", "cleaned", 50, 1),
        *part("grinder", "left", 200, 8),
    )


def test_factors_are_like_for_like():
    found = loadings(shop(), "practice_contacts", 180, claim_cost=50)
    table = found.table.set_index("level")
    # Mix of the record: 3/8 boilers, 5/8 grinders. All jobs: 16/150 and 9/250 back.
    cleaned, left = 3 / 8 * 8 / 100 + 5 / 8 * 1 / 50, 3 / 8 * 8 / 50 + 5 / 8 * 8 / 200
    everyone = 3 / 8 * 16 / 150 + 5 / 8 * 9 / 250
    assert table["claims_per_100"].tolist() == pytest.approx([100 * cleaned, 100 * left])
    assert table["factor"].tolist() == pytest.approx([cleaned / everyone, left / everyone])
    assert table["change_per_job"].tolist() == pytest.approx(
        [50 * (cleaned - everyone), 50 * (left - everyone)]
    )
    # Side by side without the mix, cleaning would look worse than it is: 9 of 150 and 16 of 250.
    assert table["factor"]["cleaned"] < 1 < table["factor"]["left"]
    assert ((table["low"] < table["factor"]) & (table["factor"] < table["high"])).all()
    assert not table["clear"].any()
    assert [note.code for note in found.notes[-2:]] == ["plain_comparison", "several_levels"]


def test_a_level_is_compared_where_it_has_jobs():
    rows = [
        *fleet(60, (10, 20, 30), model="boiler", practice_seal="new"),
        *fleet(60, (10,), model="grinder", practice_seal="old"),
    ]
    table = loadings(followed(*rows), "practice_seal").table.set_index("level")
    # New seals were only ever fitted to boilers, so boilers are what they are compared with.
    assert table["factor"].tolist() == pytest.approx([1.0, 1.0])
    assert table["change_per_job"].isna().all()


def test_what_can_not_be_compared_is_left_open_in_words():
    rows = [*fleet(60, (), model="boiler", practice_seal="new")]
    (row,) = loadings(followed(*rows), "practice_seal").table.to_dict("records")
    assert row["why_not"] == "No claim was ever seen by that day."
    assert np.isnan(row["factor"])
    few = [*fleet(60, (10,), model="boiler"), *fleet(3, (), model="grinder", condition=5)]
    table = loadings(followed(*few), "condition").table.set_index("level")
    assert "Too few jobs" in table["why_not"]["5"]
    assert np.isnan(table["factor"]["5"])


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"by": "model"}, "with itself"),
        ({"by": "colour"}, "Can't group by"),
        ({"by": "condition", "term_days": -5}, "term"),
        ({"by": "condition", "level": 0}, "confidence"),
        ({"by": "condition", "claim_cost": -1}, "claim_cost is -1"),
    ],
)
def test_impossible_comparisons_are_refused(asked, words):
    with pytest.raises(RequestError, match=words):
        loadings(followed(*fleet(30, (10,), condition=2)), **asked)


def test_a_range_is_that_of_a_ratio_of_two_shares_at_95_of_100():
    # By the delta method the log of a ratio of shares varies by (1 - p) / x for each, taken as
    # apart; 1.96 is the normal quantile, and each share has half a claim more (Jeffreys).
    jobs = [
        *fleet(400, tuple(range(10, 70)), model="boiler", practice_seal="new"),
        *fleet(300, tuple(range(10, 34)), model="grinder", practice_seal="left"),
    ]
    found = loadings(followed(*jobs), "practice_seal", 90, like_for_like="year")
    row = found.table.set_index("level").loc["new"]
    own, common = 60.5 / 401, 84.5 / 701
    spread = np.sqrt((1 - own) / 60.5 + (1 - common) / 84.5)
    assert row["high"] / row["low"] == pytest.approx(np.exp(2 * 1.96 * spread), rel=0.05)
    assert [note.text for note in found.notes if note.code == "several_levels"] == [
        "Each range is 95% likely to hold, so of 2 compared about 0.1 would stand out by chance "
        "alone."
    ]
