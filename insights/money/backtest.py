"""How earlier quotes and reserves would have done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.followup import Followup
from insights.money.claims import check_terms
from insights.money.origin import Came, Origin, stand_at, what_came
from insights.money.scoring import PIT_BINS, hits_chance, observed_over_expected, pit_heights
from insights.notes import Note
from insights.survival.stating import AT_DAYS

DRAWS = 500
AHEAD_DAYS = 91
WARM_UP_DAYS = 365
TOO_CONFIDENT = 0.05
RESERVE = "reserve"
TABLE = (
    "what",
    "origin",
    "jobs",
    "expected",
    "low",
    "high",
    "observed",
    "inside",
    "money_expected",
    "money_p90",
    "money_observed",
    "pit_low",
    "pit_high",
    "log_score",
    "last_year_log_score",
)
SCORES = (
    "what",
    "forecasts",
    "inside",
    "coverage",
    "chance_of_so_few",
    "too_confident",
    "expected",
    "observed",
    "ratio",
    "ratio_low",
    "ratio_high",
    "log_score",
    "last_year_log_score",
    "money_expected",
    "money_observed",
    "money_enough",
)
MONTHS = (
    "origin",
    "month",
    "claims_expected",
    "claims_observed",
    "money_expected",
    "money_observed",
)
METHOD = (
    "Rolling origin on the record as its own dates show it was known then. Coverage; observed over "
    "expected with exact Poisson bounds (Garwood); non-randomised probability integral transform "
    "(Czado, Gneiting and Held 2009); logarithmic score against last year's rate."
)


@dataclass(frozen=True, eq=False)
class Backtest:
    """Forecasts made on past days, and what came.

    Parameters
    ----------
    table
        One row a forecast: ``what`` (``reserve``, or ``quote 90 days``, ...), ``origin`` (the past
        data date), ``jobs``, ``expected``, ``low``, ``high``, ``observed`` (claims), ``inside``,
        ``money_expected``, ``money_p90``, ``money_observed`` (reserves only), ``pit_low``,
        ``pit_high``, ``log_score``, ``last_year_log_score`` (lower is better).
    scores
        One row a ``what``: ``forecasts``, ``inside``, ``coverage``, ``chance_of_so_few`` (hits or
        fewer, were the stated chance true), ``too_confident``, ``expected``, ``observed``,
        ``ratio``, ``ratio_low``, ``ratio_high`` (observed over expected), ``log_score``,
        ``last_year_log_score`` (means), ``money_expected``, ``money_observed``,
        ``money_enough`` (share of reserves whose 90th percentile sufficed).
    pit
        One row a ``what`` and bin: ``from``, ``to``, ``share`` (flat where well calibrated).
    months
        Reserves month by month: ``origin``, ``month``, ``claims_expected``, ``claims_observed``,
        ``money_expected``, ``money_observed``. The money of comebacks that had arrived unsettled
        falls in the first month.
    refused
        Forecasts not made: ``what``, ``origin``, ``why_not``.
    level, ahead_days
        Stated chance of an interval, and days between origins, which a reserve looks ahead.
    jobs, units, claims
        Behind it.
    data_date
        The day up to which what came is known.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    scores: pd.DataFrame
    pit: pd.DataFrame
    months: pd.DataFrame
    refused: pd.DataFrame
    level: float
    ahead_days: int
    jobs: int
    units: int
    claims: int
    data_date: pd.Timestamp
    method: str
    notes: tuple[Note, ...]


def backtest(
    followup: Followup,
    *,
    terms: Sequence[float] = AT_DAYS,
    ahead_days: int = AHEAD_DAYS,
    claim_cost: float | Sequence[float] | None = None,
    level: float = 0.90,
    size: int = DRAWS,
    seed: int = 0,
) -> Backtest:
    """Stand at past data dates, quote and reserve with what was known, compare with what came.

    Parameters
    ----------
    followup
        The hand-backs as known now; its rules are those of every forecast.
    terms
        Terms to quote, in days.
    ahead_days
        Days between origins. A reserve is for claims that arrive within them; a quote is for the
        jobs handed back within them.
    claim_cost
        Cost of a claim; None: as recorded by each origin.
    level
        Chance stated with every interval.
    size, seed
        Number of draws at each origin, and of which chance.

    Returns
    -------
    Backtest

    Raises
    ------
    RequestError
        A term, level or number of days that can't be used.
    EvidenceError
        The record is too short to stand anywhere in it.

    Notes
    -----
    Origins go back from the data date in steps of ``ahead_days``, to a year after the first
    hand-back. A quote is scored once every job of its batch has run out its term and grace; those
    longer than the step overlap in time, which makes their coverage less sure than its count
    says. Last year's rate: claims arrived in the year before the origin (reserve), or returns
    over jobs handed back in that year (quote), taken as known. Which jobs are one unit is taken
    from today's links.
    """
    days = check_terms(terms)
    _check(level, ahead_days)
    came = what_came(followup)
    origins = _origins(followup, came, int(ahead_days))
    rows: list[dict] = []
    months: list[pd.DataFrame] = []
    refused: list[dict] = []
    for origin in origins:
        then, rows_then = stand_at(followup, origin)
        ask = Origin(then, rows_then, came, int(ahead_days), level, size, seed)
        _try(RESERVE, origin, partial(ask.reserve, claim_cost, months), rows, refused)
        for day in days:
            if ask.has_run_out(day, followup.data_date):
                name = f"quote {day:g} days"
                _try(name, origin, partial(ask.quote, day), rows, refused)
    table = pd.DataFrame(rows, columns=list(TABLE))
    return Backtest(
        table=table,
        scores=_scores(table, level),
        pit=_pit(table),
        months=pd.concat(months, ignore_index=True) if months else pd.DataFrame(columns=MONTHS),
        refused=pd.DataFrame(refused, columns=["what", "origin", "why_not"]),
        level=level,
        ahead_days=int(ahead_days),
        jobs=followup.job_count,
        units=followup.unit_count,
        claims=followup.return_count,
        data_date=followup.data_date,
        method=METHOD,
        notes=(*followup.notes, *_notes(table, refused)),
    )


