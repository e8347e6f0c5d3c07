"""Invented shops to watch, and an owner who looks into every signal the day it comes."""

from __future__ import annotations

from collections.abc import MutableMapping

import pandas as pd

from insights.followup import Followup, follow_up
from insights.history.schema import History
from insights.history.units import Links
from insights.reviewing.signals import Signals
from insights.reviewing.watch import watch
from synthetic.generate import generate
from synthetic.scenario import Scenario


def followed(scenario: Scenario) -> Followup:
    """Follow a shop whose units are known."""
    history, truth = generate(scenario)
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links)


def again(followup: Followup, jobs: pd.DataFrame) -> Followup:
    """Follow the same units with other jobs of the same rows."""
    history = History(jobs.reset_index(drop=True))
    return follow_up(history, data_date=followup.data_date, links=followup.links)


def attended(followup: Followup, kept: MutableMapping[str, float]) -> Signals:
    """Watch, with every signal looked into on its day and found to be chance."""
    done: list[dict[str, str]] = []
    while True:
        signals = watch(
            followup,
            kept=kept,
            actions=pd.DataFrame(done, columns=["chart", "date", "done", "chance"]),
        )
        waiting = signals.open
        if waiting.empty:
            return signals
        first = waiting[waiting["signalled_on"] == waiting["signalled_on"].min()]
        done += [
            {"chart": chart, "date": f"{day:%Y-%m-%d}", "done": "looked", "chance": "yes"}
            for chart, day in zip(first["chart"], first["signalled_on"], strict=True)
        ]


def bad_lot(scenario: Scenario) -> str:
    """Name the chart of a shop's bad lot."""
    return f"lot_contact=CO{scenario.parts[0].bad_lots[0]:03d}"
