"""Results as plain data for other programs: the keys they rely on, written once."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pandas as pd

from insights.evidence.result import PracticeEvidence
from insights.followup import Followup
from insights.money.backtest import Backtest
from insights.money.payback import Payback
from insights.money.quote import Quote
from insights.money.reserve import Reserve
from insights.notes import Note
from insights.reviewing.call_back import Corrected
from insights.reviewing.cohorts import YearOnYear
from insights.reviewing.dearest import CostsByCause
from insights.reviewing.missing import MissingPractices
from insights.reviewing.rates import Review
from insights.reviewing.recall import Recall
from insights.reviewing.signals import Signals
from insights.survival.causes import CauseCurves
from insights.survival.curves import Curves, GroupTest


def dumps(data: dict[str, Any]) -> str:
    """Write one JSON object; what is not known is null, never NaN."""
    return json.dumps(plain(data), ensure_ascii=False, allow_nan=False)


def plain(value: Any) -> Any:
    """Turn numpy, pandas and dataclass values into what JSON knows."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, pd.DataFrame):
        return [plain(row) for row in value.to_dict("records")]
    if isinstance(value, list | tuple | np.ndarray | pd.Series):
        return [plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return plain(dataclasses.asdict(value))
    return _scalar(value)


def _scalar(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, pd.Timestamp):
        return value.strftime("%Y-%m-%d")
    if isinstance(value, float):
        if not math.isfinite(value):
            return None
        return int(value) if value.is_integer() and abs(value) < 2**53 else value
    return value


def notes(remarks: tuple[Note, ...]) -> list[dict[str, Any]]:
    """List remarks as data."""
    return [dataclasses.asdict(note) for note in remarks]


def rules(followup: Followup) -> dict[str, Any]:
    """State the rules that a result was computed under."""
    return {
        "data_date": followup.data_date,
        "follow": followup.follow,
        "count": followup.count,
        "grace_days": followup.grace_days,
        "link_at": followup.links.link_at,
    }


def check(followup: Followup) -> dict[str, Any]:
    """Say what loads, what is refused and why, and which units were linked."""
    history, links = followup.history, followup.links
    return {
        "source": history.source,
        "jobs": len(history.jobs),
        "units": len(np.unique(links.unit_of_job)),
        "hand_backs": followup.job_count,
        "returns": followup.return_count,
        "refused_rows": history.refused_count,
        "refused": history.refused,
        "problems": followup.problems,
        "links": links.pairs,
        "notes": notes((*history.notes, *links.notes, *followup.notes)),
        **rules(followup),
    }


def curves(result: Curves) -> dict[str, Any]:
    """Give the share back by day and group."""
    return {
        "groups": [_group(row, _at(result.at, row["group"])) for row in _rows(result.groups)],
        "test": _test(result.test),
        "weighted_test": _test(result.weighted_test),
        "method": result.method,
        "notes": notes(result.notes),
    }


def causes(result: CauseCurves) -> dict[str, Any]:
    """Give the same, split by root cause."""
    whole = curves(result.total)
    for group in whole["groups"]:
        rows = result.at[result.at["group"] == group["group"]]
        group["causes"] = [
            {
                "cause": cause,
                "at": [_point(row) for row in _rows(rows[rows["cause"] == cause])],
            }
            for cause in dict.fromkeys(rows["cause"])
        ]
    return {**whole, "cause_tests": result.tests, "method": result.method}


def practice(evidence: PracticeEvidence, pays: Payback | None) -> dict[str, Any]:
    """Give a comparison of two ways of working, and whether it pays where that was asked."""
    data = {field.name: getattr(evidence, field.name) for field in dataclasses.fields(evidence)}
    # The draws are the machine's own; the estimators' table is worth a plainer name.
    del data["draws"]
    data["estimators"] = data.pop("table")
    data["notes"] = notes(evidence.notes)
    data["pays"] = None if pays is None else dataclasses.asdict(pays)
    return data


def quote(result: Quote) -> dict[str, Any]:
    """Give a quote by term."""
    data = {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    data["terms"] = data.pop("table")
    data["notes"] = notes(result.notes)
    return data


def reserve(result: Reserve) -> dict[str, Any]:
    """Give the money to hold."""
    data = {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    data["notes"] = notes(result.notes)
    return data


def backtest(result: Backtest) -> dict[str, Any]:
    """Give the score of earlier forecasts."""
    data = {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    data["forecasts"] = data.pop("table")
    data["notes"] = notes(result.notes)
    return data


def review(result: Review, year: YearOnYear, costs: CostsByCause) -> dict[str, Any]:
    """Give comebacks by group, this year beside last, and what comebacks cost by cause."""
    data = {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    data["groups"] = data.pop("table")
    data["year"] = dataclasses.asdict(year)
    data["costs"] = {
        **{field.name: getattr(costs, field.name) for field in dataclasses.fields(costs)},
        "notes": notes(costs.notes),
    }
    data["costs"]["causes"] = data["costs"].pop("table")
    data["notes"] = notes(result.notes)
    return data


def corrected(found: Corrected) -> dict[str, Any]:
    """Give a share back corrected to the share that failed."""
    return {**dataclasses.asdict(found), "notes": notes(found.notes)}


def watch(result: Signals, left_out: MissingPractices) -> dict[str, Any]:
    """Give signals, every chart as it stands, and practices left out."""
    aside = ("tracks", "first_day")  # the machine's own
    data = {
        field.name: getattr(result, field.name)
        for field in dataclasses.fields(result)
        if field.name not in aside
    }
    data["signals"] = data.pop("table")
    data["notes"] = notes(result.notes)
    data["missing_practices"] = {
        **{field.name: getattr(left_out, field.name) for field in dataclasses.fields(left_out)},
        "notes": notes(left_out.notes),
    }
    data["missing_practices"]["compared"] = data["missing_practices"].pop("table")
    return data


def recall(result: Recall) -> dict[str, Any]:
    """Give the units to call in."""
    data = {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    data["units"] = data.pop("table")
    data["notes"] = notes(result.notes)
    return data


def _group(row: dict[str, Any], at: list[dict[str, Any]]) -> dict[str, Any]:
    return {**row, "at": at}


def _at(table: pd.DataFrame, group: str) -> list[dict[str, Any]]:
    return [_point(row) for row in _rows(table[table["group"] == group])]


def _point(row: dict[str, Any]) -> dict[str, Any]:
    return {name: row[name] for name in ("day", "share", "low", "high", "at_risk")}


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): item for key, item in row.items()} for row in table.to_dict("records")]


def _test(test: GroupTest | None) -> dict[str, Any] | None:
    return None if test is None else dataclasses.asdict(test)
