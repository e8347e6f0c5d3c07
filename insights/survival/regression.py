"""Which facts about a job go with a higher or lower rate of comebacks? Cox regression."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.followup import Followup
from insights.notes import Note, counted
from insights.survival.cox import CoxFit, Shared, fit_record
from insights.survival.lifetable import LifeTable, life_table
from insights.survival.newton import NoFiniteEstimateError
from insights.survival.proportional import proportional_hazards_tests
from insights.survival.slots import Record, Ties, prepare

TOGETHER = "all together"
RETURNS_PER_COEFFICIENT = 10
CHANGES_WITH_TIME = 0.05
METHOD = (
    "Cox regression from counts, Efron's approximation for comebacks on one day; errors clustered "
    "by unit (Lin and Wei). Proportional hazards: score test against one less the Kaplan-Meier "
    "share."
)
METHOD_PENALISED = (
    "Cox regression from counts with Firth's penalty, because a level has no comeback or no finite "
    "ratio; Efron's approximation for comebacks on one day; limits and p from the penalised "
    "profile likelihood, not clustered by unit."
)


@dataclass(frozen=True)
class HazardRatios:
    """How the rate of comebacks compares between levels, other covariates held equal.

    Parameters
    ----------
    table
        One row per level but the one compared with: ``covariate``, ``level``, ``against``,
        ``jobs``, ``returns``, ``hazard_ratio``, ``low``, ``high``, ``p``.
    proportional
        One row per covariate and one for ``all together``: ``covariate``, ``statistic``, ``df``,
        ``p``; a small p says that the ratio changes over time.
    covariates, strata
        The columns used; strata each have their own base rate.
    cause
        The root cause counted, None for all.
    jobs, units, returns
        How many.
    is_penalised
        Whether Firth's penalty was needed.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    proportional: pd.DataFrame
    covariates: tuple[str, ...]
    strata: tuple[str, ...]
    cause: str | None
    jobs: int
    units: int
    returns: int
    is_penalised: bool
    method: str
    notes: tuple[Note, ...]


def cox_regression(
    followup: Followup,
    covariates: Sequence[str],
    *,
    against: Mapping[str, str] | None = None,
    strata: Sequence[str] = (),
    cause: str | None = None,
    ties: Ties = "efron",
    level: float = 0.95,
) -> HazardRatios:
    """Compare rates of comebacks between levels, several facts at a time.

    Parameters
    ----------
    followup
        The episodes.
    covariates
        Columns of :attr:`insights.followup.Followup.groupable`.
    against
        For a covariate, the level to compare with; by default the one with the most jobs.
    strata
        Columns whose values each get a base rate of their own, and no ratio.
    cause
        Count only comebacks with this root cause; the others then end the episode unseen.
    ties
        ``efron`` or ``breslow``.
    level
        Confidence, between 0 and 1.

    Returns
    -------
    HazardRatios

    Raises
    ------
    RequestError
        An unknown column, level or cause, or the same column twice.
    EvidenceError
        No comeback, no covariate that varies, or covariates that can't be told apart.

    Notes
    -----
    The ratio supports a comparison; the headline is the standardised difference in risk, which
    needs no proportional hazards and can be weighed against money.
    """
    wanted = (*covariates, *strata)
    if not covariates or len(set(wanted)) != len(wanted):
        raise RequestError(
            f"Covariates and strata are: {', '.join(wanted) or 'none'}. Name at least one "
            "covariate, and each column once."
        )
    table = life_table(followup, wanted)
    event = _event_cells(table, cause)
    design = _design(table, tuple(covariates), dict(against or {}), event)
    pattern = table.cells["pattern"].to_numpy()
    record = prepare(
        table.cells["days"].to_numpy(),
        event,
        design.X,
        row=pattern,
        count=table.cells["jobs"].to_numpy(),
        stratum=_stratum(table.patterns[list(strata)])[pattern],
        ties=ties,
    )
    shared = Shared(
        (np.diff(table.repeats["unit"].to_numpy(), prepend=-1) != 0).cumsum() - 1,
        table.repeats["cell"].to_numpy(),
        np.ones(len(table.repeats)),
    )
    fit = _fit(record, shared, ties, level, firth=bool((design.table["returns"] == 0).any()))
    proportional = _proportional(record, fit, design)
    return HazardRatios(
        table=design.table.drop(columns="is_against")[~design.table["is_against"]]
        .assign(hazard_ratio=np.exp(fit.coef), low=np.exp(fit.low), high=np.exp(fit.high), p=fit.p)
        .reset_index(drop=True),
        proportional=proportional,
        covariates=design.covariates,
        strata=tuple(strata),
        cause=cause,
        jobs=fit.jobs,
        units=followup.unit_count,
        returns=fit.events,
        is_penalised=fit.is_penalised,
        method=METHOD_PENALISED if fit.is_penalised else METHOD,
        notes=(*followup.notes, *design.notes, *_notes(fit, proportional, cause, len(shared.unit))),
    )


@dataclass(frozen=True)
class _Design:
    X: np.ndarray
    table: pd.DataFrame
    covariates: tuple[str, ...]
    notes: tuple[Note, ...]

    def places(self) -> dict[str, np.ndarray]:
        named = self.table.loc[~self.table["is_against"], "covariate"].to_numpy()
        return {name: np.flatnonzero(named == name) for name in self.covariates}


