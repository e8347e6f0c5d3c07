"""A preset written to a folder: the history as a workshop would keep it, and its truth."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from insights.history.schema import History
from insights.history.written import write_history
from synthetic import presets
from synthetic.generate import generate
from synthetic.scenario import Scenario
from synthetic.truth import Truth

PRESETS: dict[str, Callable[..., Scenario]] = {
    name: getattr(presets, name) for name in presets.__all__
}
DAYS = (90, 180, 365)


def write_preset(folder: str | Path, preset: str, **given: int) -> Path:
    """Write a preset's ``history.csv`` and ``truth.json``.

    Parameters
    ----------
    folder
        Made when it isn't there.
    preset
        A key of :data:`PRESETS`.
    given
        ``jobs``, ``seed``.

    Returns
    -------
    pathlib.Path
        The history.

    Raises
    ------
    OSError
        The folder can't be written.
    """
    history, truth = generate(PRESETS[preset](**given))
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    file = place / "history.csv"
    write_history(history, file)
    (place / "truth.json").write_text(
        json.dumps(truth_as_data(history, truth), indent=1, ensure_ascii=False), encoding="utf-8"
    )
    return file


def truth_as_data(history: History, truth: Truth) -> dict[str, Any]:
    """Put the truth into plain data for JSON: shares, practices, lots, slips, units."""
    scenario = truth.scenario
    job_id = history.jobs["job_id"].to_numpy()
    table = truth.table(DAYS)
    shares = [_known(share) for share in table["share"]]
    return {
        "data_date": f"{truth.data_date:%Y-%m-%d}",
        "share_back": table.assign(share=pd.Series(shares, dtype=object)).to_dict(orient="records"),
        "practices": {
            practice.name: {
                population: {
                    level: _known(
                        truth.practice_risk(practice.name, level, 180, population=population)
                    )
                    for level in (practice.done, practice.left)
                }
                for population in ("all", "treated", "untreated")
            }
            for practice in scenario.practices
        },
        "bad_lot_jobs": {
            part.name: job_id[truth.bad_lot_jobs(part.name)].tolist() for part in scenario.parts
        },
        "slip_jobs": {
            slip.practice: job_id[truth.slip_jobs(slip.practice)].tolist()
            for slip in scenario.slips
        },
        "confounded": truth.confounded,
        "unit_of_job": dict(zip(job_id.tolist(), truth.unit_of_job.tolist(), strict=True)),
        "scenario": asdict(scenario),
    }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
