"""What was done about a signal, and cases that need no counting."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.reviewing.baseline import Family
from insights.reviewing.daily import Daily, known_on
from insights.reviewing.signals import ACTION_COLUMNS, CHANCE, DANGEROUS, state_of

YES, NO = ("yes", "true", "1"), ("no", "false", "0", "")


def tidy_actions(actions: pd.DataFrame | None) -> pd.DataFrame:
    """Check a list of actions.

    Parameters
    ----------
    actions
        ``chart``, ``date`` and ``done``, as text or better, and ``chance`` (yes or no) where
        some were found to be chance; None: nothing was done.

    Raises
    ------
    RequestError
        A column is missing, or a date is not one.
    """
    if actions is None:
        actions = pd.DataFrame(columns=list(ACTION_COLUMNS))
    missing = [name for name in ACTION_COLUMNS if name not in actions]
    if missing:
        raise RequestError(
            f"The list of actions lacks {', '.join(missing)}. Its columns are: "
            f"{', '.join(ACTION_COLUMNS)}."
        )
    dates = pd.to_datetime(actions["date"], format="ISO8601", errors="coerce")
    if dates.isna().any():
        row = int(np.flatnonzero(dates.isna())[0])
        raise RequestError(
            f"The list of actions, row {row + 1}: '{actions['date'].iloc[row]}' is not a date. "
            "Write it as year-month-day, like 2026-03-09."
        )
    return pd.DataFrame(
        {
            "chart": actions["chart"].astype(str).to_numpy(),
            "date": pd.DatetimeIndex(dates).normalize(),
            "done": actions["done"].fillna("").astype(str).to_numpy(),
            CHANCE: _yes(actions),
        }
    ).sort_values("date", kind="stable", ignore_index=True)


def _yes(actions: pd.DataFrame) -> np.ndarray:
    if CHANCE not in actions:
        return np.zeros(len(actions), dtype=bool)
    words = actions[CHANCE].map(lambda value: "" if pd.isna(value) else str(value).strip().lower())
    unclear = ~words.isin([*YES, *NO])
    if unclear.any():
        row = int(np.flatnonzero(unclear)[0])
        raise RequestError(
            f"The list of actions, row {row + 1}: {CHANCE} is '{words.iloc[row]}'. Write yes or no."
        )
    return words.isin(YES).to_numpy()


def cleared_of(family: Family, actions: pd.DataFrame, daily: Daily) -> set[tuple[int, int]]:
    """Give the actions that found nothing but chance: pairs of chart number and day."""
    place = {family.chart(number): number for number in range(len(family.names))}
    mere = actions[actions[CHANCE].to_numpy(dtype=bool) & actions["chart"].isin(place)]
    return {
        (place[chart], daily.day(date))
        for chart, date in zip(mere["chart"], mere["date"], strict=True)
    }


def resets_of(family: Family, actions: pd.DataFrame, daily: Daily) -> dict[int, list[int]]:
    """Give the days of the actions on each chart of a family, by its number."""
    if actions.empty:
        return {}
    place = {family.chart(number): number for number in range(len(family.names))}
    resets: dict[int, list[int]] = {}
    for chart, date in zip(actions["chart"], actions["date"], strict=True):
        # One later than the data date says that something was done, and starts nothing again yet.
        if chart in place:
            resets.setdefault(place[chart], []).append(daily.day(date))
    return {number: sorted(set(days)) for number, days in resets.items()}


def dangerous_cases(followup: Followup, causes: Sequence[str], actions: pd.DataFrame) -> list[dict]:
    """Signal the first later visit of any unit with a cause that is not to be waited for.

    Parameters
    ----------
    followup
        The hand-backs; every later visit of a unit to the bench counts here, also one
        out of term or judged no comeback of ours.
    causes
        Root causes.
    actions
        After an action the next case is a signal again.
    """
    if not causes:
        return []
    jobs, until = followup.history.jobs, followup.data_date
    unit = np.asarray(followup.links.unit_of_job)
    order = np.lexsort((np.arange(len(unit)), jobs["received"].to_numpy(), unit))
    later = np.zeros(len(unit), dtype=bool)
    later[order[1:]] = unit[order[1:]] == unit[order[:-1]]
    known = known_on(followup.history, until)
    rows: list[dict] = []
    for cause in dict.fromkeys(causes):
        chart = f"{DANGEROUS}={cause}"
        mine = later & (jobs["root_cause"] == cause).to_numpy(dtype=bool, na_value=False)
        cases = known[mine].dropna().sort_values(kind="stable")
        acted = actions.loc[actions["chart"] == chart, "date"]
        rows += _cases(chart, cause, cases, list(acted.drop_duplicates()), actions)
    return rows


def _cases(
    chart: str,
    cause: str,
    cases: pd.Series,
    acted: list[pd.Timestamp],
    actions: pd.DataFrame,
) -> list[dict]:
    rows = []
    while len(cases):
        first = cases.iloc[0]
        after = [date for date in acted if date >= first]
        until = after[0] if after else None
        held = cases if until is None else cases[cases <= until]
        rows.append(
            {
                "chart": chart,
                "kind": DANGEROUS,
                "column": "root_cause",
                "value": cause,
                "signalled_on": first,
                "began_on": first,
                "seen": 1,
                "expected": np.nan,
                "ratio": np.nan,
                "limit": np.nan,
                **state_of(chart, until, actions),
                "seen_by_now": len(held),
                "expected_by_now": np.nan,
            }
        )
        cases = cases.iloc[len(held) :]
    return rows
