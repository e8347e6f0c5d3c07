"""Whether comebacks got better or worse, and what may be behind it, in plain sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.reviewing.call_back import Corrected
from insights.reviewing.cohorts import YearOnYear
from insights.reviewing.dearest import DEAREST, CostsByCause
from insights.reviewing.rates import BETTER, SURE, UNSURE, WORSE, Review
from insights.wording import (
    HEADLINE_DAY,
    RETURNED_ONLY,
    Finding,
    amount_of,
    counted,
    per_100,
    spoken,
    whole,
)

MOST_NAMED = 5
NO_LEAGUE = (
    "Groups stand in the order of their names or of time. Who gets the harder jobs in ways that "
    "no card records looks worse than they are: look into it before judging a person or a part."
)
LIKE_WORK = (
    "Expected is what the other groups' comebacks come to on the same mix of models, faults, ages "
    "and conditions, over the same days."
)
CALL = (
    "Every share on these pages is of units that came back to us. Some fail and are thrown away or "
    "taken elsewhere. Thirty owners called tell how many."
)
EARLIER = {
    "never": "never repaired before",
    "here": "repaired here before",
    "elsewhere": "repaired elsewhere before",
    "unknown": "not known",
}
EARLIER_WORK = {
    "sound": "earlier work found sound",
    "parts_missing": "parts missing after earlier work",
    "substandard": "earlier work substandard",
    "unknown": "state of earlier work not known",
}
_CALLED = {"earlier_repair": EARLIER, "earlier_work": EARLIER_WORK}
WORK_ON_ARRIVAL = (
    "What was found of earlier work is what the bench wrote when the unit came in; the repair may "
    "have put it right."
)


def headline_day(review: Review) -> int:
    """Choose the day to speak of: 180 where it is there, else the latest."""
    return HEADLINE_DAY if HEADLINE_DAY in review.days else max(review.days)


def name_of(by: str) -> str:
    """Name what a review is by, as one says it."""
    if by.startswith("supplier_of_"):
        return f"supplier of the {by.removeprefix('supplier_of_').replace('_', ' ')}"
    return spoken(by)


def group_of(by: str, group: str, *, alone: bool = True) -> str:
    """Name a group, with what it is a group of unless that has been said."""
    if by in _CALLED:
        return _CALLED[by].get(group, group)
    return group if alone else f"{name_of(by)} {group}"


def of_review(review: Review, day: int | None = None, by: str | None = None) -> Finding:
    """Say which groups are probably better or worse than the others on such work.

    Parameters
    ----------
    review
        The comparison.
    day
        The day spoken of; :func:`headline_day` by default.
    by
        Only the groups of this name; all by default.
    """
    day = headline_day(review) if day is None else day
    rows = review.table[review.table["day"] == day]
    rows = rows if by is None else rows[rows["by"] == by]
    parts = [
        f"{verdict.capitalize()}: {_named(rows[rows['verdict'] == verdict], by)}."
        for verdict in (WORSE, BETTER)
        if (rows["verdict"] == verdict).any()
    ]
    unsure = int((rows["verdict"] == UNSURE).sum())
    if unsure:
        others = "other " if parts else ""
        groups = (
            "group we can't tell whether it differs"
            if unsure == 1
            else ("groups we can't tell whether they differ")
        )
        parts.append(f"Of the {others}{whole(unsure)} {groups} by more than chance.")
    sentence = f"Comebacks within {day} days, like for like. {' '.join(parts)}"
    over = review.spread[(review.spread["day"] == day) & review.spread["overdispersed"]]
    over = over if by is None else over[over["by"] == by]
    texts = [
        f"By {name_of(str(row.by))} the groups differ more than chance lets them, all told "
        f"({row.phi:.1f} times the variance of chance); the limits allow for it."
        for row in over.itertuples(index=False)
    ]
    caveats = (LIKE_WORK, NO_LEAGUE, *texts, *(note.text for note in review.notes), RETURNED_ONLY)
    return Finding(sentence, caveats)


def of_year(year: YearOnYear) -> Finding:
    """Say whether this year is going better than last."""
    jobs, back = year.jobs[0], year.returns[0]
    begun = (
        f"Of the {whole(jobs)} units handed back in the last 12 months {whole(back)} "
        f"{'has' if back == 1 else 'have'} come back so far"
    )
    if np.isnan(year.ratio):
        return Finding(f"{begun}; there is no year before to set it against.")
    usual = year.expected[0] * year.returns[1] / year.expected[1]
    if year.chance_worse >= SURE:
        verdict = "we have probably got worse"
    elif year.chance_worse <= 1 - SURE:
        verdict = "we have probably got better"
    else:
        verdict = f"we {UNSURE} whether we are getting better"
    return Finding(
        f"{begun}; going by the 12 months before it would have been {usual:.1f}. That is "
        f"{year.ratio:.2f} for one (likely {year.low:.2f} to {year.high:.2f}): {verdict}."
    )


def of_costs(costs: CostsByCause) -> Finding:
    """Say what comebacks cost and what halving the dearest causes would save."""
    notes = tuple(note.text for note in costs.notes)
    if not costs.billed:
        return Finding(
            "No comeback has a cost on record. Enter what each cost, postage included, to see "
            "which causes are dearest.",
            notes,
        )
    first = costs.table.iloc[0]
    count = min(DEAREST, int((costs.table["cost"] > 0).sum()))
    which = "one dearest cause" if count == 1 else f"{count} dearest causes"
    sentence = (
        f"{counted(costs.billed, 'comeback')} cost {amount_of(costs.cost, costs.currency)} in "
        f"{costs.years:.1f} years. Halving the {which} would save "
        f"{amount_of(costs.dearest_save_a_year, costs.currency)} a year, {first['cause']} alone "
        f"{first['halved_saves_a_year']:,.0f} (likely {first['saves_low']:,.0f} to "
        f"{first['saves_high']:,.0f}). {_nothing_wrong(costs)}"
    )
    return Finding(sentence, notes)


def of_earlier(review: Review, day: int | None = None) -> Finding:
    """Say how units that had been repaired before come back, and by what was found of that work."""
    day = headline_day(review) if day is None else day
    rows = review.table[review.table["day"] == day]
    repair, work = (_like_for_like(rows, by) for by in ("earlier_repair", "earlier_work"))
    if not repair and not work:
        return Finding("Whether units had been repaired before is not on record.")
    said = [f"Units by earlier repair, comebacks within {day} days, like for like. {repair}"]
    found = f"By what the bench found of that work. {work}"
    return Finding(
        " ".join([*(said if repair else []), *([found] if work else [])]),
        (WORK_ON_ARRIVAL,) if work else (),
    )


def _like_for_like(rows: pd.DataFrame, by: str) -> str:
    parts = [
        f"{group_of(by, row.group)}: {_against(row)}, {row.verdict}"
        for row in rows[rows["by"] == by].itertuples(index=False)
    ]
    return f"{'; '.join(parts).capitalize()}." if parts else ""


def of_corrected(found: Corrected, day: int) -> Finding:
    """Say how many units failed, not only how many were brought back."""
    working = found.would_return + found.would_not
    sentence = (
        f"Of 100 units {per_100(found.back)} come back within {day} days. Of {working} owners "
        f"asked whose unit works, {found.would_return} would bring a failed one back to us "
        f"({100 * found.return_low:.0f} to {100 * found.return_high:.0f} of 100): so about "
        f"{per_100(found.failed)} of 100 fail, likely {per_100(found.failed_low)} to "
        f"{per_100(found.failed_high)}."
    )
    if found.failed_not_brought:
        sentence += (
            f" {found.failed_not_brought} of {found.reached} owners reached had a failed unit that "
            f"we never saw: by the time of the calls some {per_100(found.found)} of 100 had "
            f"failed, likely {per_100(found.found_low)} to {per_100(found.found_high)}."
        )
    caveats = (
        "If owners bring units back more readily after one way of working than another, or from "
        "one street than another, comparisons between these are off by as much.",
        *(note.text for note in found.notes),
    )
    return Finding(sentence, caveats)


def _named(rows: pd.DataFrame, by: str | None) -> str:
    listed = [
        f"{group_of(str(row.by), str(row.group), alone=bool(by))} ({_against(row)})"
        for row in rows.head(MOST_NAMED).itertuples(index=False)
    ]
    more = len(rows) - len(listed)
    return ", ".join(listed) + (f" and {more} more" if more else "")


def _against(row: object) -> str:
    back, expected = (getattr(row, name) for name in ("returns", "expected"))
    if pd.isna(expected):
        return f"{back} back, nothing to compare with"
    return f"{back} back, {expected:.1f} expected"


def _nothing_wrong(costs: CostsByCause) -> str:
    parts = [
        f"{counted(row.arrivals, 'arrival')} with {spoken(row.what)} cost "
        f"{amount_of(row.cost, costs.currency)}"
        for row in costs.apart.itertuples(index=False)
    ]
    return f"Apart from these, {' and '.join(parts)}."
