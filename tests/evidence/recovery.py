"""Seeded shops compared with their truth, cell by cell of a design."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from insights.errors import EvidenceError
from insights.evidence.practice import compare_practice
from insights.evidence.result import PracticeEvidence
from insights.followup import follow_up
from insights.history.units import Links
from insights.money.costs import ComebackCost, Costs
from insights.money.payback import payback
from synthetic.generate import generate
from synthetic.presets import practice_shop

NAME = "contact_pair"
DAY = 180
COSTS = Costs(part_cost=0.60, minutes=1.0, rate_per_hour=42.0, comeback=ComebackCost(45.0))


@dataclass
class Cell:
    """What one cell of the design showed."""

    label: str
    rows: list[dict[str, float]] = field(default_factory=list)
    refused: int = 0

    def summary(self) -> dict[str, float | str]:
        """Line the shops up as one row of the table."""
        rows = pd.DataFrame(self.rows)
        mean = rows.mean()
        return {
            "cell": self.label,
            "shops": len(rows),
            "refused": self.refused,
            "returns": mean["returns"],
            "truth_pp": 100 * mean["truth"],
            "plain_bias_pp": 100 * (mean["plain"] - mean["truth"]),
            "bias_pp": 100 * (mean["adjusted"] - mean["truth"]),
            "se_bias_pp": 100 * (rows["adjusted"] - rows["truth"]).std() / np.sqrt(len(rows)),
            "covered_share": mean["covered"],
            "plain_covered_share": mean["plain_covered"],
            "width_pp": 100 * mean["width"],
            "helps_share": mean["helps"],
            "harms_share": mean["harms"],
            "pays_share": mean["pays"],
            "disagree_share": mean["disagree"],
            "control_differs_share": mean["control_differs"],
        }


def run(label: str, shops: int, first_seed: int = 1, **scenario: object) -> Cell:
    """Compare the practice in so many seeded shops."""
    cell = Cell(label)
    for seed in range(first_seed, first_seed + shops):
        history, truth = generate(practice_shop(seed=seed, **scenario))
        followup = follow_up(
            history,
            data_date=truth.data_date,
            links=Links(truth.unit_of_job, pd.DataFrame()),
        )
        control = ["cord"] if "cord" in followup.episodes["cause"].cat.categories else None
        try:
            found = compare_practice(followup, NAME, day=DAY, control_causes=control, seed=seed)
        except EvidenceError:
            cell.refused += 1
            continue
        difference = truth.practice_difference(NAME, DAY, population="untreated")
        cell.rows.append(_row(found, difference))
    return cell


def _row(found: PracticeEvidence, truth: float) -> dict[str, float]:
    adjusted, crude = found.adjusted, found.crude
    money = payback(-found.draws, COSTS, risk_without=adjusted.risk_against)
    return {
        "returns": found.returns,
        "truth": truth,
        "plain": crude.difference,
        "adjusted": adjusted.difference,
        "covered": adjusted.low <= truth <= adjusted.high,
        "plain_covered": crude.low <= truth <= crude.high,
        "width": adjusted.high - adjusted.low,
        "helps": found.verdict == "helps",
        "harms": found.verdict == "harms",
        "pays": money.verdict == "pays",
        "disagree": "estimators_disagree" in [note.code for note in found.notes],
        "control_differs": found.control.verdict == "differs",
    }
