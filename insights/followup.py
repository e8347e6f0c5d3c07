"""The clock: from who was handed back when, to days until a comeback. All of its rules."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.grouping import groupable, grouped
from insights.history.schema import ENDINGS, History
from insights.history.terms import reported_inside
from insights.history.units import Links, link_units
from insights.notes import Note, counted

Follow = Literal["covered", "all"]
Count = Literal["all", "faults", "covered"]

FOLLOWS: tuple[Follow, ...] = ("covered", "all")
COUNTS: tuple[Count, ...] = ("all", "faults", "covered")
GRACE_DAYS = 14
SAME_DAY = 0.5
UNKNOWN = "unknown"
NOT_A_FAULT = ("no_fault_found", "misuse")

ENDS = ("return", "uncounted_return", *ENDINGS, "term", "data_date")
"""How an episode can end; the first is the event, the endings compete with it."""

PROBLEM_COLUMNS = ("job_id", "column", "value", "problem", "remedy")


@dataclass(frozen=True)
class Followup:
    """Every hand-back followed to its first end.

    Parameters
    ----------
    history
        The jobs behind it.
    links
        Which jobs are the same unit.
    episodes
        One row per hand-back, in order of unit and date: ``job`` (row of ``history.jobs``),
        ``unit`` (whole number), ``repair_number`` (1 for the unit's first hand-back),
        ``days`` from hand-back to the end (0.5 for the same day; 0 only where the hand-back is
        the data date itself), ``end`` (one of :data:`ENDS`), ``cause`` (root cause of the
        counted comeback, ``unknown`` where it was not recorded, missing where there was none),
        ``return_job`` (row of the job that closed it, -1 where none did), ``served_days``
        (whole days the unit was out of our hands before this hand-back, since its first).
    data_date
        The day up to which the history is complete.
    follow, count, grace_days
        The rules in force (see :func:`follow_up`).
    problems
        Contradictions found, one row each, under :data:`PROBLEM_COLUMNS`; the episodes they
        touch are left out.
    notes
        What a reader should know.
    """

    history: History
    links: Links
    episodes: pd.DataFrame
    data_date: pd.Timestamp
    follow: Follow
    count: Count
    grace_days: int
    problems: pd.DataFrame
    notes: tuple[Note, ...] = ()

    @property
    def job_count(self) -> int:
        """How many hand-backs are followed."""
        return len(self.episodes)

    @property
    def unit_count(self) -> int:
        """How many units they belong to."""
        return int(self.episodes["unit"].nunique())

    @property
    def return_count(self) -> int:
        """How many comebacks count."""
        return int((self.episodes["end"] == ENDS[0]).sum())

    @property
    def groupable(self) -> tuple[str, ...]:
        """Names that :meth:`values` takes: columns with short lists of values, and derived ones."""
        return groupable(self.history.jobs)

    def values(self, name: str) -> pd.Series:
        """Group every episode by a fact about its own job.

        Parameters
        ----------
        name
            One of :attr:`groupable`.

        Returns
        -------
        pandas.Series
            Categorical, one value an episode, in the order of ``episodes``; a missing value
            reads ``(not recorded)``.

        Raises
        ------
        RequestError
            There is no such column, or it is not one to group by.
        """
        if name not in self.groupable:
            raise RequestError(
                f"Can't group by '{name}'. Columns that can be: {', '.join(self.groupable)}."
            )
        return grouped(self.history.jobs, self.episodes, name)


def follow_up(
    history: History,
    *,
    data_date: str | pd.Timestamp | None = None,
    follow: Follow = "covered",
    count: Count = "faults",
    grace_days: int = GRACE_DAYS,
    links: Links | None = None,
) -> Followup:
    """Start the clock at every hand-back and stop it at the first end.

    An episode opens at each hand-back and ends at the first of: the ``received`` day of the
    unit's next job; the day the unit left service; the end of its own term plus grace
    (``follow="covered"`` only); the data date. On one day a comeback goes before leaving
    service, and both before a term's end. A comeback that does not count closes the episode as
    censored. Bench days are not at risk, and a unit's next episode starts at zero.

    Parameters
    ----------
    history
        The jobs.
    data_date
        The day up to which the history is complete; the default is the latest arrival or
        hand-back recorded.
    follow
        ``covered`` stops each clock at the end of that job's own term plus grace, because
        owners stop bringing units back when cover ends; a job without a recorded term is
        followed to the data date, and a note says how many. ``all`` ignores terms.
    count
        Which comebacks are events: ``all``; ``faults`` (not no_fault_found, not misuse);
        ``covered`` (decision covered, or pending or not recorded and reported inside the term).
    grace_days
        Days after a term's end in which a covered unit can still arrive.
    links
        Which jobs are the same unit; worked out by
        :func:`insights.history.units.link_units` when not given.

    Returns
    -------
    Followup

    Raises
    ------
    RequestError
        An unknown rule, a negative grace, or no hand-back on or before the data date.

    Notes
    -----
    Days are whole days from hand-back to the end; a comeback on the day of hand-back counts
    as 0.5, so that it has a time after zero. Dates that contradict each other are reported in
    ``problems`` and left out of ``episodes``; nothing is repaired.
    """
    check_rules(follow, count, grace_days)
    links = link_units(history) if links is None else links
    until = _data_date(history, data_date)
    ordered = _in_order(history, links)
    problems, usable = _contradictions(ordered, until)
    usable &= (ordered["handed_back"] <= until).to_numpy()
    rows = ordered[usable]
    del ordered  # there is no room for both of many millions of rows
    rows.index = pd.RangeIndex(len(rows))
    episodes = _episodes(rows, until, follow, count, grace_days)
    if episodes.empty:
        raise nothing_to_follow(until)
    return Followup(
        history=history,
        links=links,
        episodes=episodes,
        data_date=until,
        follow=follow,
        count=count,
        grace_days=grace_days,
        problems=problems,
        notes=_remarks(history, links, episodes, problems, follow),
    )


def select(
    followup: Followup,
    *,
    since: str | pd.Timestamp | None = None,
    until: str | pd.Timestamp | None = None,
    where: dict[str, tuple[str, ...]] | None = None,
) -> Followup:
    """Keep some of the hand-backs, each with the clock it already has.

    Parameters
    ----------
    followup
        The whole follow-up. Units were linked and clocks stopped on all jobs, so a filter
        never hides the comeback of a job that it keeps.
    since, until
        First and last day of hand-back.
    where
        For each column of :attr:`Followup.groupable`, the values to keep.

    Returns
    -------
    Followup

    Raises
    ------
    RequestError
        An unknown column or date, or nothing is left.
    """
    handed_back = followup.history.jobs["handed_back"].take(followup.episodes["job"]).to_numpy()
    keep = np.ones(followup.job_count, dtype=bool)
    if since is not None:
        keep &= handed_back >= as_day(since, "since").to_datetime64()
    if until is not None:
        keep &= handed_back <= as_day(until, "until").to_datetime64()
    for name, wanted in (where or {}).items():
        values = followup.values(name)
        unknown = [value for value in wanted if value not in values.cat.categories]
        if unknown:
            raise RequestError(
                f"No job has {name} = {', '.join(unknown)}. "
                f"Recorded: {', '.join(map(str, values.cat.categories[:20]))}."
            )
        keep &= values.isin(wanted).to_numpy()
    if not keep.any():
        raise nothing_left()
    episodes = followup.episodes[keep].reset_index(drop=True)
    # What is remarked must be true of the hand-backs kept, not of those left out.
    notes = _remarks(followup.history, followup.links, episodes, followup.problems, followup.follow)
    return replace(followup, episodes=episodes, notes=notes)


def as_day(value: str | pd.Timestamp, what: str) -> pd.Timestamp:
    """Read one ISO day given by the user.

    Raises
    ------
    RequestError
        It is not an ISO 8601 date.
    """
    if isinstance(value, pd.Timestamp):
        return value.normalize()
    try:
        return pd.to_datetime(value, format="%Y-%m-%d")
    except ValueError:
        raise RequestError(
            f"The {what} '{value}' is not a date. Write it as year-month-day, like 2026-03-09."
        ) from None


def check_rules(follow: str, count: str, grace_days: int) -> None:
    """Refuse unknown rules.

    Raises
    ------
    RequestError
        An unknown rule, or a negative grace.
    """
    if follow not in FOLLOWS:
        raise RequestError(f"follow is '{follow}'. Choose one of: {', '.join(FOLLOWS)}.")
    if count not in COUNTS:
        raise RequestError(f"count is '{count}'. Choose one of: {', '.join(COUNTS)}.")
    if grace_days < 0:
        raise RequestError(f"grace_days is {grace_days}. Give zero or more days.")


def nothing_to_follow(until: pd.Timestamp) -> RequestError:
    """Say that no hand-back lies before the data date."""
    return RequestError(
        f"No unit was handed back on or before the data date {until:%Y-%m-%d}. "
        "Give a later data date, or a history with hand-backs."
    )


def no_job() -> RequestError:
    """Say that there is nothing at all."""
    return RequestError("The history holds no job, so there is nothing to follow.")


def nothing_left() -> RequestError:
    """Say that a filter keeps nothing."""
    return RequestError("The filter leaves no hand-back. Widen its dates or values.")


def _data_date(history: History, given: str | pd.Timestamp | None) -> pd.Timestamp:
    if given is not None:
        return as_day(given, "data date")
    latest = history.jobs[["received", "handed_back"]].max().max()
    if pd.isna(latest):
        raise no_job()
    return pd.Timestamp(latest)


def _in_order(history: History, links: Links) -> pd.DataFrame:
    """Line up each unit's jobs in time, each beside the one after it."""
    jobs = history.jobs
    unit = np.asarray(links.unit_of_job)
    received = jobs["received"].to_numpy()
    # An empty hand-back is later than any date, so it sorts last among same-day arrivals.
    handed_back = jobs["handed_back"].to_numpy()
    order = np.lexsort((np.arange(len(jobs)), handed_back, received, unit))
    wanted = [
        "job_id",
        "received",
        "handed_back",
        "term_days",
        "ended_on",
        "ended_how",
        "notified",
        "relation",
        "decision",
        "root_cause",
    ]
    ordered = jobs[wanted].take(order)
    ordered.index = pd.RangeIndex(len(ordered))  # in place: of many millions of rows
    ordered["job"], ordered["unit"] = order, unit[order]
    same_unit = np.append(ordered["unit"].to_numpy()[1:] == ordered["unit"].to_numpy()[:-1], False)
    # Of the next row, whosever unit it is: read only where that job closed the episode.
    ordered["return_job"] = np.append(order[1:], -1)
    ordered["next_received"] = ordered["received"].shift(-1).where(same_unit)
    ordered["next_notified"] = ordered["notified"].shift(-1).where(same_unit)
    for name in ("relation", "decision", "root_cause"):
        ordered[f"next_{name}"] = ordered[name].shift(-1).where(same_unit)
    return ordered


def _contradictions(ordered: pd.DataFrame, until: pd.Timestamp) -> tuple[pd.DataFrame, np.ndarray]:
    """List the dates that can't all be true, and which rows can still open an episode."""
    open_job = ordered["handed_back"].isna() & ordered["ended_on"].isna()
    overlap = ordered["next_received"] < ordered["handed_back"]
    two_open = open_job & ordered["next_received"].notna()
    ended_early = ordered["ended_on"] < ordered["handed_back"]
    back_early = ordered["handed_back"] < ordered["received"]
    found = [
        (
            overlap,
            "next_received",
            "the unit arrived again before this job handed it back",
            "correct one of the two dates, or say that these are two units",
        ),
        (
            two_open,
            "next_received",
            "the unit arrived again while this job was still open",
            "enter this job's hand-back, or say that these are two units",
        ),
        (
            ended_early,
            "ended_on",
            "the unit left service before it was handed back",
            "correct one of the two dates",
        ),
        (
            back_early,
            "handed_back",
            "the unit was handed back before it arrived",
            "correct one of the two dates",
        ),
        *(
            (
                rows,
                name,
                f"the job has a date after the data date {until:%Y-%m-%d}",
                "correct the date, or give a later data date",
            )
            for name, rows in _after(ordered, until)
        ),
    ]
    lines = [
        pd.DataFrame(
            {
                "job_id": ordered["job_id"][rows],
                "column": name.removeprefix("next_"),
                "value": ordered[name][rows].dt.strftime("%Y-%m-%d"),
                "problem": problem,
                "remedy": remedy,
            }
        )
        for rows, name, problem, remedy in found
        if rows.any()
    ]
    problems = (
        pd.concat(lines).sort_index(kind="stable").reset_index(drop=True)
        if lines
        else pd.DataFrame({name: [] for name in PROBLEM_COLUMNS})
    )
    return problems, (~(overlap | ended_early | back_early)).to_numpy()


def _after(ordered: pd.DataFrame, until: pd.Timestamp) -> Iterator[tuple[str, pd.Series]]:
    """Find jobs with a date after the data date: once each, under the first such date."""
    named = pd.Series(False, index=ordered.index)
    for name in ("received", "handed_back", "ended_on", "notified"):
        late = (ordered[name] > until) & ~named
        named |= late
        yield name, late


def _episodes(
    rows: pd.DataFrame,
    until: pd.Timestamp,
    follow: Follow,
    count: Count,
    grace_days: int,
) -> pd.DataFrame:
    """Find the first end of each hand-back; one row each, in order of unit and date."""
    start = rows["handed_back"]
    one_day = pd.Timedelta(days=1)

    def days_to(end: pd.Series) -> np.ndarray:
        return ((end - start) / one_day).to_numpy(dtype=float, na_value=np.inf)

    back = days_to(rows["next_received"])
    ended = days_to(rows["ended_on"])
    data_end = days_to(pd.Series(until, index=rows.index))
    back[back > data_end] = np.inf
    ended[ended > data_end] = np.inf
    back[back == 0] = SAME_DAY
    ended[ended == 0] = SAME_DAY
    covered = np.full(len(rows), np.inf)
    if follow == "covered":
        covered = (rows["term_days"] + grace_days).fillna(np.inf).to_numpy()

    # First of these wins a tie: a comeback, leaving service, the term's end, the data date.
    # Same-day ends sit half a day in, but must still win over a data date on that very day.
    candidates = np.column_stack([back, ended, covered, np.maximum(data_end, 0)])
    ranked = np.where(candidates == SAME_DAY, 0, candidates)
    first = ranked.argmin(axis=1)
    days = candidates[np.arange(len(rows)), first]

    how = rows["ended_how"].astype(object).where(rows["ended_how"].notna(), ENDINGS[0])
    counted = _counted(rows, count)
    end = np.select(
        [(first == 0) & counted, first == 0, first == 1, first == 2],
        [ENDS[0], ENDS[1], how.to_numpy(dtype=object), "term"],
        default="data_date",
    )
    event = end == ENDS[0]
    cause = rows["next_root_cause"].astype("category")
    if UNKNOWN not in cause.cat.categories:
        cause = cause.cat.add_categories([UNKNOWN])
    cause = cause.fillna(UNKNOWN).where(event)
    repair_number = rows.groupby("unit", sort=False).cumcount() + 1
    return pd.DataFrame(
        {
            "job": rows["job"],
            "unit": rows["unit"],
            "repair_number": repair_number,
            "days": days,
            "end": pd.Categorical(end, categories=ENDS),
            "cause": cause.cat.remove_unused_categories(),
            "return_job": np.where(first == 0, rows["return_job"], -1),
            "served_days": _served_days(rows, np.minimum(back, data_end)),
        }
    )


def _served_days(rows: pd.DataFrame, out_days: np.ndarray) -> np.ndarray:
    """Sum the whole days a unit was out of our hands before each hand-back."""
    whole = pd.Series(np.floor(out_days))
    before = whole.groupby(rows["unit"].to_numpy(), sort=False).cumsum() - whole
    return before.to_numpy()


def _counted(rows: pd.DataFrame, count: Count) -> np.ndarray:
    if count == "all":
        return np.ones(len(rows), dtype=bool)
    if count == "faults":
        return ~rows["next_relation"].isin(NOT_A_FAULT).to_numpy()
    in_term = reported_inside(
        rows["handed_back"], rows["term_days"], rows["next_notified"], rows["next_received"]
    )
    undecided = rows["next_decision"].isna() | (rows["next_decision"] == "pending")
    return ((rows["next_decision"] == "covered") | (undecided & in_term)).to_numpy()


def _remarks(
    history: History,
    links: Links,
    episodes: pd.DataFrame,
    problems: pd.DataFrame,
    follow: Follow,
) -> tuple[Note, ...]:
    notes = []
    if history.refused_count:
        notes.append(
            Note(
                "refused",
                f"{counted(history.refused_count, 'row')} of the source could not be used and "
                f"{'is' if history.refused_count == 1 else 'are'} missing here; the check of the "
                "source says why.",
                history.refused_count,
            )
        )
    if links.doubtful:
        many = links.doubtful != 1
        notes.append(
            Note(
                "doubtful_units",
                f"{counted(links.doubtful, 'pair')} of jobs may be one unit{' each' * many} and "
                f"{'are' if many else 'is'} taken for two, so as many comebacks may be missing "
                "here; the check of the source lists them.",
                links.doubtful,
            )
        )
    termless = int(history.jobs["term_days"].take(episodes["job"]).isna().sum())
    said = remarks(
        follow,
        termless=termless,
        termed=len(episodes) - termless,
        problems=len(problems),
        unknown=int((episodes["cause"] == UNKNOWN).sum()),
    )
    return (*notes, *said)


def remarks(
    follow: Follow, *, termless: int, termed: int, problems: int, unknown: int
) -> tuple[Note, ...]:
    """Say what a reader of a follow-up should know.

    Parameters
    ----------
    follow
        The rule in force.
    termless, termed
        Hand-backs without a recorded term, and with one.
    problems
        Dates that contradict each other.
    unknown
        Counted comebacks without a recorded root cause.
    """
    notes = []
    if follow == "all" and termed:
        notes.append(
            Note(
                "terms_ignored",
                "Comebacks after a job's own term are counted as if it still ran, but owners bring "
                "fewer units back once cover ends: what is said of later days reads too low. "
                "Follow each job inside its own term to avoid that.",
            )
        )
    if follow == "covered" and termless:
        notes.append(
            Note(
                "no_term",
                f"{counted(termless, 'job has', 'jobs have')} no warranty term recorded, so "
                f"{'it is' if termless == 1 else 'they are'} followed to the data date.",
                termless,
            )
        )
    if problems:
        notes.append(
            Note(
                "contradictions",
                f"{counted(problems, 'date contradicts another', 'dates contradict each other')}; "
                "the list says which and why.",
                problems,
            )
        )
    if unknown:
        notes.append(
            Note(
                "unknown_cause",
                f"{counted(unknown, 'comeback has', 'comebacks have')} no root cause recorded.",
                unknown,
            )
        )
    return tuple(notes)