def _event_cells(table: LifeTable, cause: str | None) -> np.ndarray:
    outcome = table.cells["outcome"].to_numpy()
    if cause is None:
        return (outcome >= 1) & (outcome <= len(table.causes))
    if cause not in table.causes:
        raise RequestError(
            f"No comeback has root cause '{cause}'. Recorded: {', '.join(table.causes) or 'none'}."
        )
    return outcome == 1 + table.causes.index(cause)


def _design(
    table: LifeTable, covariates: tuple[str, ...], against: dict[str, str], event: np.ndarray
) -> _Design:
    stray = [name for name in against if name not in covariates]
    if stray:
        raise RequestError(f"'{stray[0]}' has a level to compare with but is not a covariate.")
    cells = table.cells
    pattern = cells["pattern"].to_numpy()
    jobs = np.bincount(pattern, weights=cells["jobs"], minlength=len(table.patterns))
    returns = np.bincount(pattern, weights=cells["jobs"] * event, minlength=len(table.patterns))
    columns, rows, used, notes = [], [], [], []
    for name in covariates:
        values = table.patterns[name].cat
        codes, levels = values.codes.to_numpy(), [str(level) for level in values.categories]
        jobs_at = np.bincount(codes, weights=jobs, minlength=len(levels))
        returns_at = np.bincount(codes, weights=returns, minlength=len(levels))
        reference = _reference(name, levels, jobs_at, against.get(name))
        present = np.flatnonzero(jobs_at)
        if len(present) < 2:
            notes.append(
                Note("constant", f"Every job has {name} = {levels[reference]}; it is left out.")
            )
            continue
        used.append(name)
        for code in present:
            rows.append(
                (
                    name,
                    levels[code],
                    levels[reference],
                    int(jobs_at[code]),
                    int(returns_at[code]),
                    code == reference,
                )
            )
            if code != reference:
                columns.append(codes == code)
    if not used:
        raise EvidenceError(
            f"All jobs are alike in {', '.join(covariates)}, so there is nothing to compare. "
            "Choose other columns, or widen the filter."
        )
    names = ["covariate", "level", "against", "jobs", "returns", "is_against"]
    return _Design(
        X=np.column_stack(columns).astype(float),
        table=pd.DataFrame(rows, columns=names),
        covariates=tuple(used),
        notes=tuple(notes),
    )


def _reference(name: str, levels: list[str], jobs_at: np.ndarray, wanted: str | None) -> int:
    if wanted is None:
        return int(jobs_at.argmax())
    present = [level for level, jobs in zip(levels, jobs_at, strict=True) if jobs]
    if wanted not in present:
        raise RequestError(f"No job has {name} = {wanted}. Recorded: {', '.join(present[:20])}.")
    return levels.index(wanted)


def _stratum(patterns: pd.DataFrame) -> np.ndarray:
    key = np.zeros(len(patterns), dtype=np.int64)
    for name in patterns.columns:
        values = patterns[name].cat
        key = np.unique(
            key * len(values.categories) + values.codes.to_numpy(), return_inverse=True
        )[1]
    return key


def _fit(record: Record, shared: Shared, ties: Ties, level: float, *, firth: bool) -> CoxFit:
    try:
        return fit_record(record, shared, ties=ties, firth=firth, level=level)
    except NoFiniteEstimateError:
        # Levels that only together hold no comeback: the penalty answers, and the result says so.
        return fit_record(record, shared, ties=ties, firth=True, level=level)


def _proportional(record: Record, fit: CoxFit, design: _Design) -> pd.DataFrame:
    places = {**design.places(), TOGETHER: np.arange(len(fit.coef))}
    tests = proportional_hazards_tests(record, fit.coef, list(places.values()))
    return pd.DataFrame(
        {
            "covariate": list(places),
            "statistic": [test.statistic for test in tests],
            "df": [test.df for test in tests],
            "p": [test.p for test in tests],
        }
    )


def _notes(fit: CoxFit, proportional: pd.DataFrame, cause: str | None, repeats: int) -> list[Note]:
    notes = []
    if fit.is_penalised:
        text = (
            "A level has no comeback, so its plain ratio would be zero without end; a mild penalty "
            "keeps it finite."
        )
        if repeats:
            text += " These limits take each job as independent, though some units came twice."
        notes.append(Note("penalised", text))
    if fit.events < RETURNS_PER_COEFFICIENT * len(fit.coef):
        notes.append(
            Note(
                "few_returns",
                f"{counted(fit.events, 'comeback')} for {counted(len(fit.coef), 'ratio')}: fewer "
                f"than {RETURNS_PER_COEFFICIENT} each, so read the limits, not the ratios.",
            )
        )
    if cause is not None:
        notes.append(
            Note(
                "one_cause",
                f"The ratio compares the rate of {cause} among units still out; it is not a share "
                "of all jobs.",
            )
        )
    for row in proportional.itertuples():
        if row.covariate != TOGETHER and row.p < CHANGES_WITH_TIME:
            notes.append(
                Note(
                    "not_proportional",
                    f"The ratio of {row.covariate} changes over the follow-up (p = {row.p:.3f}); "
                    "read it as an average, and the curves for when.",
                )
            )
    return notes
