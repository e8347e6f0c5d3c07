"""The tables of a review, in words and marks for people."""

from __future__ import annotations

import pandas as pd

from insights.reviewing.cohorts import Cohorts
from insights.reviewing.dearest import CostsByCause
from insights.reviewing.rates import UNSURE, Review
from insights.wording import in_currency, per_100, spoken
from insights.wording.review import group_of, name_of

NOTHING = "nothing to compare with"
YOUNG = "young"
MOST_LISTED = 24


def by_group(review: Review, day: int) -> tuple[tuple[str, pd.DataFrame], ...]:
    """List each name's groups, with a heading; of long lists the latest months, or what stands out.

    Parameters
    ----------
    review
        The comparison.
    day
        The day spoken of.
    """
    tables = []
    for by in review.by:
        shown = of_groups(review, by, day)
        heading = f"By {name_of(by)}, within {day} days"
        if len(shown) > MOST_LISTED and by == "month":
            shown, heading = shown.head(MOST_LISTED), f"{heading}, the latest {MOST_LISTED}"
        elif len(shown) > MOST_LISTED:
            told = shown[shown["Verdict"] != UNSURE]
            heading += f": {len(told)} of {len(shown)} groups stand out (all of them with --json)"
            shown = told
        if len(shown):
            tables.append((heading, shown))
    return tuple(tables)


def of_groups(review: Review, by: str, day: int) -> pd.DataFrame:
    """List the groups of one name on one day, in the order of names, or the latest month first."""
    rows = review.table[(review.table["by"] == by) & (review.table["day"] == day)]
    rows = rows.iloc[::-1] if by == "month" else rows
    return pd.DataFrame(
        [
            {
                _capital(name_of(by)): group_of(by, row.group),
                "Jobs": f"{row.jobs:,}",
                "Back so far": f"{row.returns:,}",
                "Expected so far": "" if pd.isna(row.expected) else f"{row.expected:.1f}",
                "For each expected (likely)": _ratio(row),
                "In the end, of 100": ""
                if pd.isna(row.completed_share)
                else per_100(row.completed_share),
                "Verdict": row.verdict,
                "Remark": YOUNG if row.immature else "",
            }
            for row in rows.itertuples(index=False)
        ]
    )


def of_apart(review: Review, by: str) -> pd.DataFrame:
    """List arrivals on which nothing was found wrong, or the user was."""
    rows = review.apart[review.apart["by"] == by]
    return pd.DataFrame(
        {
            _capital(name_of(by)): [group_of(by, group) for group in rows["group"]],
            "Jobs": rows["jobs"].map("{:,}".format),
            "No fault found": rows["no_fault_found"].map("{:,}".format),
            "Misuse": rows["misuse"].map("{:,}".format),
        }
    )


def of_costs(costs: CostsByCause) -> pd.DataFrame:
    """List what comebacks cost by cause, the dearest first; nothing where no cost is known."""
    if not costs.billed:
        return pd.DataFrame()
    return pd.DataFrame(
        [
            {
                "Root cause": row.cause,
                "Comebacks": f"{row.comebacks:,}",
                in_currency("Cost", costs.currency): f"{row.cost:,.0f}",
                in_currency("Each", costs.currency): ""
                if pd.isna(row.mean_cost)
                else f"{row.mean_cost:,.2f}",
                "Of the whole": "" if pd.isna(row.cost_share) else f"{row.cost_share:.0%}",
                in_currency("Halved, it saves a year (likely)", costs.currency): (
                    f"{row.halved_saves_a_year:,.0f} "
                    f"({row.saves_low:,.0f} to {row.saves_high:,.0f})"
                ),
            }
            for row in costs.table.itertuples(index=False)
        ]
    )


def of_costs_apart(costs: CostsByCause) -> pd.DataFrame:
    """List what arrivals cost on which nothing failed."""
    return pd.DataFrame(
        [
            {
                "Arrival": _capital(spoken(row.what)),
                "How many": f"{row.arrivals:,}",
                in_currency("Cost", costs.currency): f"{row.cost:,.0f}",
            }
            for row in costs.apart.itertuples(index=False)
        ]
    )


def of_months(cohorts: Cohorts) -> pd.DataFrame:
    """Lay months of hand-back out by age, the latest first: back of 100, blank where too young."""
    wide = cohorts.table.pivot_table(index="month", columns="day", values="share", dropna=False)
    wide = wide.reindex(cohorts.months["month"])
    shown = wide.map(lambda share: "" if pd.isna(share) else per_100(share))
    shown.columns = [f"Day {day:.0f}" for day in wide.columns]
    shown.insert(0, "Jobs", cohorts.months["jobs"].map("{:,}".format).to_numpy())
    return shown.iloc[::-1].rename_axis("Month").reset_index()


def _ratio(row: object) -> str:
    ratio, low, high = (getattr(row, name) for name in ("ratio", "low", "high"))
    return NOTHING if pd.isna(ratio) else f"{ratio:.2f} ({low:.2f} to {high:.2f})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