def _check(level: float, ahead_days: int) -> None:
    if not 0 < level < 1:
        raise RequestError(f"The level is {level}. Give a chance between 0 and 1, like 0.9.")
    if not (ahead_days >= 1 and ahead_days == int(ahead_days)):
        raise RequestError(f"ahead_days is {ahead_days}. Give a whole number of days from 1 on.")


def _origins(followup: Followup, came: Came, ahead: int) -> list[pd.Timestamp]:
    first = pd.Timestamp(came.handed_back.min()) + pd.Timedelta(days=WARM_UP_DAYS)
    count = (followup.data_date - first).days // ahead
    if count < 1:
        raise EvidenceError(
            f"The record is too short to look back: a forecast needs {WARM_UP_DAYS} days before "
            f"it and {ahead} after it. Wait, or take shorter steps."
        )
    return [followup.data_date - pd.Timedelta(days=ahead * k) for k in range(count, 0, -1)]


def _try(
    what: str,
    origin: pd.Timestamp,
    forecast: Callable[[], dict | None],
    rows: list[dict],
    refused: list[dict],
) -> None:
    try:
        row = forecast()
    except EvidenceError as error:
        refused.append({"what": what, "origin": origin, "why_not": str(error)})
        return
    if row is not None:
        rows.append({"what": what, "origin": origin, **row})


def _scores(table: pd.DataFrame, level: float) -> pd.DataFrame:
    rows = [_score(str(what), part, level) for what, part in table.groupby("what", sort=False)]
    return pd.DataFrame(rows, columns=list(SCORES))


def _score(what: str, part: pd.DataFrame, level: float) -> dict:
    hits, forecasts = int(part["inside"].sum()), len(part)
    so_few = hits_chance(hits, forecasts, level)
    expected, observed = float(part["expected"].sum()), int(part["observed"].sum())
    ratio = observed_over_expected(observed, expected)
    priced = part[part["money_p90"].notna()]
    enough = (priced["money_observed"] <= priced["money_p90"]).mean() if len(priced) else np.nan
    return {
        "what": what,
        "forecasts": forecasts,
        "inside": hits,
        "coverage": hits / forecasts,
        "chance_of_so_few": so_few,
        "too_confident": so_few < TOO_CONFIDENT,
        "expected": expected,
        "observed": observed,
        "ratio": ratio.value,
        "ratio_low": ratio.low,
        "ratio_high": ratio.high,
        "log_score": float(part["log_score"].mean()),
        "last_year_log_score": float(part["last_year_log_score"].mean()),
        "money_expected": float(priced["money_expected"].sum(min_count=1)),
        "money_observed": float(priced["money_observed"].sum(min_count=1)),
        "money_enough": float(enough),
    }


def _pit(table: pd.DataFrame) -> pd.DataFrame:
    edges = np.linspace(0, 1, PIT_BINS + 1)
    parts = [
        pd.DataFrame(
            {
                "what": what,
                "from": edges[:-1],
                "to": edges[1:],
                "share": pit_heights(part["pit_low"].to_numpy(), part["pit_high"].to_numpy()),
            }
        )
        for what, part in table.groupby("what", sort=False)
    ]
    if not parts:
        return pd.DataFrame(columns=["what", "from", "to", "share"])
    return pd.concat(parts, ignore_index=True)


def _notes(table: pd.DataFrame, refused: list[dict]) -> list[Note]:
    notes = [
        Note(
            "as_known",
            "Past days are seen through today's record as far as its dates tell: cells corrected "
            "or entered late since count as known then.",
        )
    ]
    if refused:
        notes.append(
            Note("refused_forecasts", f"{len(refused)} forecasts were refused at the time.")
        )
    if table.empty:
        notes.append(Note("no_forecasts", "Not one forecast could be made and checked."))
    return notes
