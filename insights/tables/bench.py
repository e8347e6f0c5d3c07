"""The bench's lists in words: comebacks that wait, two jobs side by side, limits, the table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from insights.bench.claim_table import FACTS, decision_table
from insights.bench.readings import PROTECTIONS, Limit
from insights.bench.sheets import Instrument, ModelSheet
from insights.wording.bench import FACT_WORDS, allowed_by, field_words, in_words, value_words

NOTHING = "–"


def of_queue(waiting: pd.DataFrame) -> pd.DataFrame:
    """List the comebacks that nobody decided on yet.

    Parameters
    ----------
    waiting
        Of :func:`insights.bench.comebacks.undecided`.
    """
    return pd.DataFrame(
        {
            "Job": waiting["job_id"],
            "Model": waiting["model"].astype(str),
            "Received": waiting["received"].dt.strftime("%Y-%m-%d"),
            "Waiting, days": waiting["waiting_days"].astype(str),
            "Where": waiting["on_bench"].map({True: "on the bench", False: "handed back"}),
            "Judged against": waiting["index_job_id"],
        }
    )


def of_visits(index: Mapping[str, str], now: Mapping[str, str]) -> pd.DataFrame:
    """Put a comeback beside its index job, both as typed; what neither knows is left out.

    Parameters
    ----------
    index, now
        Columns of the history (or other names) to text.
    """
    names = [name for name in dict.fromkeys([*index, *now]) if index.get(name) or now.get(name)]
    return pd.DataFrame(
        {
            "What": [field_words(name) for name in names],
            "Earlier job": [_value(name, index) for name in names],
            "This visit": [_value(name, now) for name in names],
        }
    )


def _value(name: str, known: Mapping[str, str]) -> str:
    return value_words(name, known.get(name, "")) or NOTHING


def of_pair(shown: pd.DataFrame) -> pd.DataFrame:
    """Put two jobs that may be one unit side by side.

    Parameters
    ----------
    shown
        Of :func:`insights.bench.same_unit.side_by_side`.
    """
    told = shown[(shown["earlier"] != "") | (shown["later"] != "")]
    return pd.DataFrame(
        {
            "What": [field_words(name) for name in told["field"]],
            "Earlier job": told["earlier"].replace("", NOTHING),
            "Later job": told["later"].replace("", NOTHING),
            "Alike": told["alike"].map({True: "yes", False: "no"}).fillna(""),
        }
    ).reset_index(drop=True)


def of_decided_pairs(pairs: pd.DataFrame) -> pd.DataFrame:
    """List the pairs that a person decided.

    Parameters
    ----------
    pairs
        Rows of :attr:`insights.history.units.Links.pairs`.
    """
    return pd.DataFrame(
        {
            "Job": pairs["job_id"],
            "Earlier job": pairs["earlier_job_id"],
            "Decided": pairs["probability"].map({1.0: "the same unit", 0.0: "two units"}),
        }
    )


def of_decision_table() -> pd.DataFrame:
    """Show the rows that propose whose bill a comeback is, in the order tried."""
    table = decision_table()
    names = {name: FACT_WORDS[name].capitalize() for name in FACTS}
    words = table[list(FACTS)].apply(lambda cells: cells.map(in_words))
    return pd.DataFrame(
        {
            "": table["row"].astype(str),
            **{names[name]: words[name].replace("any", "") for name in FACTS},
            "Proposed": table["proposal"],
            "Because": table["reason"],
        }
    )


def of_limits(limits: Iterable[Limit]) -> pd.DataFrame:
    """List limits: what for, how far, whether it must be measured, whether it is confirmed."""
    rows = [
        {
            "Reading": in_words(limit.quantity),
            "For": _for_whom(limit),
            "Allowed": allowed_by(limit),
            "Must be measured": "yes" if limit.required else "no",
            "Confirmed by the owner": "yes" if limit.confirmed else "not yet",
            "From": limit.source or NOTHING,
        }
        for limit in limits
    ]
    columns = ["Reading", "For", "Allowed", "Must be measured", "Confirmed by the owner", "From"]
    return pd.DataFrame(rows, columns=columns)


def of_sheets(sheets: Iterable[ModelSheet]) -> pd.DataFrame:
    """List models: protection and checklist."""
    rows = [
        {
            "Model": sheet.model,
            "Protection": PROTECTIONS[sheet.protection],
            "Checklist": "; ".join(
                f"{in_words(practice.name)} ({', '.join(practice.levels)})"
                for practice in sheet.checklist
            )
            or NOTHING,
        }
        for sheet in sheets
    ]
    return pd.DataFrame(rows, columns=["Model", "Protection", "Checklist"])


def of_instruments(instruments: Iterable[Instrument], today: pd.Timestamp) -> pd.DataFrame:
    """List instruments: when calibrated, and whether that is due."""
    rows = [
        {
            "Instrument": instrument.name,
            "Calibrated": str(instrument.calibrated_on or "not known"),
            "Due": _due(instrument, today),
            "In use": "yes" if instrument.in_use else "laid aside",
        }
        for instrument in instruments
    ]
    return pd.DataFrame(rows, columns=["Instrument", "Calibrated", "Due", "In use"])


def _for_whom(limit: Limit) -> str:
    protection = PROTECTIONS.get(limit.protection, "")
    return ", ".join(part for part in (limit.model, protection) if part) or "every unit"


def _due(instrument: Instrument, today: pd.Timestamp) -> str:
    if instrument.calibrated_on is None:
        return "now"
    days = pd.Timedelta(days=instrument.calibration_days)
    due = pd.Timestamp(instrument.calibrated_on) + days
    return f"{due:%Y-%m-%d}" + (" (overdue)" if due < today else "")
