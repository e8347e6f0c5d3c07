"""Which units to call in: those still out with a suspect part, or from a suspect period."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup, as_day
from insights.notes import Note, counted
from insights.reviewing.expected import case_mix, returned
from insights.reviewing.facets import groups
from insights.reviewing.families import EVERYONE
from insights.survival.shrinkage import USUAL_SPREAD, known_spread

STATUSES = ("not called", "called", "answered", "inspected")
STATUS_COLUMNS = ("job_id", "status")
RECALL_COLUMNS = (
    "job_id",
    "customer",
    "phone",
    "model",
    "unit_serial",
    "handed_back",
    "age_days",
    "term_left_days",
    "chance",
    "chance_low",
    "chance_high",
    "call_in_cost",
    "wait_cost",
    "cheaper",
    "status",
)
CALL_IN, WAIT = "call in", "wait"
METHOD = (
    "Chance of each unit to come back in the rest of its term, given that it has not yet: the "
    "hazard by age and by what the job brought, from the other jobs, times the ratio of comebacks "
    "seen to expected of the suspects, shrunk (gamma-Poisson); 95% range of that ratio."
)


@dataclass(frozen=True, eq=False)
class Recall:
    """Units still out that are under suspicion.

    Parameters
    ----------
    table
        One row a unit, the likeliest to come back first: ``job_id`` of its last hand-back,
        ``customer``, ``phone``, ``model``, ``unit_serial``, ``handed_back`` (of the suspect work),
        ``age_days`` since then, ``term_left_days`` (0: over), ``chance`` to come back in what is
        left of the term, with ``chance_low`` and ``chance_high``; ``call_in_cost`` against
        ``wait_cost`` (chance times the cost of a comeback), ``cheaper`` (missing where a cost is
        not known); ``status``.
    chart
        What is suspect.
    since, until
        First and last hand-back meant; missing: no limit.
    jobs, returns, expected
        Suspect hand-backs, their comebacks, and what the other jobs let one expect.
    ratio, low, high
        Of comebacks to expectation, shrunk.
    comebacks_to_come
        Expected of the units listed, in what is left of their terms.
    call_in_cost, wait_cost
        Of all units listed.
    method, notes
        How, and what a reader should know.
    currency
        Of every amount; empty: not stated.
    """

    table: pd.DataFrame
    chart: str
    since: pd.Timestamp | None
    until: pd.Timestamp | None
    jobs: int
    returns: int
    expected: float
    ratio: float
    low: float
    high: float
    comebacks_to_come: float
    call_in_cost: float
    wait_cost: float
    method: str
    notes: tuple[Note, ...]
    currency: str = ""


def recall_list(
    followup: Followup,
    chart: str,
    *,
    since: str | pd.Timestamp | None = None,
    until: str | pd.Timestamp | None = None,
    call_in_cost: float | None = None,
    comeback_cost: float | None = None,
    dangerous: bool = False,
    status: pd.DataFrame | None = None,
) -> Recall:
    """List every unit that is still out with a suspect part, or from a suspect period.

    Parameters
    ----------
    followup
        The hand-backs.
    chart
        What is suspect, as ``column=value``, such as ``lot_contact=B7`` or ``technician=Bo``;
        ``all jobs`` for every job of a period.
    since, until
        First and last day of hand-back.
    call_in_cost
        Calling one unit in: post or travel, the look, the part.
    comeback_cost
        One comeback.
    dangerous
        Someone may be hurt: call in, whatever it costs.
    status
        How far each unit is: ``job_id`` and ``status`` (one of :data:`STATUSES`), the last row of
        a unit standing.

    Returns
    -------
    Recall

    Raises
    ------
    RequestError
        There is no such chart or day, a cost below zero, or a status that is none.
    EvidenceError
        What is usual can't be worked out from the other jobs.

    Notes
    -----
    A unit that came back for something else still has the suspect part, unless a lot of that part
    was recorded again since; its clock runs from its last hand-back. A unit on the bench is not
    out: look at it there. Calling in is taken to prevent the comeback.
    """
    _check_costs(call_in_cost, comeback_cost)
    first, last = (
        None if day is None else as_day(day, what)
        for day, what in ((since, "since"), (until, "until"))
    )
    mine = _suspects(followup, chart, first, last)
    notes: list[Note] = []
    back = returned(followup)
    if mine.all():
        mix = case_mix(followup)
        notes.append(
            Note("all_suspect", "Every job is under suspicion, so there are none to compare with.")
        )
    else:
        mix = case_mix(followup, fit_on=~mine)
    expected = float(mix.expected(followup)[mine].sum())
    seen = int(back[mine].sum())
    ratios = known_spread(np.array([seen]), np.array([expected]), USUAL_SPREAD**-2.0)
    ratio, low, high = (
        float(values[0]) for values in (ratios.mean, ratios.quantile(0.025), ratios.quantile(0.975))
    )
    out = _still_out(followup, chart, mine)
    at = out["episode"].to_numpy()
    term = followup.history.jobs["term_days"].to_numpy()[out["job"]]
    age = out["out_days"].to_numpy(dtype=float)
    left = np.maximum(np.nan_to_num(term - age), 0.0)
    ahead = mix.relative(followup)[at] * (mix.cumulative(age + left) - mix.cumulative(age))
    chance, chance_low, chance_high = (-np.expm1(-ahead * times) for times in (ratio, low, high))
    wait = chance * (np.nan if comeback_cost is None else comeback_cost)
    call = np.full(len(out), np.nan if call_in_cost is None else float(call_in_cost))
    table = _people(followup, out).assign(
        term_left_days=left.astype(int),
        chance=chance,
        chance_low=chance_low,
        chance_high=chance_high,
        call_in_cost=call,
        wait_cost=wait,
        cheaper=_cheaper(call, wait, dangerous),
    )
    table = table.assign(status=_statuses(table["job_id"], status))[list(RECALL_COLUMNS)]
    table = table.sort_values(
        ["chance", "handed_back", "job_id"], ascending=[False, True, True], ignore_index=True
    )
    notes += _notes(table, followup, chart)
    return Recall(
        table=table,
        chart=chart,
        since=first,
        until=last,
        jobs=int(mine.sum()),
        returns=seen,
        expected=expected,
        ratio=ratio,
        low=low,
        high=high,
        comebacks_to_come=float(chance.sum()),
        call_in_cost=float(call.sum()) if len(call) else 0.0,
        wait_cost=float(wait.sum()) if len(wait) else 0.0,
        method=METHOD,
        notes=tuple(notes),
        currency=followup.history.currency,
    )


def can_be_suspect(followup: Followup) -> tuple[str, ...]:
    """List what :func:`recall_list` can be asked about: lots, the latest first, then the rest."""
    history = followup.history
    day = history.jobs["handed_back"].take(followup.episodes["job"]).reset_index(drop=True)
    lots = []
    for part in history.lots:
        latest = day.groupby(groups(followup, f"lot_{part}"), observed=True).max()
        lots += [(last, f"lot_{part}={lot}") for lot, last in latest.items()]
    columns = [
        "technician",
        "model",
        *(f"practice_{name}" for name in history.practices),
    ]
    others = [
        f"{column}={value}"
        for column in columns
        for value in groups(followup, column).cat.remove_unused_categories().cat.categories
    ]
    return (*(chart for _, chart in sorted(lots, key=lambda lot: lot[0], reverse=True)), *others)


def _check_costs(*costs: float | None) -> None:
    for cost in costs:
        if cost is not None and not cost >= 0:
            raise RequestError(f"A cost of {cost} can't be. Give zero or more.")


def _suspects(
    followup: Followup, chart: str, first: pd.Timestamp | None, last: pd.Timestamp | None
) -> np.ndarray:
    column, _, value = chart.partition("=")
    if chart == EVERYONE:
        mine = np.ones(followup.job_count, dtype=bool)
        if first is None and last is None:
            raise RequestError(f"'{EVERYONE}' needs a first or last day of hand-back. Give one.")
    elif column in followup.groupable:
        values = groups(followup, column)
        if value not in list(map(str, values.cat.categories)):
            known = ", ".join(map(str, values.cat.categories[:20]))
            raise RequestError(f"No job has {column} = {value}. Recorded: {known or 'none'}.")
        mine = (values.astype("string") == value).fillna(False).to_numpy(dtype=bool)
    else:
        raise RequestError(
            f"'{chart}' names no jobs that could be called in. Write it as column=value, such as "
            f"lot_contact=B7 or technician=Bo, or '{EVERYONE}' with a first day."
        )
    handed_back = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    if first is not None:
        mine &= handed_back >= first.to_datetime64()
    if last is not None:
        mine &= handed_back <= last.to_datetime64()
    if not mine.any():
        raise RequestError(f"No hand-back of {chart} lies between these days. Widen them.")
    return mine


def _still_out(followup: Followup, chart: str, mine: np.ndarray) -> pd.DataFrame:
    """List the units out now: last job, its episode, days out, the day of the suspect work."""
    jobs, until = followup.history.jobs, followup.data_date
    unit = np.asarray(followup.links.unit_of_job)
    visits = pd.DataFrame(
        {
            "unit": unit,
            "job": np.arange(len(unit)),
            "received": jobs["received"].to_numpy(),
            "handed_back": jobs["handed_back"].to_numpy(),
            "ended_on": jobs["ended_on"].to_numpy(),
        }
    )
    visits = visits[visits["received"] <= until].sort_values(
        ["unit", "received", "handed_back"], kind="stable"
    )
    last = visits.drop_duplicates("unit", keep="last")
    out = (last["handed_back"] <= until) & ~(last["ended_on"] <= until)
    last = last[out].set_index("unit")
    episodes = followup.episodes
    holders = _holders(followup, chart, visits, mine)
    place = pd.Series(np.arange(len(episodes)), index=episodes["job"].to_numpy())
    holders = holders[holders.index.isin(last.index)]
    held = last.loc[holders.index]
    known = held["job"].isin(place.index).to_numpy()
    held, holders = held[known], holders[known]
    return pd.DataFrame(
        {
            "job": held["job"].to_numpy(),
            "episode": place.loc[held["job"]].to_numpy(),
            "out_days": (until - held["handed_back"]).dt.days.to_numpy(),
            "worked_on": holders.to_numpy(),
        }
    )


def _holders(followup: Followup, chart: str, visits: pd.DataFrame, mine: np.ndarray) -> pd.Series:
    """Give the day of the suspect work of each unit that nothing since has undone."""
    suspect = followup.episodes["job"].to_numpy()[mine]
    column = chart.partition("=")[0]
    if column.startswith("lot_"):
        fitted = followup.history.jobs[column].notna().to_numpy()
        visits = visits[fitted[visits["job"]]]
    latest = visits[visits["handed_back"] <= followup.data_date].drop_duplicates(
        "unit", keep="last"
    )
    latest = latest[latest["job"].isin(suspect)]
    return latest.set_index("unit")["handed_back"]


def _people(followup: Followup, out: pd.DataFrame) -> pd.DataFrame:
    jobs = followup.history.jobs.take(out["job"].to_numpy()).reset_index(drop=True)
    names = ["job_id", "customer", "phone", "model", "unit_serial"]
    worked_on = pd.to_datetime(out["worked_on"])
    return jobs[names].assign(
        handed_back=worked_on, age_days=(followup.data_date - worked_on).dt.days
    )


def _cheaper(call: np.ndarray, wait: np.ndarray, dangerous: bool) -> pd.Series:
    if dangerous:
        return pd.Series([CALL_IN] * len(call), dtype=object)
    known = ~np.isnan(call) & ~np.isnan(wait)
    words = pd.Series(np.where(call < wait, CALL_IN, WAIT), dtype=object)
    return words.where(known, None)


def _statuses(jobs: pd.Series, status: pd.DataFrame | None) -> pd.Series:
    if status is None:
        return pd.Series(STATUSES[0], index=jobs.index)
    missing = [name for name in STATUS_COLUMNS if name not in status]
    if missing:
        raise RequestError(f"The list of statuses lacks {', '.join(missing)}.")
    stray = sorted(set(status["status"].astype(str)) - set(STATUSES))
    if stray:
        raise RequestError(
            f"'{stray[0]}' is no status of a call. Write one of: {', '.join(STATUSES)}."
        )
    last = status.drop_duplicates("job_id", keep="last").set_index("job_id")["status"]
    return jobs.map(last).fillna(STATUSES[0])


def _notes(table: pd.DataFrame, followup: Followup, chart: str) -> list[Note]:
    notes = []
    over = int((table["term_left_days"] == 0).sum())
    if over:
        notes.append(
            Note(
                "term_over",
                f"{counted(over, 'of these units is', 'of these units are')} outside our own "
                "warranty: no claim is to come under it, though the part may fail all the same.",
                over,
            )
        )
    nameless = int(table["customer"].isna().sum())
    if nameless:
        notes.append(
            Note(
                "no_customer",
                f"{counted(nameless, 'of these units has', 'of these units have')} no customer "
                "recorded; look by serial.",
                nameless,
            )
        )
    return notes
