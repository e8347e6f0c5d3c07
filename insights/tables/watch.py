"""The tables of the watch, of units to call in and of practices left out, for people."""

from __future__ import annotations

import pandas as pd

from insights.reviewing.missing import MissingPractices
from insights.reviewing.recall import Recall
from insights.reviewing.signals import (
    ACTED,
    FINISHED,
    NOT_CHARTED,
    OPEN,
    OVER,
    PASSED,
    SIGNAL,
    SMALL,
    Signals,
)
from insights.wording import in_currency, per_100, spoken
from insights.wording.watch import named, of_use

NOT_KNOWN = "not known"
MOST_LISTED = 500
"""More rows nobody reads, and a million of them take ten seconds to word."""
PERSONAL = ("Customer", "Phone")
"""Of a list of units: what leads to a person."""
STATE_WORDS = {SIGNAL: "sounds", SMALL: "too small to tell", NOT_CHARTED: "not charted yet"}
LIMIT = "limit_"
CHART_KINDS = {
    "all": "all jobs",
    "lot": "lots",
    "technician": "people",
    "model": "models",
    "practice": "ways of working",
    "cause": "root causes",
    "habit": "habits",
}
RANK = {SIGNAL: 0, "quiet": 1, SMALL: 2, NOT_CHARTED: 3, FINISHED: 4}
SIGNAL_WORDS = {
    OPEN: "open",
    PASSED: "went back by itself",
    OVER: "no job of it is followed any more",
}


def of_signals(signals: Signals) -> pd.DataFrame:
    """List the signals, open ones first."""
    rows = signals.table.sort_values("state", key=lambda state: state != OPEN, kind="stable")
    return pd.DataFrame(
        [
            {
                "What": named(row.kind, row.column, row.value),
                "Sounded on": _day(row.signalled_on),
                "Since about": _day(row.began_on),
                "Seen": f"{row.seen:,}",
                "Expected": _number(row.expected),
                "Seen by now": f"{row.seen_by_now:,}",
                "Expected by now": _number(row.expected_by_now),
                "State": f"{_day(row.acted_on)}: {row.action}"
                if row.state == ACTED
                else SIGNAL_WORDS[row.state],
            }
            for row in rows.itertuples(index=False)
        ],
        columns=[
            "What",
            "Sounded on",
            "Since about",
            "Seen",
            "Expected",
            "Seen by now",
            "Expected by now",
            "State",
        ],
    )


def of_charts(signals: Signals) -> pd.DataFrame:
    """List every chart as it stands: those that sound first, then by kind and name."""
    if signals.charts.empty:
        return pd.DataFrame()
    rows = signals.charts.sort_values("state", key=lambda state: state.map(RANK), kind="stable")
    return pd.DataFrame(
        [
            {
                "Chart": named(row.kind, row.column, row.value),
                "Jobs": f"{row.jobs:,}",
                "Seen": f"{row.seen:,}",
                "Expected": _number(row.expected),
                "Of its limit": "" if row.state == NOT_CHARTED else f"{row.level / row.limit:.0%}",
                "Would notice a trebling": ""
                if pd.isna(row.chance_to_see)
                else f"{100 * row.chance_to_see:.0f} of 100 times",
                "State": STATE_WORDS.get(row.state, row.state),
                "Why": row.why,
            }
            for row in rows.itertuples(index=False)
        ]
    )


def of_baselines(signals: Signals) -> pd.DataFrame:
    """List what was taken as usual from when on, and the limit of each kind of chart."""
    return pd.DataFrame(
        [
            {
                "What was usual, as known on": _day(row["known_on"]),
                "In force from": _day(row["from"]),
                "Until": _day(row["until"]),
                "Comebacks it rests on": f"{row['comebacks']:,.0f}",
                "Followed at most, days": f"{row['reach_days']:,.0f}",
                "False alarms a year, each kind": _number(row["false_alarms_a_year_each_kind"], 2),
                "Limits": ", ".join(
                    f"{words} {_number(row[LIMIT + kind])}"
                    for kind, words in CHART_KINDS.items()
                    if not pd.isna(row.get(LIMIT + kind))
                ),
            }
            for row in signals.baselines.to_dict("records")
        ]
    )


def of_recall(recall: Recall) -> pd.DataFrame:
    """List the units to call in, for the telephone."""
    return pd.DataFrame(
        [
            {
                "Job": row.job_id,
                "Customer": _text(row.customer),
                "Phone": _text(row.phone),
                "Model": row.model,
                "Serial": _text(row.unit_serial),
                "Handed back": _day(row.handed_back),
                "Age": f"{row.age_days} days",
                "Term left": f"{row.term_left_days} days" if row.term_left_days else "over",
                "Would come back, of 100 (likely)": (
                    f"{per_100(row.chance)} ({per_100(row.chance_low)} to "
                    f"{per_100(row.chance_high)})"
                ),
                in_currency("Call in", recall.currency): _number(row.call_in_cost, 2),
                in_currency("Wait", recall.currency): _number(row.wait_cost, 2),
                "Better": _text(row.cheaper),
                "Status": row.status,
            }
            for row in recall.table.itertuples(index=False)
        ]
    )


def of_missing(missing: MissingPractices) -> pd.DataFrame:
    """List how jobs with and without each practice fared."""
    return pd.DataFrame(
        [
            {
                "Practice": spoken(f"practice_{row.practice}"),
                "Asked for": row.expected_level,
                "Handed back": row.done,
                "Jobs": f"{row.jobs:,}",
                "Back": f"{row.returns:,}",
                "Expected": _number(row.expected),
                "For each expected (likely)": ""
                if pd.isna(row.ratio)
                else f"{row.ratio:.2f} ({row.low:.2f} to {row.high:.2f})",
            }
            for row in missing.table.itertuples(index=False)
        ]
    )


def of_checklist(missing: MissingPractices) -> pd.DataFrame:
    """List what each model's checklist asks for."""
    return pd.DataFrame(
        [
            {
                "Model": row.model,
                "Practice": spoken(f"practice_{row.practice}"),
                "Asked for": row.level,
                "Jobs": f"{row.jobs:,}",
                "Done, of 100 recorded": f"{100 * row.done_share:.0f}",
                "From": "what is usual" if row.is_usual else "the checklist",
            }
            for row in missing.checklist.itertuples(index=False)
        ]
    )


def of_handed_back(missing: MissingPractices) -> pd.DataFrame:
    """List the jobs handed back without, the latest :data:`MOST_LISTED`."""
    return pd.DataFrame(
        [
            {
                "Job": row.job_id,
                "Handed back": _day(row.handed_back),
                "Model": row.model,
                "Technician": _text(row.technician),
                "Practice": spoken(f"practice_{row.practice}"),
                "Asked for": row.asked_for,
                "Recorded": _text(row.recorded) or "nothing",
                "Came back": "yes" if row.came_back else "",
            }
            for row in missing.handed_back.head(MOST_LISTED).itertuples(index=False)
        ]
    )


def of_months(missing: MissingPractices) -> pd.DataFrame:
    """List each practice's use by month."""
    return pd.DataFrame(
        [
            {
                "Practice": spoken(f"practice_{row.practice}"),
                "Month": row.month,
                "Jobs": f"{row.jobs:,}",
                "Done": of_use(row.done, row.recorded),
            }
            for row in missing.use.itertuples(index=False)
        ]
    )


def _day(day: pd.Timestamp) -> str:
    return "" if pd.isna(day) else f"{day:%Y-%m-%d}"


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def _number(value: float, digits: int = 1) -> str:
    return "" if pd.isna(value) else f"{value:,.{digits}f}"
