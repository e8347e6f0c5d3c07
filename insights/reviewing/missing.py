"""Practices a model's checklist asks for that a job was handed back without."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import RequestError
from insights.followup import Followup
from insights.notes import Note
from insights.reviewing.expected import case_mix, returned
from insights.reviewing.facets import groups

USUAL_SHARE = 0.5
"""Without a checklist: a practice recorded on more of a model's jobs than this is expected."""
FEWEST_JOBS = 20
FEWEST_IN_A_MONTH = 10
LEVEL = 0.95
Checklist = Mapping[str, Mapping[str, str]]
"""By model: practice (without the prefix) and the way of working asked for."""
METHOD = (
    "Comebacks seen against those that the mix of work lets one expect (hazard model on counts), "
    "of jobs with and without the practice; exact Poisson interval of each ratio. Jobs were not "
    "dealt out by chance: what differs may have other reasons."
)


@dataclass(frozen=True, eq=False)
class MissingPractices:
    """What was left out, and what came of it.

    Parameters
    ----------
    table
        One row a ``practice``, ``expected_level`` and ``done`` (with, without, not recorded):
        ``jobs``, ``returns``, ``expected``, ``ratio``, ``low``, ``high``.
    checklist
        One row a ``model`` and ``practice``: ``level`` asked for, ``jobs`` of the model,
        ``done_share`` of those recorded, ``is_usual`` (taken from the record, not stated).
    handed_back
        Jobs handed back without, the latest first: ``job_id``, ``handed_back``, ``model``,
        ``technician``, ``practice``, ``asked_for``, ``recorded``, ``came_back``.
    use
        One row a ``practice`` and ``month`` of hand-back: ``jobs`` whose checklist asks for it,
        ``recorded``, ``done``, ``done_share`` (missing where on fewer than
        :data:`FEWEST_IN_A_MONTH` jobs).
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    checklist: pd.DataFrame
    handed_back: pd.DataFrame
    use: pd.DataFrame
    method: str
    notes: tuple[Note, ...]


def missing_practices(followup: Followup, checklist: Checklist | None = None) -> MissingPractices:
    """Find the jobs handed back without a practice that their model's checklist asks for.

    Parameters
    ----------
    followup
        The hand-backs.
    checklist
        What is asked for; by default every practice recorded on most of a model's jobs, in the way
        that the shop does it most, and a note says so.

    Returns
    -------
    MissingPractices

    Raises
    ------
    RequestError
        The checklist names a practice that is not recorded.
    """
    asked = _asked(followup, checklist)
    mix = case_mix(followup)
    jobs = pd.DataFrame(
        {
            "job": followup.episodes["job"].to_numpy(),
            "model": groups(followup, "model").astype(str).to_numpy(),
            "back": returned(followup),
            "expected": mix.expected(followup),
        }
    )
    jobs["handed_back"] = followup.history.jobs["handed_back"].to_numpy()[jobs["job"]]
    parts = [_of_practice(followup, jobs, name, rows) for name, rows in asked.groupby("practice")]
    held = pd.concat(parts, ignore_index=True) if parts else _nothing()
    notes = []
    if checklist is None:
        notes.append(
            Note(
                "usual_checklist",
                "No checklist was given: asked for is every practice recorded on most of a model's "
                "jobs, in the way that it is done most.",
            )
        )
    return MissingPractices(
        table=_compared(held),
        checklist=asked,
        handed_back=_left(followup, held),
        use=_use(held),
        method=METHOD,
        notes=(*notes, *followup.notes),
    )


def _asked(followup: Followup, checklist: Checklist | None) -> pd.DataFrame:
    recorded = followup.history.practices
    model = groups(followup, "model").astype(str)
    if checklist is not None:
        stray = sorted({name for wanted in checklist.values() for name in wanted} - set(recorded))
        if stray:
            raise RequestError(
                f"The checklist asks for {', '.join(stray)}, which is not recorded. Recorded: "
                f"{', '.join(recorded) or 'none'}."
            )
    rows = []
    for name in recorded:
        values = groups(followup, f"practice_{name}").astype(object)
        counts = pd.crosstab(model, values).reindex(sorted(set(model)), fill_value=0)
        usual = str(counts.sum().idxmax()) if counts.size else ""
        for one, levels in counts.iterrows():
            jobs = int((model == one).sum())
            wanted = (
                _usual(usual, levels, jobs)
                if checklist is None
                else checklist.get(str(one), {}).get(name)
            )
            if wanted is not None:
                share = levels.get(wanted, 0) / levels.sum() if levels.sum() else np.nan
                rows.append((str(one), name, wanted, jobs, share, checklist is None))
    names = ["model", "practice", "level", "jobs", "done_share", "is_usual"]
    return pd.DataFrame(rows, columns=names)


def _usual(level: str, levels: pd.Series, jobs: int) -> str | None:
    asked = jobs >= FEWEST_JOBS and levels.sum() > USUAL_SHARE * jobs
    return level if asked else None


def _of_practice(
    followup: Followup, jobs: pd.DataFrame, name: str, asked: pd.DataFrame
) -> pd.DataFrame:
    level = jobs["model"].map(dict(zip(asked["model"], asked["level"], strict=True)))
    mine = level.notna().to_numpy()
    recorded = groups(followup, f"practice_{name}").astype(object)[mine].to_numpy()
    held = jobs[mine].assign(practice=name, level=level[mine], recorded=recorded)
    done = np.where(held["recorded"] == held["level"], "with", "without")
    return held.assign(done=np.where(held["recorded"].isna(), "not recorded", done))


def _nothing() -> pd.DataFrame:
    names = ["job", "model", "back", "expected", "handed_back", "practice", "level", "recorded"]
    return pd.DataFrame({name: [] for name in (*names, "done")}).astype(
        {"handed_back": "datetime64[ns]", "job": "int64"}
    )


def _compared(held: pd.DataFrame) -> pd.DataFrame:
    table = (
        held.groupby(["practice", "level", "done"], sort=True)
        .agg(jobs=("job", "size"), returns=("back", "sum"), expected=("expected", "sum"))
        .reset_index()
        .rename(columns={"level": "expected_level"})
    )
    seen, hoped = table["returns"].astype(float), table["expected"].astype(float)
    tail = (1 - LEVEL) / 2
    low = np.where(seen > 0, stats.gamma.ppf(tail, np.maximum(seen, 1)), 0.0)
    per = hoped.where(hoped > 0)
    return table.assign(
        returns=table["returns"].astype(int),
        ratio=seen / per,
        low=low / per,
        high=stats.gamma.ppf(1 - tail, seen + 1) / per,
    )


def _left(followup: Followup, held: pd.DataFrame) -> pd.DataFrame:
    left = held[held["done"] != "with"].sort_values(
        ["handed_back", "job"], ascending=[False, True], kind="stable"
    )
    jobs = followup.history.jobs.take(left["job"].to_numpy())
    return pd.DataFrame(
        {
            "job_id": jobs["job_id"].to_numpy(),
            "handed_back": left["handed_back"].to_numpy(),
            "model": left["model"].to_numpy(),
            "technician": jobs["technician"].astype(object).to_numpy(),
            "practice": left["practice"].to_numpy(),
            "asked_for": left["level"].to_numpy(),
            "recorded": left["recorded"].to_numpy(),
            "came_back": left["back"].to_numpy(),
        }
    )


def _use(held: pd.DataFrame) -> pd.DataFrame:
    use = (
        held.assign(
            month=held["handed_back"].to_numpy().astype("datetime64[M]").astype(np.int64),
            recorded=held["recorded"].notna().astype(int),
            done=(held["done"] == "with").astype(int),
        )
        .groupby(["practice", "month"], sort=True)
        .agg(jobs=("job", "size"), recorded=("recorded", "sum"), done=("done", "sum"))
        .reset_index()
    )
    return use.assign(
        # Named once a month, not once a job.
        month=use["month"].to_numpy().astype("datetime64[M]").astype(str).astype(object),
        done_share=use["done"] / use["recorded"].where(use["recorded"] >= FEWEST_IN_A_MONTH),
    )
