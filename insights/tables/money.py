"""The tables of the page about warranties, in words and marks for people."""

from __future__ import annotations

from typing import Any

import pandas as pd

from insights.money.backtest import Backtest
from insights.money.loadings import Loadings
from insights.money.quote import Quote
from insights.money.reserve import Reserve
from insights.wording import in_currency, spoken, unbroken, whole

NOT_QUOTED = "not quoted"
NOT_KNOWN = "not known"


def of_quote(quote: Quote) -> pd.DataFrame:
    """List what each term costs."""
    return pd.DataFrame(
        [
            {
                "Term": unbroken(f"{row.term_days:g} days"),
                "Claims of 100 jobs": _range(row.claims_per_100, row.low, row.high, 1),
                in_currency("Cost a job", quote.currency): _range(
                    row.cost_per_job, row.cost_low, row.cost_high, 2, _why_blank(row)
                ),
                in_currency("Charge to be safe", quote.currency): _money(
                    row.loading, _why_blank(row)
                ),
                "Remark": row.why_not or _past(row),
            }
            for row in quote.table.itertuples(index=False)
        ]
    )


def of_offers(quote: Quote) -> pd.DataFrame:
    """List what each offer asked about would leave."""
    return pd.DataFrame(
        [
            {
                "Term": f"{row.term_days:g} days",
                in_currency("Price", quote.currency): _money(row.price),
                "Taken by, of 100": f"{100 * row.uptake:.0f}",
                in_currency("Left of 100 customers asked", quote.currency): _range(
                    row.margin_per_100, row.margin_low, row.margin_high, 0
                ),
            }
            for row in quote.offers.itertuples(index=False)
        ]
    )


def of_apart(apart: Loadings, currency: str) -> pd.DataFrame:
    """List what each kind of job should cost more or less."""
    return pd.DataFrame(
        [
            {
                spoken(apart.by).capitalize(): str(row.level),
                "Jobs": whole(row.jobs),
                "Claims": whole(row.claims),
                "Claims of 100 jobs": NOT_KNOWN
                if pd.isna(row.claims_per_100)
                else f"{row.claims_per_100:.1f}",
                "Times those of all jobs": NOT_KNOWN
                if pd.isna(row.factor)
                else f"{row.factor:.2f} ({row.low:.2f} to {row.high:.2f})",
                in_currency("Change its price by", currency): NOT_KNOWN
                if pd.isna(row.change_per_job)
                else f"{row.change_per_job:+,.2f}",
                "More than chance": "yes" if row.clear else "can't tell",
                "Remark": row.why_not,
            }
            for row in apart.table.itertuples(index=False)
        ]
    )


def of_parts(reserve: Reserve) -> pd.DataFrame:
    """List what the money to hold is made of."""
    return pd.DataFrame(
        [
            {
                "Part": row.part,
                "Jobs": whole(row.jobs),
                "Claims": f"{row.claims:.1f}",
                in_currency("Money", reserve.currency): _money(row.expected),
            }
            for row in reserve.parts.itertuples(index=False)
        ]
    )


def of_open(reserve: Reserve) -> pd.DataFrame:
    """List the hand-backs still open to a claim by term and age."""
    return pd.DataFrame(
        [
            {
                "Term": f"{row.term_days:g} days",
                "Age, days": f"{row.age_from_days:g} to {row.age_to_days:g}",
                "Jobs": whole(row.jobs),
                "Claims": f"{row.claims:.1f}",
                in_currency("Money", reserve.currency): _money(row.expected),
            }
            for row in reserve.open.itertuples(index=False)
        ]
    )


def of_forecasts(score: Backtest) -> pd.DataFrame:
    """List each forecast made on a past day, and what came."""
    return pd.DataFrame(
        [
            {
                "Forecast": row.what,
                "As on": f"{row.origin:%Y-%m-%d}",
                "Jobs": whole(row.jobs),
                "Claims expected": f"{row.expected:.1f} ({row.low:.0f} to {row.high:.0f})",
                "Claims that came": whole(row.observed),
                "Inside": "yes" if row.inside else "no",
            }
            for row in score.table.itertuples(index=False)
        ]
    )


def of_months(reserve: Reserve) -> pd.DataFrame:
    """List what falls due in each month."""
    return pd.DataFrame(
        [
            {
                "Month": str(row.month),
                "Claims": f"{row.claims:.1f}",
                in_currency("Money", reserve.currency): _money(row.expected),
            }
            for row in reserve.months.itertuples(index=False)
        ]
    )


def of_scores(score: Backtest) -> pd.DataFrame:
    """List how earlier forecasts would have done."""
    return pd.DataFrame(
        [
            {
                "Forecast": row.what,
                "Inside its range": f"{row.inside} of {row.forecasts}",
                "Claims expected": whole(row.expected),
                "Claims that came": whole(row.observed),
                "Came for each expected": NOT_KNOWN
                if pd.isna(row.ratio)
                else f"{row.ratio:.2f} ({row.ratio_low:.2f} to {row.ratio_high:.2f})",
                "Against last year's rate": _better(row),
                "Verdict": "too sure of itself" if row.too_confident else "as sure as it says",
            }
            for row in score.scores.itertuples(index=False)
        ]
    )


def _why_blank(row: Any) -> str:
    """Say why a term has no amount: it is not quoted, or what a claim costs is not known."""
    return NOT_KNOWN if row.supported else NOT_QUOTED


def _range(middle: float, low: float, high: float, digits: int, blank: str = NOT_QUOTED) -> str:
    if pd.isna(middle):
        return blank
    return unbroken(f"{middle:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})")


def _money(amount: float, blank: str = NOT_KNOWN) -> str:
    return blank if pd.isna(amount) else f"{amount:,.2f}"


def _past(row: object) -> str:
    low, high = (getattr(row, name) for name in ("models_low", "models_high"))
    if pd.isna(low):
        return ""
    return f"past what was seen: curves that fit say {low:.1f} to {high:.1f}"


def _better(row: object) -> str:
    ours, last_year = (getattr(row, name) for name in ("log_score", "last_year_log_score"))
    return "better" if ours < last_year else "no better"
