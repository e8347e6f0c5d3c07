"""What a bench trial showed, by the analysis fixed in its plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import EvidenceError, RequestError
from insights.evidence.looks import bounds
from insights.evidence.trial import STRATA, TrialPlan
from insights.followup import Followup
from insights.notes import Note, counted

Decision = Literal["stop_better", "stop_worse", "go_on", "ended_open"]
METHOD = (
    "By card, first job of each unit, followed to the day. Mantel-Haenszel difference in shares "
    "back over model and age band (variance of Sato 1989), tested by Cochran-Mantel-Haenszel; "
    "bound from the share of the planned jobs seen (Lan-DeMets); repeated confidence interval of "
    "Jennison and Turnbull 1989."
)


@dataclass(frozen=True)
class TrialResult:
    """Where the trial stands at this look.

    Parameters
    ----------
    table
        One row per level: ``level``, ``cards`` (used), ``jobs`` (counted: followed to the day),
        ``returns``, ``share``, ``done_as_dealt`` (share of cards used whose job records that
        level).
    difference, low, high
        Share back, ``level`` less ``against``, and an interval that allows for the looks.
    z, bound, p
        The test in standard errors (above zero: fewer comebacks with ``level``), the bound of
        this look, and the p-value as if it were the only look.
    fraction
        Share of the planned jobs counted; to be handed to the next look.
    decision
        ``stop_better``, ``stop_worse``, ``go_on``, or ``ended_open`` where all planned jobs are
        in and the bound was not reached.
    plan
        The plan followed.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    difference: float
    low: float
    high: float
    z: float
    bound: float
    p: float
    fraction: float
    decision: Decision
    plan: TrialPlan
    method: str
    notes: tuple[Note, ...]


def analyse_trial(
    plan: TrialPlan,
    cards: pd.DataFrame,
    used: pd.DataFrame,
    followup: Followup,
    *,
    earlier: Sequence[float] = (),
) -> TrialResult:
    """Analyse a trial as its plan says.

    Parameters
    ----------
    plan, cards
        The plan and the cards dealt from it.
    used
        Which job drew which card: ``card``, ``job_id``.
    followup
        The episodes; ``follow`` and ``count`` as they are set there.
    earlier
        ``fraction`` of each earlier look, rising.

    Returns
    -------
    TrialResult

    Raises
    ------
    RequestError
        A card or job that does not exist or is used twice, or earlier looks that do not fit.
    EvidenceError
        No job on one of the levels has been followed to the day.
    """
    drawn = _drawn(plan, cards, used, followup)
    jobs, dropped = _counted(plan, drawn, followup)
    fraction = len(jobs) / (2 * plan.jobs_per_arm)
    tables = _two_by_two(plan, jobs)
    difference, se = mantel_haenszel_difference(tables)
    z = -cochran_mantel_haenszel(tables)
    reached = min(fraction, 1.0)
    if earlier and not earlier[-1] < reached:
        raise RequestError(
            f"The last look was at {earlier[-1]:g} of the trial and now {reached:g} is in. Look "
            "again when more jobs have been followed to the day."
        )
    bound = float(bounds([*earlier, reached], plan.alpha, plan.spending)[-1])
    return TrialResult(
        table=_by_level(plan, drawn, jobs),
        difference=difference,
        low=max(difference - bound * se, -1.0),
        high=min(difference + bound * se, 1.0),
        z=z,
        bound=bound,
        p=float(2 * stats.norm.sf(abs(z))),
        fraction=fraction,
        decision=_decision(z, bound, fraction),
        plan=plan,
        method=METHOD,
        notes=(*followup.notes, *_notes(cards, drawn, dropped)),
    )


def mantel_haenszel_difference(tables: np.ndarray) -> tuple[float, float]:
    """Average the difference of two shares over strata.

    Parameters
    ----------
    tables
        Per stratum: returns and jobs with the level, returns and jobs against; shape (K, 4).

    Returns
    -------
    difference, se : float
        Mantel-Haenszel's difference (Greenland and Robins 1985, Biometrics 41:55-68) and its
        standard error, right for many small strata and for few large ones (Sato 1989,
        Biometrics 45:1323-1324).
    """
    a, n1, b, n0 = tables.T.astype(float)
    n = n1 + n0
    weight = (n1 * n0 / n).sum()
    difference = ((a * n0 - b * n1) / n).sum() / weight
    p = ((n1**2 * b - n0**2 * a + n1 * n0 * (n0 - n1) / 2) / n**2).sum()
    q = ((a * (n0 - b) + b * (n1 - a)) / (2 * n)).sum()
    return float(difference), float(np.sqrt(max(difference * p + q, 0.0)) / weight)


def cochran_mantel_haenszel(tables: np.ndarray) -> float:
    """Test no difference over strata: standard errors from what chance would give.

    Parameters
    ----------
    tables
        As in :func:`mantel_haenszel_difference`.

    Returns
    -------
    float
        Above zero where more come back with the level; 0 where nobody or everybody does.
        Without continuity correction (Mantel and Haenszel 1959).
    """
    a, n1, b, n0 = tables.T.astype(float)
    n, back = n1 + n0, a + b
    variance = (n1 * n0 * back * (n - back) / (n**2 * np.maximum(n - 1, 1))).sum()
    excess = (a - n1 * back / n).sum()
    return float(excess / np.sqrt(variance)) if variance > 0 else 0.0


