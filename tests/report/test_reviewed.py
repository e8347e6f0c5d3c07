"""What a report says of signals, and whom it names."""

from __future__ import annotations

import pandas as pd
import pytest

from insights.followup import Followup, follow_up
from insights.history.declared import HOME_VARIABLE
from insights.history.schema import History
from insights.history.units import Links
from insights.report.reviewed import MOST_RECALLS, units_to_call_in, watched_signals, what_sounds
from insights.reviewing.recall import recall_list
from insights.reviewing.watched import Watched, watched_in
from insights.wording.watch import of_signals
from synthetic.generate import generate
from synthetic.presets import lot_shop

SCENARIO = lot_shop(jobs=1500, days=800, seed=4)
LOT = f"CO{SCENARIO.parts[0].bad_lots[0]:03d}"
HEADING = f"Still out: Lot {LOT} of the contact"


@pytest.fixture(scope="module", autouse=True)
def own_home(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(HOME_VARIABLE, str(tmp_path_factory.mktemp("home")))
        yield


@pytest.fixture(scope="module")
def shop() -> Followup:
    history, truth = generate(SCENARIO)
    jobs = history.jobs.assign(customer="Zoë Quill", phone="0555 1")
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(History(jobs), data_date=truth.data_date, links=links)


def test_a_lot_that_sounds_has_its_units_listed_without_customers(shop):
    shares: list[float] = []
    found = what_sounds(shop, Watched(), customers=False, progress=shares.append)
    assert shares[-1] == pytest.approx(1)  # told how far it is
    sheets = {sheet.heading: sheet.table for sheet in found.sheets}
    expected = recall_list(shop, f"lot_contact={LOT}")
    assert list(sheets[HEADING]["Job"]) == list(expected.table["job_id"])
    assert f"{len(expected.table)} units are still out" in found.finding.sentence
    assert not {"Customer", "Phone"} & set(sheets[HEADING])
    everything = " ".join(str(sheet.table.to_numpy()) for sheet in found.sheets)
    assert "Quill" not in everything
    assert "0555" not in everything


def test_customers_stand_in_it_when_asked_for(shop):
    sheets = {
        sheet.heading: sheet.table for sheet in what_sounds(shop, Watched(), customers=True).sheets
    }
    assert set(sheets[HEADING]["Customer"]) == {"Zoë Quill"}


def test_what_was_done_about_a_signal_closes_it(shop):
    signals, remark = watched_signals(shop, Watched())
    assert remark == ""
    assert (
        of_signals(signals).sentence
        in what_sounds(shop, Watched(), customers=False).finding.sentence
    )
    sounded = signals.open.set_index("chart").loc[f"lot_contact={LOT}", "signalled_on"]
    done = pd.DataFrame(
        {"chart": [f"lot_contact={LOT}"], "date": [f"{sounded:%Y-%m-%d}"], "done": ["held the box"]}
    )
    after, _ = watched_signals(shop, Watched(actions=done))
    listed = {recall.chart for recall in units_to_call_in(shop, after, Watched())}
    assert f"lot_contact={LOT}" not in listed
    assert len(listed) <= MOST_RECALLS


def test_a_file_says_nothing_of_its_watch():
    found = watched_in("jobs.csv")
    assert found.actions is None
    assert found.statuses("lot_contact=B7") is None
