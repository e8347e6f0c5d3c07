"""A quote kept for later, as it was made."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from insights.errors import RequestError, SourceError
from insights.followup import as_day
from insights.money.assumptions import Assumptions
from insights.money.quote import Quote

FORMAT = "staysfixed quote 1"


@dataclass(frozen=True)
class SavedQuote:
    """A quote as it was made.

    Parameters
    ----------
    made_on, data_date
        The day it was made, and the day up to which the record was complete.
    table
        :attr:`insights.money.quote.Quote.table`.
    assumptions
        What the owner assumed.
    mean_claim_cost
        Mean cost of a claim then; NaN where none was known.
    mix, jobs, units, claims
        The jobs behind it.
    method
        The statistics, named.
    currency
        Of every amount; empty: not stated.
    """

    made_on: pd.Timestamp
    data_date: pd.Timestamp
    table: pd.DataFrame
    assumptions: Assumptions
    mean_claim_cost: float
    mix: str
    jobs: int
    units: int
    claims: int
    method: str
    currency: str = ""


def save_quote(quote: Quote, path: str | Path, made_on: str | pd.Timestamp) -> SavedQuote:
    """Write a quote to a JSON file, with its date, assumptions and data date.

    Parameters
    ----------
    quote
        The quote.
    path
        Where to.
    made_on
        The day it is made.

    Raises
    ------
    RequestError
        The day is no date, or the file can't be written.
    """
    saved = SavedQuote(
        made_on=as_day(made_on, "day of the quote"),
        **{
            field.name: getattr(quote, field.name)
            for field in dataclasses.fields(SavedQuote)
            if field.name != "made_on"
        },
    )
    text = json.dumps({"format": FORMAT, **_plain(saved)}, allow_nan=False, indent=1)
    try:
        Path(path).write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise RequestError(f"The quote can't be written to {path}: {error.strerror}.") from error
    return saved


def read_quote(path: str | Path) -> SavedQuote:
    """Read a quote written by :func:`save_quote`.

    Raises
    ------
    SourceError
        There is no such file, or it is not a saved quote.
    """
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise SourceError(f"The quote {path} can't be read: {error.strerror}.") from error
    except ValueError as error:
        raise SourceError(f"{path} is not a saved quote: it is not JSON.") from error
    if not isinstance(data, dict) or data.pop("format", None) != FORMAT:
        raise SourceError(f"{path} is not a saved quote. Give a file that was saved as one.")
    missing = [
        field.name
        for field in dataclasses.fields(SavedQuote)
        if field.name not in data and field.default is dataclasses.MISSING
    ]
    if missing:
        raise SourceError(f"The quote {path} lacks {', '.join(missing)}. Save it again.")
    table = pd.DataFrame(data["table"])
    numbers = [name for name in table if name not in ("supported", "why_not")]
    table[numbers] = table[numbers].astype(float)
    cost = data["assumptions"].get("claim_cost")
    assumed = data["assumptions"] | {"claim_cost": tuple(cost) if isinstance(cost, list) else cost}
    mean = data["mean_claim_cost"]
    return SavedQuote(
        **data
        | {
            "made_on": as_day(data["made_on"], "day of the quote"),
            "data_date": as_day(data["data_date"], "data date"),
            "table": table.astype({"term_days": np.int64, "at_risk": np.int64}),
            "assumptions": Assumptions(**assumed),
            "mean_claim_cost": float("nan") if mean is None else float(mean),
        }
    )


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = dataclasses.fields(value)
        return {field.name: _plain(getattr(value, field.name)) for field in fields}
    if isinstance(value, pd.DataFrame):
        return [
            {str(key): _plain(item) for key, item in row.items()}
            for row in value.to_dict("records")
        ]
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
