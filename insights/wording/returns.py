"""How many units come back, by when and why, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from insights.notes import Note
from insights.standing import Standing
from insights.survival.causes import CauseCurves
from insights.survival.curves import Curves, GroupTest
from insights.survival.recurrent import RepeatReturns
from insights.wording.plain import Finding, counted, day_of, per_100, spoken, whole

FEW_RETURNS = 10

MOST_NAMED = 5

HEADLINE_DAY = 180

RARE_BY_CHANCE = 0.05

PLAIN_COMPARISON = (
    "This is the plain record: jobs were not dealt out by chance, so the groups may differ in age, "
    "condition or model as well. It does not show that one way of working is better."
)

RETURNED_ONLY = (
    "Counted is what came back to us. A unit that failed and was thrown away or taken elsewhere "
    "without our hearing of it reads as still working."
)

YOUNG_MONTHS = (
    "A young month looks good because its comebacks are still to come. Seen is what has come back "
    "of what will, by day 180."
)


def chance(test: GroupTest) -> str:
    """Say whether a difference could be chance."""
    p = "p below 0.001" if test.p < 0.001 else f"p = {test.p:.3f}"
    if test.p < RARE_BY_CHANCE:
        return f"Chance alone would rarely make such a difference ({p}, {test.name})."
    return f"Such a difference could be chance ({p}, {test.name})."


def of_standing(standing: Standing) -> Finding:
    """Say where the workshop stands."""
    sentence = (
        f"Up to {day_of(standing.data_date)} we followed {counted(standing.jobs, 'hand-back')} of "
        f"{counted(standing.units, 'unit')}; {whole(standing.returns)} came back and "
        f"{'counts as a comeback' if standing.returns == 1 else 'count as comebacks'}. "
        f"{counted(standing.open_exposure, 'unit is', 'units are')} still inside "
        f"{'its' if standing.open_exposure == 1 else 'their'} term and "
        f"{counted(standing.on_bench, 'is', 'are')} on the bench."
    )
    caveats = [RETURNED_ONLY]
    if standing.uncounted_returns:
        caveats.insert(
            0,
            f"{counted(standing.uncounted_returns, 'more arrival')} closed a clock without "
            "counting under the rule in force (no fault found, misuse, or not covered).",
        )
    return Finding(sentence, (*caveats, *_texts(standing.notes)))


def of_curves(curves: Curves) -> Finding:
    """Say what share comes back, by when, in which group."""
    returns = int(curves.groups["returns"].sum())
    jobs = int(curves.groups["jobs"].sum())
    known = _headline(curves.at)
    if known.empty:
        sentence = (
            f"{counted(jobs, 'job')} with {counted(returns, 'comeback')}: too few are followed to "
            "any of the days asked for. Ask for an earlier day."
        )
        return Finding(sentence, _texts(curves.notes))
    day = int(known["day"].iloc[0])
    basis = f"{counted(returns, 'comeback')} on {counted(jobs, 'job')} in all"
    if len(curves.groups) == 1:
        row = known.iloc[0]
        sentence = f"Within {day} days {_of_100(row)} repaired units come back ({basis})."
        caveats = []
    else:
        by = " and ".join(map(spoken, curves.by))
        sentence = f"Within {day} days, of 100 units come back, by {by}: {_each(known)} ({basis})."
        if curves.test is not None:
            sentence += f" {chance(curves.test)}"
        caveats = [PLAIN_COMPARISON]
    if returns < FEW_RETURNS:
        caveats.insert(0, "Fewer than 10 comebacks: too early to build on.")
    return Finding(sentence, (*caveats, *_texts(curves.notes), RETURNED_ONLY))


def of_causes(causes: CauseCurves) -> Finding:
    """Say which root causes bring units back."""
    known = _headline(causes.at)
    if causes.counts.empty and not _headline(causes.total.at).empty:
        jobs = counted(int(causes.groups["jobs"].sum()), "job")
        return Finding(
            f"No unit came back on {jobs}, so there is no root cause to speak of.",
            (*_texts(causes.notes), RETURNED_ONLY),
        )
    if known.empty:
        return Finding(
            "Too few jobs are followed to any of the days asked for. Ask for an earlier day.",
            _texts(causes.notes),
        )
    day = int(known["day"].iloc[0])
    groups = list(dict.fromkeys(known["group"]))
    parts = []
    for group in groups:
        rows = known[known["group"] == group].sort_values("share", ascending=False, kind="stable")
        total = _total(causes, group, day)
        # A rest of one cause is named like the others.
        named = MOST_NAMED if len(rows) > MOST_NAMED + 1 else MOST_NAMED + 1
        listed = ", ".join(
            f"{per_100(row.share)} for {row.cause}" for row in rows.head(named).itertuples()
        )
        rest = rows["share"].iloc[named:].sum()
        tail = f", {per_100(rest)} for the rest" if len(rows) > named else ""
        whose = "" if len(groups) == 1 else f"{group}: "
        parts.append(f"{whose}{listed}{tail}; {per_100(total)} in all")
    sentence = f"Of 100 repaired units, within {day} days come back: {'. '.join(parts)}."
    caveats = [] if len(groups) == 1 else [PLAIN_COMPARISON]
    return Finding(sentence, (*caveats, *_texts(causes.notes), RETURNED_ONLY))


def of_repeats(repeats: RepeatReturns) -> Finding:
    """Say how many comebacks a unit makes, repeats included."""
    known = repeats.at.dropna(subset=["mean_returns"])
    if known.empty:
        return Finding("Too few units are followed to any of the days asked for.")
    rows = known[known["day"] == known["day"].max()]
    listed = "; ".join(
        f"{'' if len(rows) == 1 else f'{row.group}: '}{per_100(row.mean_returns)} "
        f"(likely {per_100(row.low)} to {per_100(row.high)})"
        for row in rows.itertuples()
    )
    return Finding(
        f"100 units make, in {int(rows['day'].iloc[0])} days out of our hands, "
        f"this many comebacks, repeats counted: {listed}.",
        _texts(repeats.notes),
    )


def _headline(at: pd.DataFrame) -> pd.DataFrame:
    """Pick one day: 180 where it is supported, else the latest that is."""
    known = at.dropna(subset=["share"])
    if known.empty:
        return known
    # A day on which the most groups can be read says more than a later one with fewer.
    groups = known.groupby("day")["group"].nunique()
    best = groups[groups == groups.max()].index
    day = HEADLINE_DAY if HEADLINE_DAY in best else best.max()
    return known[known["day"] == day]


def _total(causes: CauseCurves, group: str, day: float) -> float:
    at = causes.total.at
    return float(at.loc[(at["group"] == group) & (at["day"] == day), "share"].iloc[0])


def _of_100(row: pd.Series) -> str:
    return (
        f"{per_100(row['share'])} of 100 "
        f"(likely between {per_100(row['low'])} and {per_100(row['high'])})"
    )


def _each(known: pd.DataFrame) -> str:
    if len(known) <= 4:
        return "; ".join(
            f"{row.group} {per_100(row.share)} ({per_100(row.low)} to {per_100(row.high)})"
            for row in known.itertuples()
        )
    low = known.loc[known["share"].idxmin()]
    high = known.loc[known["share"].idxmax()]
    return (
        f"from {per_100(low['share'])} ({low['group']}) to {per_100(high['share'])} "
        f"({high['group']}) over {len(known)} groups; the table has each with its range"
    )


def _texts(notes: Iterable[Note]) -> tuple[str, ...]:
    return tuple(note.text for note in notes)
