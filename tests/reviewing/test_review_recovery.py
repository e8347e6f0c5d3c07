"""Do the intervals of shrunk ratios hold the truth? Seeded shops, on demand (-m slow)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from insights.followup import Followup, follow_up
from insights.history.units import Links
from insights.reviewing.rates import UNSURE, review
from synthetic.generate import generate
from synthetic.presets import null_shop
from synthetic.scenario import Part, Scenario, Technician

pytestmark = pytest.mark.slow

SHOPS = 150
DAY = 180


def followed(scenario: Scenario) -> Followup:
    history, truth = generate(scenario)
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links)


def against_the_others(hazard: np.ndarray, jobs: np.ndarray) -> np.ndarray:
    """Give each group's true hazard over that of the others' jobs together."""
    whole = hazard * jobs
    return hazard / ((whole.sum() - whole) / (jobs.sum() - jobs))


def test_where_nothing_differs_one_is_inside_and_hardly_anyone_is_called():
    inside, called = {}, {}
    for seed in range(SHOPS):
        table = review(followed(null_shop(seed=seed)), days=(DAY,)).table
        for by, rows in table.groupby("by"):
            held = (rows["low"] < 1) & (rows["high"] > 1)
            inside.setdefault(by, []).extend(held)
            called.setdefault(by, []).extend(rows["verdict"] != UNSURE)
    for by in inside:
        print(
            f"nothing differs, by {by}: {len(inside[by]) / SHOPS:.0f} groups, one inside "
            f"{np.mean(inside[by]):.1%}, called better or worse {np.mean(called[by]):.2%}"
        )
        # Shrunk towards the truth, intervals hold it more often than they say.
        assert np.mean(inside[by]) >= 0.92
        assert np.mean(called[by]) <= 0.08


@pytest.mark.parametrize("spread", [0.2, 0.4])
@pytest.mark.parametrize("benches", [4, 12])
def test_technicians_who_differ_are_held_by_their_intervals(benches, spread):
    held, wrong, found, missed = [], 0, 0, 0
    for seed in range(SHOPS):
        rng = np.random.default_rng(seed)
        logs = rng.normal(0, spread, benches)
        plain = null_shop(seed=seed, technicians=benches)
        people = tuple(
            Technician(f"bench {number:02d}", 1.0, log_hazard=float(log))
            for number, log in enumerate(logs, start=1)
        )
        rows = review(
            followed(replace(plain, technicians=people)), by="technician", days=(DAY,)
        ).table
        true = against_the_others(np.exp(logs), rows["jobs"].to_numpy())
        held.extend((rows["low"] < true) & (true < rows["high"]))
        worse = (rows["verdict"] == "probably worse").to_numpy()
        wrong += int((worse & (true < 1)).sum())
        found += int((worse & (true > 1)).sum())
        missed += int((~worse & (true > 1.5)).sum())
    print(
        f"{benches} benches, spread {spread}: held {np.mean(held):.1%}; called worse rightly "
        f"{found}, wrongly {wrong}; true ratio above 1.5 and not called {missed}"
    )
    assert 0.92 <= np.mean(held) <= 0.98
    assert wrong <= 0.1 * (wrong + found) + 1


def test_a_bad_lot_among_twenty_is_mostly_called():
    """Shrinking one odd lot towards nineteen good ones costs its interval: the call must stand."""
    called, wrong, above = 0, 0, 0
    for seed in range(SHOPS):
        part = Part("contact", lot_days=54.75, overlap_days=0.0, bad_lots=(10,), multiplier=3.0)
        scenario = replace(null_shop(seed=seed), parts=(part,))
        rows = review(followed(scenario), by="lot_contact", days=(DAY,)).table
        bad = rows["group"].str.endswith("010").to_numpy()
        worse = (rows["verdict"] == "probably worse").to_numpy()
        called += int(worse[bad].sum())
        wrong += int(worse[~bad].sum())
        above += int((rows["high"].to_numpy()[bad] < 3).sum())
    print(
        f"one of twenty lots (150 jobs) at three times the hazard: called {called / SHOPS:.1%}, "
        f"good lots called worse {wrong / SHOPS / 19:.2%}, interval ends below three "
        f"{above / SHOPS:.1%}"
    )
    assert called / SHOPS >= 0.6
    assert wrong / SHOPS / 19 <= 0.01
