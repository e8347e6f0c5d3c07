"""The watch: what it finds, that it knows nothing of the future, and that it bears odd records."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import ClassVar

import numpy as np
import pandas as pd
import pytest
from shop import fleet
from shop import followed as by_hand
from watched import again, bad_lot, followed

from insights.errors import RequestError
from insights.history.asof import as_known
from insights.money.origin import stand_at
from insights.reviewing.baseline import Family
from insights.reviewing.charts import QUIET, Stretch, Track
from insights.reviewing.daily import accrue, known_on, lay_out
from insights.reviewing.expected import case_mix
from insights.reviewing.signals import ACTED, NOT_CHARTED, OPEN, SMALL, _began
from insights.reviewing.watch import watch
from synthetic.presets import lot_shop, null_shop, slip_shop

WHAT_WAS_SAID = ["chart", "signalled_on", "began_on", "seen", "expected", "limit"]
SCENARIO = lot_shop(jobs=2000, days=900, seed=4)
KEPT: dict[str, float] = {}


@pytest.fixture(scope="module")
def shop():
    return followed(SCENARIO)


@pytest.fixture(scope="module")
def signals(shop):
    return watch(shop, kept=KEPT)


@pytest.fixture(scope="module")
def quiet():
    shop = followed(null_shop(jobs=2000, days=900, seed=2))
    return shop, watch(shop, kept=KEPT)


def test_a_bad_lot_sounds_and_says_since_when(shop, signals):
    found = signals.table.set_index("chart").loc[bad_lot(SCENARIO)]
    assert found["kind"] == "lot"
    mine = shop.history.jobs["lot_contact"] == found["value"]
    first = shop.history.jobs.loc[mine, "handed_back"].min()
    assert found["began_on"] == first
    assert found["signalled_on"] > first
    assert found["seen"] > 1.5 * found["expected"]
    assert found["seen_by_now"] >= found["seen"]
    assert 4 <= found["seen"] <= 25


def test_watched_from_time_to_time_it_says_the_same(shop, signals):
    for day in pd.date_range("2023-01-31", shop.data_date, freq="91D"):
        then, _ = stand_at(shop, day)
        at_the_time = watch(then, kept=KEPT).table[WHAT_WAS_SAID]
        known = signals.table[signals.table["signalled_on"] <= day][WHAT_WAS_SAID]
        pd.testing.assert_frame_equal(
            at_the_time.reset_index(drop=True), known.reset_index(drop=True), rtol=1e-5
        )


def test_the_order_of_rows_does_not_matter(shop, signals):
    order = np.random.default_rng(5).permutation(len(shop.history.jobs))
    links = type(shop.links)(np.asarray(shop.links.unit_of_job)[order], pd.DataFrame())
    mixed = again(replace(shop, links=links), shop.history.jobs.iloc[order])
    pd.testing.assert_frame_equal(
        watch(mixed, kept=KEPT).table[WHAT_WAS_SAID], signals.table[WHAT_WAS_SAID], rtol=1e-5
    )


def test_what_is_expected_adds_up(shop):
    daily, mix = lay_out(shop), case_mix(shop)
    relative = mix.relative(shop)
    low, high, reach = 300, 500, 400.0
    found = accrue(daily, relative, mix, reach, low, high)
    code = np.arange(shop.job_count) % 3
    by_chart = found.by_chart(code, 3)

    def ages(day: int) -> np.ndarray:
        return np.clip(np.minimum(daily.end, day) - daily.start, 0, reach)

    brute = relative * (mix.cumulative(ages(high)) - mix.cumulative(ages(low)))
    by_hand_too = np.bincount(code, weights=brute, minlength=3)
    # Bands of the hazard are joined two by two or three by three, which moves little.
    assert by_chart.sum(axis=1) == pytest.approx(by_hand_too, rel=0.03)
    assert by_chart.shape == (3, high - low)


def test_known_when_the_visit_was_finished(shop):
    for day in (pd.Timestamp("2023-03-01"), pd.Timestamp("2023-10-15")):
        then = as_known(shop.history, day)
        now = known_on(shop.history, shop.data_date)
        now = now[(shop.history.jobs["received"] <= day).to_numpy()].reset_index(drop=True)
        pd.testing.assert_series_equal(
            known_on(then, day), now.where(now <= day), check_names=False
        )


def test_an_action_starts_the_chart_again(shop, signals):
    first = signals.table.set_index("chart").loc[bad_lot(SCENARIO)]
    day = f"{first['signalled_on']:%Y-%m-%d}"
    done = pd.DataFrame({"chart": [bad_lot(SCENARIO)], "date": [day], "done": ["held the box"]})
    after = watch(shop, kept=KEPT, actions=done)
    rows = after.table[after.table["chart"] == bad_lot(SCENARIO)]
    last = rows.iloc[-1]
    assert (last["state"], last["action"]) == (ACTED, "held the box")
    assert f"{last['acted_on']:%Y-%m-%d}" == day
    path = after.path(bad_lot(SCENARIO)).set_index("day")["level"]
    before = signals.path(bad_lot(SCENARIO)).set_index("day")["level"]
    assert before[first["signalled_on"]] >= first["limit"]
    next_days = path[path.index > first["signalled_on"]]
    # Nothing that came before the action counts any more.
    assert next_days.iloc[0] < before[first["signalled_on"]] / 2
    if len(rows) > 1:
        assert rows["began_on"].iloc[0] > first["signalled_on"]


def test_chance_goes_back_into_what_is_usual_and_trouble_does_not(quiet):
    shop, plain = quiet
    row = plain.table[plain.table["kind"] == "all"].iloc[-1]
    said = {
        "chart": [row["chart"]],
        "date": [f"{row['signalled_on']:%Y-%m-%d}"],
        "done": ["looked"],
    }
    trouble = watch(shop, kept=KEPT, actions=pd.DataFrame(said))
    chance = watch(shop, kept=KEPT, actions=pd.DataFrame({**said, "chance": ["yes"]}))
    assert chance.baselines["comebacks"].iloc[-1] > trouble.baselines["comebacks"].iloc[-1]


def test_what_is_done_after_the_data_date_counts_as_done(shop, signals):
    day = f"{shop.data_date + pd.Timedelta(days=9):%Y-%m-%d}"
    charts = [*signals.open["chart"], "dangerous=cord"]
    done = pd.DataFrame({"chart": charts, "date": day, "done": "looked"})
    after = watch(shop, kept=KEPT, actions=done, dangerous=["cord"])
    assert after.open.empty
    assert not (after.charts["state"] == "signal").any()
    assert len(after.table) == len(signals.table) + 1


@pytest.mark.parametrize(
    ("actions", "words"),
    [
        ({"chart": ["all jobs"], "date": ["2023-01-01"]}, "lacks done"),
        ({"chart": ["all jobs"], "date": ["soon"], "done": [""]}, "'soon' is not a date"),
        (
            {"chart": ["a"], "date": ["2023-01-01"], "done": [""], "chance": ["perhaps"]},
            "Write yes or no",
        ),
    ],
)
def test_actions_that_can_t_be_read(shop, actions, words):
    with pytest.raises(RequestError, match=words):
        watch(shop, actions=pd.DataFrame(actions))


def test_actions_on_a_chart_that_is_not_there_are_remarked(shop):
    done = pd.DataFrame({"chart": ["lot_contact=X"], "date": ["2023-01-01"], "done": [""]})
    notes = watch(shop, kept=KEPT, actions=done).notes
    assert "lot_contact=X" in next(note.text for note in notes if note.code == "unknown_chart")


@pytest.mark.parametrize("rate", [0, -1, float("nan")])
def test_false_alarms_are_above_zero(shop, rate):
    with pytest.raises(RequestError, match="above zero"):
        watch(shop, false_alarms_a_year=rate)


def test_more_patience_means_higher_limits(shop, signals):
    patient = watch(shop, false_alarms_a_year=0.1, kept=KEPT)
    for name in signals.baselines.filter(like="limit_"):
        assert (patient.baselines[name] > signals.baselines[name]).all()


def test_a_dangerous_cause_sounds_at_the_first_case(shop, signals):
    jobs = shop.history.jobs.assign(unit=np.asarray(shop.links.unit_of_job))
    later = jobs.sort_values("received", kind="stable")
    later = later[later["unit"].duplicated() & (later["root_cause"] == "cord")]
    first = later["ended_on"].min()
    found = watch(shop, kept=KEPT, dangerous=["cord", "never seen"])
    danger = found.table[found.table["kind"] == "dangerous"]
    assert danger["chart"].tolist() == ["dangerous=cord"]
    assert danger["signalled_on"].iloc[0] == first
    assert danger["seen_by_now"].iloc[0] == len(later)
    # After an action, the next case is a signal again.
    done = pd.DataFrame({"chart": ["dangerous=cord"], "date": [first], "done": ["looked"]})
    twice = watch(shop, kept=KEPT, dangerous=["cord"], actions=done).table
    twice = twice[twice["kind"] == "dangerous"]
    assert twice["state"].tolist() == [OPEN, ACTED]
    assert twice["signalled_on"].iloc[0] > first


def test_a_slipped_habit_sounds_within_days():
    scenario = slip_shop(jobs=1500, days=540, seed=2)
    found = watch(followed(scenario), kept=KEPT).table
    start = pd.Timestamp(scenario.slips[0].first_day)
    rows = found[(found["chart"] == "habit switch=everyone") & (found["signalled_on"] >= start)]
    assert (rows["signalled_on"].min() - start).days <= 10
    assert abs((rows["began_on"].iloc[-1] - start).days) <= 10


def test_what_passes_by_itself_is_no_longer_open():
    # Two comebacks at once, then none for long, then two again; an action on the second chart.
    step = np.array(
        [[0.0, 2.0, -0.5, -2.0, 0.0, 2.0, -0.1], [0.0, 2.0, -0.5, -2.0, 0.0, 2.0, -0.1]]
    )
    family = Family("technician", "technician", ("Ada", "Bo"), np.zeros(1, dtype=np.int64))
    track = Track(family, {1: [12]})
    rise = (step > 0).astype(float)
    # In two stretches, as from one baseline to the next.
    for low, days in ((9, slice(0, 3)), (12, slice(3, 7))):
        track.add(Stretch(low, np.ones_like(rise[:, days]), rise[:, days], step[:, days]), 1.5)
    alarms = {(alarm.number, alarm.day): alarm for alarm in track.alarms}
    assert sorted(alarms) == [(0, 11), (0, 15), (1, 11), (1, 15)]
    assert alarms[0, 11].passed == 13
    assert alarms[1, 11].passed == QUIET
    assert track.acted_on(alarms[1, 11]) == 12
    assert alarms[0, 15].passed == QUIET
    assert set(track.sounding) == {0, 1}
    assert [alarms[0, day].began for day in (11, 15)] == [10, 14]
    assert track.since(0, 10, 15) == (2, 5.0)
    # What passed is usual again; what was acted on is not, until it is said to be chance.
    suspects = {(alarm.number, alarm.day) for alarm in track.suspected(14)}
    assert suspects == {(0, 15), (1, 11), (1, 15)}
    assert (1, 11) not in [
        (alarm.number, alarm.day)
        for alarm in Track(family, {1: [12]}, {(1, 12)}, track.alarms).suspected(14)
    ]


def test_nothing_is_watched_without_a_baseline():
    few = by_hand(*fleet(40, (20, 30)))
    found = watch(few)
    assert found.watched_from is None
    assert found.table.empty
    assert found.charts.empty
    assert "no_baseline" in [note.code for note in found.notes]
    none = watch(by_hand(*fleet(40)))
    assert none.table.empty


def test_odd_records_are_borne(shop):
    jobs = shop.history.jobs.copy()
    last = jobs["handed_back"].max()
    odd = jobs["handed_back"] == last
    for name, value in (("technician", "new"), ("lot_contact", "LONE")):
        jobs[name] = jobs[name].astype(object).where(~odd, value).astype("category")
    late = jobs["received"].idxmax()
    cause = jobs["root_cause"].astype(object)
    cause[late] = "never seen before"
    jobs["root_cause"] = cause.astype("category")
    gap = jobs["handed_back"].between("2023-05-01", "2023-06-15")
    jobs.loc[gap, "handed_back"] = pd.NaT
    found = watch(again(shop, jobs), kept=KEPT).charts.set_index("chart")
    assert found.loc["lot_contact=LONE", "state"] in (SMALL, NOT_CHARTED)
    assert found.loc["lot_contact=LONE", "why"]
    assert found.loc["technician=new", "seen"] == 0
    assert np.isfinite(found.loc["technician=new", "expected"])
    assert (found["expected"] >= 0).all()


def test_a_lot_with_fewer_comebacks_than_expected_is_told_from_its_change():
    class Tallies:
        family = SimpleNamespace(kind="lot", code=np.array([0]))
        resets: ClassVar[dict] = {}
        low = 0

        def __init__(self, seen):
            self.seen = seen

        def since(self, number, began, day):
            return self.seen, 12.0

    daily, alarm = (
        SimpleNamespace(start=np.array([30])),
        SimpleNamespace(number=0, day=90, began=70),
    )
    assert _began(Tallies(13), daily, alarm) == 29  # the day before its first hand-back
    assert _began(Tallies(10), daily, alarm) == 70


def test_a_dangerous_cause_that_no_job_has_is_said_so():
    shop = by_hand(*fleet(40, (20,)))
    notes = {note.code: note.text for note in watch(shop, dangerous=["Fire"]).notes}
    assert "found on no job so far: Fire." in notes["dangerous_not_seen"]
    assert "it has contacts." in notes["dangerous_not_seen"]
    assert "dangerous_not_seen" not in {
        note.code for note in watch(shop, dangerous=["contacts"]).notes
    }
