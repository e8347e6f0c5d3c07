"""Into which group of a question a hand-back falls: by a recorded column or a derived fact."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from insights.history.schema import column

NOT_RECORDED = "(not recorded)"
DERIVED = {
    "month": "month of hand-back",
    "quarter": "quarter of hand-back",
    "year": "year of hand-back",
    "repair_number": "how many times the unit has been handed back",
    "age_band": "age of the unit in bands",
}
STEPS = ("condition", "term_days")
"""Numbers of which there are few: each is a group."""
AGE_BAND_EDGES_YEARS = (0, 2, 4, 6, 8, 12)


def groupable(jobs: pd.DataFrame) -> tuple[str, ...]:
    """Name what to group hand-backs by: columns with short lists of values, and derived facts.

    Parameters
    ----------
    jobs
        The jobs of a history.
    """
    named = [
        str(name)
        for name in jobs.columns
        if (described := column(str(name))) is not None
        and (described.kind in ("code", "choice") or name in STEPS)
    ]
    return (*named, *DERIVED)


def grouped(jobs: pd.DataFrame, episodes: pd.DataFrame, name: str) -> pd.Series:
    """Group every episode by a fact about its own job.

    Parameters
    ----------
    jobs
        The jobs of a history.
    episodes
        As in :class:`insights.followup.Followup`.
    name
        One of :func:`groupable`.

    Returns
    -------
    pandas.Series
        Categorical, one value an episode; a missing value reads ``(not recorded)``.
    """
    if name in DERIVED:
        return _as_recorded(_derived(jobs, episodes, name))
    values = jobs[name].take(episodes["job"].to_numpy()).reset_index(drop=True)
    return _as_recorded(_steps(values.to_numpy()) if name in STEPS else values)


def _as_recorded(values: pd.Series) -> pd.Series:
    """Keep the categories that occur, and give what is missing a name of its own."""
    # Counted, not sorted: with a million hand-backs that is most of the time of a grouping.
    codes, categories = values.cat.codes.to_numpy().astype(np.intp), values.cat.categories
    occurs = np.bincount(codes + 1, minlength=len(categories) + 1) > 0
    kept = categories[occurs[1:]]
    place = np.append(len(kept), np.cumsum(occurs[1:]) - 1)
    names = kept.append(pd.Index([NOT_RECORDED])) if occurs[0] else kept
    found = pd.Categorical.from_codes(place[codes + 1], names, ordered=values.cat.ordered)
    return pd.Series(found)


def _steps(numbers: np.ndarray) -> pd.Series:
    """Name each number that occurs, in their order."""
    steps = np.unique(numbers[~np.isnan(numbers)])
    codes = np.where(np.isnan(numbers), -1, np.searchsorted(steps, numbers))
    return pd.Series(pd.Categorical.from_codes(codes, [f"{step:.0f}" for step in steps]))


def _derived(jobs: pd.DataFrame, episodes: pd.DataFrame, name: str) -> pd.Series:
    job = episodes["job"].to_numpy()
    if name == "repair_number":
        number = episodes["repair_number"].clip(upper=3).map({1: "1", 2: "2", 3: "3+"})
        return number.astype("category")
    if name == "age_band":
        return _age_band(jobs["unit_age_years"].take(job).reset_index(drop=True))
    period = {"month": "M", "quarter": "Q", "year": "Y"}[name]
    handed_back = jobs["handed_back"].take(job).reset_index(drop=True)
    labels = handed_back.dt.to_period(period)
    codes, months = pd.factorize(labels, sort=True)
    return pd.Series(pd.Categorical.from_codes(codes, [str(month) for month in months]))


def age_band_labels() -> list[str]:
    """Name the bands of a unit's age, the youngest first."""
    edges = AGE_BAND_EDGES_YEARS
    labels = [f"{low} to {high} years" for low, high in itertools.pairwise(edges)]
    return [*labels, f"{edges[-1]} years and more"]


def _age_band(years: pd.Series) -> pd.Series:
    edges = [*AGE_BAND_EDGES_YEARS, np.inf]
    return pd.Series(
        pd.cut(years, edges, right=False, labels=age_band_labels()).cat.remove_unused_categories()
    )
