"""What is asked of a practice: levels, covariates, day and causes, checked against the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.evidence.propensity import POPULATIONS, Population
from insights.evidence.switched import Found
from insights.followup import Followup
from insights.grouping import NOT_RECORDED
from insights.history.schema import History
from insights.notes import Note, counted

PREFIX = "practice_"
KNOWN_BEFORE = ("model", "technician", "age_band", "condition", "root_cause", "earlier_repair")
"""Facts known before the repair that are adjusted for by default, with the calendar."""
MAY_ADJUST = (
    *KNOWN_BEFORE,
    "earlier_work",
    "upstream_cause",
    "repair_number",
    "month",
    "quarter",
    "year",
)
"""``earlier_work`` is found before the repair is chosen, but only on units repaired before: asked
for, it stands in for part of ``earlier_repair``, so it is not there by default."""
MOST_QUARTERS = 8
LEFT_UNDONE = frozenset(
    {"left", "one", "no", "none", "not", "not_done", "skipped", "kept", "old", "without", "off"}
)


@dataclass(frozen=True)
class Question:
    """A question that the record can be asked.

    Parameters
    ----------
    column
        The practice's column.
    level, against
        The two ways of working.
    day
        The day up to which risks are compared.
    population
        Whose jobs.
    cause, control_causes
        The root cause asked about (None: all), and those that the practice can't touch.
    covariates
        What to adjust for.
    arm
        Of every episode: 1 ``level``, 0 ``against``, -1 neither.
    switch
        The day on which everyone changed, where there is one.
    notes
        What was left out or chosen on the way.
    """

    column: str
    level: str
    against: str
    day: float
    population: Population
    cause: str | None
    control_causes: tuple[str, ...]
    covariates: tuple[str, ...]
    arm: np.ndarray
    switch: Found | None
    notes: tuple[Note, ...]


def practice_column(history: History, name: str) -> str:
    """Find the column of a practice, given with or without its prefix.

    Raises
    ------
    RequestError
        The history records no such practice.
    """
    bare = name.removeprefix(PREFIX)
    if bare not in history.practices:
        known = ", ".join(history.practices) or "none"
        raise RequestError(f"No practice '{bare}' is recorded. Recorded practices: {known}.")
    return PREFIX + bare


def choose_levels(values: pd.Series, level: str | None, against: str | None) -> tuple[str, str]:
    """Choose the two ways of working to compare.

    Parameters
    ----------
    values
        The practice of every episode.
    level, against
        As asked; what is not given is chosen: the two most common levels, and of these as
        ``against`` the one that reads as left undone, or else the more common one.

    Raises
    ------
    RequestError
        A level was never recorded, or both are the same.
    EvidenceError
        Only one level was ever recorded.
    """
    tally = values.astype(str).value_counts()
    tally = tally[(tally > 0) & (tally.index != NOT_RECORDED)]
    known = [str(name) for name in tally.index]
    listed = ", ".join(f"{name} ({tally[name]} jobs)" for name in known) or "none"
    for given in (level, against):
        if given is not None and given not in known:
            raise RequestError(f"No job has the level '{given}'. Recorded levels: {listed}.")
    if level is not None and level == against:
        raise RequestError(f"'{level}' is compared with itself. Give two levels of: {listed}.")
    if len(known) < 2:
        raise EvidenceError(
            f"Every job on record was done the same way: {listed}. Nothing can be compared until "
            "some are done otherwise; a bench trial would do it fairly."
        )
    return _pick(known, level, against)


def _pick(known: list[str], level: str | None, against: str | None) -> tuple[str, str]:
    if level is not None and against is not None:
        return level, against
    if against is not None:
        return next(name for name in known if name != against), against
    rest = [name for name in known if name != level][: 2 if level is None else None]
    undone = [name for name in rest if name.lower() in LEFT_UNDONE]
    against = (undone or rest)[0]
    return (level or next(name for name in rest if name != against)), against


def choose_covariates(
    followup: Followup, column: str, arm: np.ndarray, adjust: Sequence[str] | None, switched: bool
) -> tuple[tuple[str, ...], tuple[Note, ...]]:
    """Choose what to adjust for, and say what was left out.

    Parameters
    ----------
    followup
        The episodes.
    column
        The practice's column.
    arm
        Of every episode.
    adjust
        Names as asked; None takes :data:`KNOWN_BEFORE` and the calendar.
    switched
        Whether the practice was switched on at one date; the calendar is then the practice.

    Raises
    ------
    RequestError
        A name is not a fact known before the repair.
    """
    notes: list[Note] = []
    if adjust is None:
        wanted = [*KNOWN_BEFORE, *([] if switched else [_calendar(followup)])]
    else:
        wanted = list(dict.fromkeys(adjust))
        for name in wanted:
            _check_before(followup, name, column)
            if name.startswith(PREFIX):
                notes.append(_decided_together(name))
    kept, constant = [], []
    for name in wanted:
        values = followup.values(name)[arm >= 0]
        if values.nunique() < 2:
            constant.append(name)
            continue
        kept.append(name)
        missing = int((values == NOT_RECORDED).sum())
        if missing:
            notes.append(
                Note(
                    "missing_covariate",
                    f"{counted(missing, 'job has', 'jobs have')} no {name} recorded; such jobs are "
                    "compared as a group of their own.",
                    missing,
                )
            )
    if constant and adjust is not None:
        notes.append(
            Note(
                "constant_covariate",
                f"Alike on all jobs, so not adjusted for: {', '.join(constant)}.",
            )
        )
    return tuple(kept), tuple(notes)


def _check_before(followup: Followup, name: str, column: str) -> None:
    if name == column:
        raise RequestError(
            f"'{name}' is the practice itself. Leave it out of what is adjusted for."
        )
    families = [
        str(heading)
        for heading in followup.history.jobs.columns
        if str(heading).startswith((PREFIX, "lot_")) and heading != column
    ]
    allowed = (*MAY_ADJUST, *families)
    if name not in allowed:
        raise RequestError(
            f"Can't adjust for '{name}': only what was known before the repair may adjust, never "
            "readings, times, money or decisions that came after, because the practice may have "
            f"changed them. Choose among: {', '.join(allowed)}."
        )


def _decided_together(name: str) -> Note:
    return Note(
        "decided_together",
        f"{name.removeprefix(PREFIX)} was decided in the same repair. Adjusted for, the answer is "
        "about the practice with that one held as it was; it misleads if one led to the other.",
    )


def _calendar(followup: Followup) -> str:
    quarters = followup.values("quarter").nunique()
    return "quarter" if quarters <= MOST_QUARTERS else "year"


def check_population(population: str) -> Population:
    """Read the name of a population.

    Raises
    ------
    RequestError
        There is none of that name.
    """
    for known in POPULATIONS:
        if population == known:
            return known
    raise RequestError(f"population is '{population}'. Choose one of: {', '.join(POPULATIONS)}.")


def check_causes(
    known: Sequence[str], cause: str | None, control_causes: Sequence[str] | None
) -> tuple[str, ...]:
    """Read the causes asked about.

    Raises
    ------
    RequestError
        A cause never brought a unit back, or the cause asked about is also said to be untouched.
    """
    control = tuple(dict.fromkeys(control_causes or ()))
    for name in (*([] if cause is None else [cause]), *control):
        if name not in known:
            raise RequestError(
                f"No comeback has the root cause '{name}'. Recorded: {', '.join(known) or 'none'}."
            )
    if cause in control:
        raise RequestError(
            f"'{cause}' is asked about and also named as a cause that the practice can't touch. "
            "Take it out of one of the two."
        )
    return control
