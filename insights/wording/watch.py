"""Trouble noticed early, units to call in and practices left out, in plain sentences."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from insights.reviewing.missing import MissingPractices
from insights.reviewing.recall import CALL_IN, Recall
from insights.reviewing.signals import DANGEROUS, OPEN, SMALL, Signals
from insights.reviewing.slipping import EVERYONE, HABIT
from insights.wording import RETURNED_ONLY, Finding, amount_of, day_of, per_100, spoken, whole

MOST_NAMED = 3
FEW_RETURNS = 5
NOT_A_VERDICT = (
    "A signal says where to look, not who is to blame: who gets the harder jobs in ways that no "
    "card records looks worse than they are. One trouble often sounds on several charts at once."
)
ACT = (
    "Look into a signal, write down what was done and when, and its chart starts again. A chart "
    "that is only waited out tells nothing."
)
HOLD = "Hold what is left of it, and look at the units still out."
TOGETHER = "Look at the latest of these jobs together."
WHAT_TO_DO = {
    "lot": HOLD,
    "technician": TOGETHER,
    "practice": TOGETHER,
    "model": TOGETHER,
    "cause": TOGETHER,
    "all": "Ask what changed then: a supplier, a tool, a way of working, the kind of work.",
    HABIT: "Ask why, before its comebacks arrive.",
    DANGEROUS: "Stop, look at once, and tell those who have units with the same work.",
}
NOT_DANGEROUS = (
    "Root causes that can hurt someone should be named as dangerous: then the first case is a "
    "signal, whatever is expected."
)
CALLING = (
    "If a part may be dangerous, costs don't decide: stop using it and tell the owners at once. "
    "Whether and whom you must tell by law depends on where you are."
)


def of_signals(signals: Signals) -> Finding:
    """Say which charts sound, and how often they would by chance."""
    kinds = int((signals.charts["state"] == SMALL).sum()) if len(signals.charts) else 0
    caveats = [NOT_A_VERDICT, ACT]
    if not (signals.table["kind"] == DANGEROUS).any():
        caveats.append(NOT_DANGEROUS)
    if kinds:
        caveats.append(
            f"Charts too small to tell much: {kinds} of {len(signals.charts)}. Even trebled, their "
            "comebacks would mostly not be noticed; the list says which."
        )
    caveats += [*(note.text for note in signals.notes), RETURNED_ONLY]
    return Finding(f"{_headline(signals)} {_chance(signals)}".strip(), tuple(caveats))


def _headline(signals: Signals) -> str:
    waiting = signals.open
    if waiting.empty:
        if signals.watched_from is None:
            return "Nothing is watched yet: too few comebacks are known to tell what is usual."
        return (
            f"Nothing stands out: none of {whole(len(signals.charts))} charts has an open signal."
        )
    return of_open(signals)


def of_open(signals: Signals) -> str:
    """Say the open signals, the gravest in full."""
    waiting = signals.open
    shown = [of_signal(row) for row in _gravest(waiting).head(MOST_NAMED).itertuples(index=False)]
    more = len(waiting) - len(shown)
    rest = f" {more} more {'is' if more == 1 else 'are'} open." if more else ""
    return " ".join(shown) + rest


def _gravest(signals: pd.DataFrame) -> pd.DataFrame:
    """Put dangerous cases first, then lots, then the rest, the latest of each first."""
    rank = signals["kind"].map({DANGEROUS: 0, "lot": 1, HABIT: 2}).fillna(3)
    return signals.assign(rank=rank).sort_values(
        ["rank", "signalled_on"], ascending=[True, False], kind="stable"
    )


def _chance(signals: Signals) -> str:
    if signals.watched_from is None:
        return ""
    return (
        f"With nothing wrong, all these charts together would sound {_times(signals)}; watched "
        f"since {day_of(signals.watched_from)}."
    )


def _times(signals: Signals) -> str:
    a_year = signals.false_alarms_a_year
    if np.isclose(a_year, 1):
        return "about once a year"
    return (
        f"about {a_year:.2g} times a year"
        if a_year > 1
        else f"about once in {1 / a_year:.2g} years"
    )


def of_signal(row: Any) -> str:
    """Say one signal: what, how many, since when, and what to do."""
    what = named(row.kind, row.column, row.value)
    if row.kind == DANGEROUS:
        return (
            f"Dangerous: {row.value} was found on {day_of(row.signalled_on)} in a unit that we had "
            f"handed back before. {WHAT_TO_DO[DANGEROUS]}"
        )
    since = day_of(row.began_on)
    if row.kind == HABIT:
        counted = (
            f"left on {whole(row.seen)} {_plural(row.seen, 'job')} since about {since}, "
            f"where {row.expected:.1f} would be usual"
        )
    else:
        about = "since its first" if row.kind == "lot" else "since about"
        words = f"{about} {'hand-back on ' if row.kind == 'lot' else ''}{since}"
        counted = (
            f"{whole(row.seen)} {_plural(row.seen, 'comeback')} {words}, "
            f"{row.expected:.1f} expected"
        )
    return f"{what}: {counted}. {WHAT_TO_DO[row.kind] if row.state == OPEN else ''}".strip()


def named(kind: str, column: str, value: str) -> str:
    """Name a chart as one says it."""
    if kind == "all":
        return "All jobs"
    if kind == HABIT:
        who = "" if value == EVERYONE else f" {value}"
        return f"The habit of the {column.removeprefix('habit ').replace('_', ' ')}{who}"
    if kind == "cause":
        return f"Comebacks for {value}"
    if kind == DANGEROUS:
        return f"Dangerous: {value}"
    if kind == "lot":
        return f"Lot {value} of the {column.removeprefix('lot_').replace('_', ' ')}"
    if kind == "practice":
        return f"Jobs with {spoken(column)} ({value})"
    return f"{'Jobs by' if kind == 'technician' else 'Model'} {value}"


def name_of(chart: str) -> str:
    """Name what units are called in for, as one says it."""
    column, _, value = chart.partition("=")
    kind, _, _ = column.partition("_")
    return named(kind if kind in WHAT_TO_DO else "all", column, value)


def _plural(number: float, word: str) -> str:
    return word if number == 1 else f"{word}s"


def of_recall(recall: Recall) -> Finding:
    """Say how many units are out, what is to come of them, and what calling them in costs."""
    units = len(recall.table)
    seen = (
        f"{whole(recall.jobs)} {_plural(recall.jobs, 'job')} in question, "
        f"{whole(recall.returns)} back where {recall.expected:.1f} would be expected "
        f"(probably {recall.ratio:.1f} times the usual, "
        f"likely {recall.low:.1f} to {recall.high:.1f})"
    )
    if not units:
        return Finding(f"No unit is still out. {seen}.", _recall_caveats(recall))
    words = (
        f"{whole(units)} {_plural(units, 'unit')} {'is' if units == 1 else 'are'} still out; about "
        f"{recall.comebacks_to_come:.1f} of them would come back inside their terms. {seen}."
    )
    if not np.isnan(recall.call_in_cost + recall.wait_cost):
        called = int((recall.table["cheaper"] == CALL_IN).sum())
        better = f"{whole(called)} of them" if called else "none of them"
        call, wait = (
            amount_of(cost, recall.currency) for cost in (recall.call_in_cost, recall.wait_cost)
        )
        words += (
            f" Calling all in costs {call}, waiting about {wait}; for {better} calling in is the "
            "cheaper."
        )
    return Finding(words, _recall_caveats(recall))


def _recall_caveats(recall: Recall) -> tuple[str, ...]:
    few: tuple[str, ...] = ()
    if recall.returns < FEW_RETURNS:
        few = (
            f"The ratio rests on {recall.returns} comebacks, so it is pulled towards the usual.",
        )
    return (CALLING, *few, *(note.text for note in recall.notes))


def of_missing(missing: MissingPractices) -> Finding:
    """Say how often what the checklist asks for was left, and how such jobs fared."""
    caveats = tuple(
        dict.fromkeys(
            (
                "This compares the plain record of such jobs like for like; it is no proof that "
                "the practice is why. The page about practices weighs that.",
                *(note.text for note in missing.notes),
            )
        )
    )
    if missing.checklist.empty:
        return Finding("No practice is asked for on any model, so none can be missing.", caveats)
    without = missing.table[missing.table["done"] == "without"]
    if without.empty or not without["jobs"].sum():
        return Finding("No job was handed back without what its checklist asks for.", caveats)
    parts = [
        f"{spoken('practice_' + row.practice)} was left on {whole(row.jobs)} "
        f"{_plural(row.jobs, 'job')} ({_fared(row)})"
        for row in without.itertuples(index=False)
    ]
    return Finding(f"Handed back without what the checklist asks for: {'; '.join(parts)}.", caveats)


def of_latest(rows: int, most: int) -> str:
    """Say that only the latest rows stand on the page; nothing where all of them do."""
    if rows <= most:
        return ""
    return f"Here stand the latest {whole(most)} of {whole(rows)}; the download holds them all."


def _fared(row: Any) -> str:
    if pd.isna(row.ratio):
        return f"{whole(row.returns)} back"
    return (
        f"{whole(row.returns)} back, {row.expected:.1f} expected: {row.ratio:.1f} times, likely "
        f"{row.low:.1f} to {row.high:.1f}"
    )


def of_use(done: int, recorded: int) -> str:
    """Say how often a practice was done, of those jobs on which it was recorded."""
    return f"{per_100(done / recorded)} of 100" if recorded else "not recorded"