def _drawn(
    plan: TrialPlan, cards: pd.DataFrame, used: pd.DataFrame, followup: Followup
) -> pd.DataFrame:
    column = f"practice_{plan.practice.removeprefix('practice_')}"
    if column not in followup.history.jobs.columns:
        raise RequestError(
            f"No practice '{plan.practice}' is recorded. Recorded: "
            f"{', '.join(followup.history.practices) or 'none'}."
        )
    used = used[["card", "job_id"]].astype(str)
    known = followup.history.jobs["job_id"].astype(str)
    for name, values, all_known in (
        ("card", used["card"], set(cards["card"])),
        ("job", used["job_id"], set(known)),
    ):
        stray = sorted(set(values) - all_known)
        if stray:
            raise RequestError(f"There is no {name} '{stray[0]}' ({len(stray)} unknown in all).")
        twice = values[values.duplicated()]
        if len(twice):
            raise RequestError(f"The {name} '{twice.iloc[0]}' is used twice. Keep the first.")
    row_of = pd.Series(np.arange(len(known)), index=known)
    drawn = used.merge(cards, on="card")
    job = row_of[drawn["job_id"]].to_numpy()
    done = followup.history.jobs[column].astype(object).to_numpy()[job]
    return drawn.assign(job=job, done=done)


def _counted(
    plan: TrialPlan, drawn: pd.DataFrame, followup: Followup
) -> tuple[pd.DataFrame, dict[str, int]]:
    """Keep the first dealt job of each unit that was followed to the day."""
    jobs = drawn.merge(followup.episodes, on="job").sort_values(["unit", "repair_number"])
    handed_back = followup.history.jobs["handed_back"].take(jobs["job"]).to_numpy()
    first = ~jobs["unit"].duplicated().to_numpy()
    waited = (np.datetime64(followup.data_date) - handed_back) / np.timedelta64(1, "D")
    back = ((jobs["end"] == "return") & (jobs["days"] <= plan.day)).to_numpy()
    if plan.cause is not None:
        back &= (jobs["cause"] == plan.cause).to_numpy()
    in_time = waited >= plan.day
    lost = ((jobs["end"] == "term") & (jobs["days"] < plan.day)).to_numpy()
    keep = first & in_time & ~lost
    dropped = {
        "not handed back": len(drawn) - len(jobs),
        "later job of a unit": int((~first).sum()),
        "not yet followed to the day": int((first & ~in_time).sum()),
        "term ended before the day": int((first & in_time & lost).sum()),
    }
    return jobs.assign(back=back)[keep], dropped


def _two_by_two(plan: TrialPlan, jobs: pd.DataFrame) -> np.ndarray:
    treated = jobs["level"] == plan.level
    for level, there in ((plan.level, treated.any()), (plan.against, (~treated).any())):
        if not there:
            raise EvidenceError(
                f"No job dealt {level} has been followed to day {plan.day} yet. Look again later."
            )
    parts = jobs.assign(
        a=jobs["back"] & treated, n1=treated, b=jobs["back"] & ~treated, n0=~treated
    )
    return parts.groupby(list(STRATA))[["a", "n1", "b", "n0"]].sum().to_numpy()


def _by_level(plan: TrialPlan, drawn: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for level in (plan.level, plan.against):
        mine = jobs[jobs["level"] == level]
        dealt = drawn[drawn["level"] == level]
        rows.append(
            {
                "level": level,
                "cards": len(dealt),
                "jobs": len(mine),
                "returns": int(mine["back"].sum()),
                "share": float(mine["back"].mean()),
                "done_as_dealt": float((dealt["done"] == level).mean()),
            }
        )
    return pd.DataFrame(rows)


def _decision(z: float, bound: float, fraction: float) -> Decision:
    if abs(z) >= bound:
        return "stop_better" if z > 0 else "stop_worse"
    return "ended_open" if fraction >= 1 else "go_on"


def _notes(cards: pd.DataFrame, drawn: pd.DataFrame, dropped: dict[str, int]) -> list[Note]:
    notes = [
        Note("not_counted", f"{jobs} cards are not counted yet or at all: {why}.", jobs)
        for why, jobs in dropped.items()
        if jobs
    ]
    place = cards.groupby(list(STRATA)).cumcount()
    last = place.where(cards["card"].isin(drawn["card"])).groupby([cards[s] for s in STRATA]).max()
    skipped = int((last + 1).sum()) - len(drawn)
    if skipped:
        notes.append(
            Note(
                "cards_skipped",
                f"{counted(skipped, 'card was', 'cards were')} passed over. A lot that "
                "is passed over is no lot: find out why before trusting the result.",
                skipped,
            )
        )
    not_done = int((drawn["done"] != drawn["level"]).sum())
    if not_done:
        notes.append(
            Note(
                "not_as_dealt",
                f"{counted(not_done, 'job was', 'jobs were')} not done as the card said; it is the "
                "card that counts all the same, which draws the difference towards zero.",
                not_done,
            )
        )
    return notes
