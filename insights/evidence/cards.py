"""Job cards dealt by lot: balanced in blocks, the same for ever from the same seed."""

from __future__ import annotations

import hashlib

import pandas as pd

from insights.errors import RequestError
from insights.evidence.trial import STRATA, TrialPlan
from insights.followup import Followup

BLOCKS = (4, 6)
"""Sizes of a block, mixed, so that its last cards can't be guessed."""

SPARE = 0.25


def job_mix(followup: Followup) -> pd.DataFrame:
    """Count the jobs by model and age band.

    Returns
    -------
    pandas.DataFrame
        ``model``, ``age_band``, ``jobs``; the strata of a trial, the largest first.
    """
    counts = pd.DataFrame({name: followup.values(name).astype(str) for name in STRATA})
    mix = counts.value_counts().rename("jobs").reset_index()
    return mix.sort_values(["jobs", *STRATA], ascending=[False, True, True], ignore_index=True)


def job_cards(plan: TrialPlan, mix: pd.DataFrame, *, spare: float = SPARE) -> pd.DataFrame:
    """Deal the cards of a trial.

    Parameters
    ----------
    plan
        The plan; its seed decides every card.
    mix
        ``model``, ``age_band``, ``jobs``: how often each is expected (see :func:`job_mix`).
    spare
        Cards beyond the expected number, as a share, because no one knows what comes in.

    Returns
    -------
    pandas.DataFrame
        ``card``, ``model``, ``age_band``, ``block``, ``level``, in the order in which each
        stratum's cards are to be used.

    Raises
    ------
    RequestError
        An empty or double mix, or a negative spare.

    Notes
    -----
    Permuted blocks of mixed size within each model and age band; half of each block's cards get
    either level. The order within a block is that of SHA-256 digests of seed, stratum, block
    and place, so anyone can check it with any program, and what a stratum's cards say does not
    depend on which other strata there are or on how long the list is.
    """
    missing = [name for name in (*STRATA, "jobs") if name not in mix.columns]
    if missing or mix.empty or not (mix["jobs"] > 0).all():
        raise RequestError(
            f"The mix of jobs needs model, age_band and jobs above zero; missing: "
            f"{', '.join(missing) or 'rows'}."
        )
    if mix.duplicated(list(STRATA)).any():
        raise RequestError("The mix of jobs names a model and age band twice. Add the two up.")
    if spare < 0:
        raise RequestError(f"spare is {spare}. Give zero or more.")
    wanted = 2 * plan.jobs_per_arm * (1 + spare) * mix["jobs"] / mix["jobs"].sum()
    rows = []
    for number, (model, age_band, cards) in enumerate(
        zip(mix["model"], mix["age_band"], wanted, strict=True), start=1
    ):
        dealt = 0
        block = 0
        while dealt < cards:
            block += 1
            for level in _block(plan, f"{model}|{age_band}|{block}"):
                dealt += 1
                rows.append((f"{number:02d}-{dealt:04d}", model, age_band, block, level))
    return pd.DataFrame(rows, columns=["card", *STRATA, "block", "level"])


def _block(plan: TrialPlan, name: str) -> list[str]:
    size = BLOCKS[_digest(plan, name, "size")[0] % len(BLOCKS)]
    levels = [plan.level, plan.against] * (size // 2)
    order = sorted(range(size), key=lambda place: _digest(plan, name, str(place)))
    return [levels[place] for place in order]


def _digest(plan: TrialPlan, name: str, place: str) -> bytes:
    return hashlib.sha256(f"{plan.seed}|{name}|{place}".encode()).digest()
