"""The pages that watch: their words are the analysis's own; what sounds is on the first page."""

from __future__ import annotations

import pytest
from screen import answers, charts, page_text, turn_to

from insights.followup import follow_up
from insights.history.intake import read_history
from insights.reviewing.missing import missing_practices
from insights.reviewing.recall import can_be_suspect, recall_list
from insights.reviewing.watch import watch
from insights.wording import watch as wording_watch
from synthetic.generate import generate
from synthetic.presets import lot_shop


@pytest.fixture(scope="module")
def lot_file(tmp_path_factory):
    history, _ = generate(lot_shop(jobs=1500, days=800, seed=4))
    path = tmp_path_factory.mktemp("lots") / "lots.csv"
    jobs = history.jobs.dropna(axis="columns", how="all")
    jobs.to_csv(path, index=False, date_format="%Y-%m-%d")
    return path


@pytest.fixture(scope="module")
def followup(lot_file):
    return follow_up(read_history(lot_file))


@pytest.fixture(scope="module")
def signals(followup):
    return watch(followup)


def test_the_page_says_what_the_watch_says(open_app, lot_file, followup, signals):
    app = open_app(lot_file, "Trouble early")
    assert not app.exception
    assert answers(app) == [
        wording_watch.of_signals(signals).sentence,
        wording_watch.of_missing(missing_practices(followup)).sentence,
    ]
    assert set(charts(app)) == {"watch-seen", "watch-level", "practice-use"}
    assert "says where to look" in page_text(app)


def test_how_it_is_worked_out_is_told_without_names_of_columns(open_app, lot_file, signals):
    app = open_app(lot_file, "Trouble early")
    shown = next(t.value for t in app.table if "In force from" in t.value)
    assert not [name for name in shown if "_" in name]
    first = signals.baselines.iloc[0]
    assert f"lots {first['limit_lot']:.1f}," in shown["Limits"].iloc[0]
    assert shown["Limits"].iloc[0].startswith(f"all jobs {first['limit_all']:.1f}, ")
    assert shown["In force from"].iloc[0] == f"{first['from']:%Y}\u2011{first['from']:%m\u2011%d}"


def test_a_dangerous_cause_is_asked_for_and_stands_on_the_first_page(open_app, lot_file):
    app = open_app(lot_file, "Trouble early")
    app.multiselect(key="watch-dangerous").select("cord").run()
    assert answers(app)[0].startswith("Dangerous: cord was found on")
    app = turn_to(app, "Where we stand")
    assert not app.exception
    assert any("cord was found on" in warning.value for warning in app.warning)


def test_the_units_to_call_in(open_app, lot_file, followup, signals):
    app = open_app(lot_file, "Call in")
    assert not app.exception
    every = can_be_suspect(followup)
    sounding = [chart for chart in signals.open["chart"] if chart in every]
    first = (*sounding, *every)[0]
    assert app.selectbox(key="recall-chart").value == first
    app.selectbox(key="recall-chart").set_value("lot_contact=CO010").run()
    app.slider(key="recall-call-cost").set_value(5).run()
    app.checkbox(key="recall-recorded").uncheck().run()
    app.slider(key="recall-comeback-cost").set_value(100).run()
    wanted = recall_list(followup, "lot_contact=CO010", call_in_cost=5.0, comeback_cost=100.0)
    assert answers(app) == [wording_watch.of_recall(wanted).sentence]
