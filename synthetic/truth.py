"""What is true of an invented history: what a perfect analysis would find."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from synthetic.expected import Count, Ends, cumulative_share, expected_ends
from synthetic.hazards import with_practices
from synthetic.scenario import MISUSE, NO_FAULT_FOUND, Leaving, Returning, Scenario
from synthetic.visits import Facts

Follow = Literal["covered", "all"]
Population = Literal["all", "treated", "untreated"]
GRACE_DAYS = 14
TOTAL = "all causes"


@dataclass(frozen=True)
class Truth:
    """The truth behind a history, in the order of its jobs.

    Every figure is worked out from the hazards that made the history, given what each job really
    was (its unit's frailty, its lot, its unrecorded severity): nothing is simulated.

    Parameters
    ----------
    scenario
        What the history was made from.
    facts
        What each job really was: arrays of shape (jobs,), among them ``unit``, ``visit``,
        ``age_years``, ``condition``, ``severity``, ``handed_back`` (days from the first day, NaN:
        never), ``done_<practice>``, ``applies_<practice>``, ``slip_<practice>``, ``lot_<part>``
        (number, 0: none fitted).
    base
        Hazard multipliers by cause without any practice, shape (jobs, causes).
    """

    scenario: Scenario
    facts: Facts
    base: np.ndarray

    @property
    def unit_of_job(self) -> np.ndarray:
        """Which unit each job truly was, shape (jobs,)."""
        return self.facts["unit"]

    @property
    def data_date(self) -> pd.Timestamp:
        """The day up to which the history is complete."""
        return pd.Timestamp(self.scenario.first_day) + pd.Timedelta(days=self.scenario.days)

    @property
    def confounded(self) -> bool:
        """Did a severity that nobody recorded drive both practices and comebacks."""
        return self.scenario.confounded

    @property
    def handed_back(self) -> np.ndarray:
        """Which jobs are hand-backs, and so can come back, shape (jobs,)."""
        return np.isfinite(self.facts["handed_back"])

    def done(self, practice: str) -> np.ndarray:
        """Say on which jobs a practice was truly done, shape (jobs,)."""
        self.scenario.practice(practice)
        return self.facts[f"done_{practice}"]

    def bad_lot_jobs(self, part: str) -> np.ndarray:
        """Say which jobs got a part of a bad lot, shape (jobs,)."""
        bad = [one.bad_lots for one in self.scenario.parts if one.name == part]
        if not bad:
            known = ", ".join(one.name for one in self.scenario.parts) or "none"
            raise KeyError(f"No part '{part}' in this scenario. Known: {known}.")
        return np.isin(self.facts[f"lot_{part}"], bad[0]) & self.handed_back

    def slip_jobs(self, practice: str) -> np.ndarray:
        """Say which jobs fell into a slip of a practice, shape (jobs,)."""
        self.scenario.practice(practice)
        return self.facts[f"slip_{practice}"] & self.handed_back

    def table(
        self,
        days: Sequence[int],
        *,
        follow: Follow = "covered",
        count: Count = "faults",
        grace_days: int = GRACE_DAYS,
        jobs: np.ndarray | None = None,
    ) -> pd.DataFrame:
        """Give the true share back by day, by root cause and in total.

        This is what Aalen–Johansen (and, without units that leave service, one minus
        Kaplan–Meier) on these hand-backs estimates, each followed exactly as the clock follows
        it: expected comebacks of a day over expected episodes still running, days in the post
        included, leaving service competing, uncounted comebacks censoring.

        Parameters
        ----------
        days
            Whole days after hand-back, rising.
        follow, count, grace_days
            The rules of the clock.
        jobs
            Which jobs to take, shape (jobs,), True or False; all hand-backs when not given.

        Returns
        -------
        pandas.DataFrame
            ``cause`` (``all causes`` first), ``day``, ``share``; NaN where no job is followed.
        """
        rows = self._rows(jobs)
        until = self._followed_days(rows, follow, grace_days)
        last = max(days)
        counted, left, running = 0.0, 0.0, 0.0
        for ends in self._ends(rows, last, count, self.facts["term_days"][rows]):
            at_risk = np.arange(1, last + 1) <= until[ends.jobs][:, None]
            counted = counted + (ends.counted * at_risk).sum(axis=1)
            left = left + (ends.left * at_risk).sum(axis=0)
            running = running + (ends.running * at_risk).sum(axis=0)
        shares = cumulative_share(np.asarray(counted), np.asarray(left), np.asarray(running))
        at = np.asarray(days) - 1
        lines = [(TOTAL, shares.sum(axis=0)[at])]
        lines += zip(self._ends_counted(count), shares[:, at], strict=True)
        return pd.concat(
            [pd.DataFrame({"cause": name, "day": days, "share": share}) for name, share in lines],
            ignore_index=True,
        )

    def share(
        self,
        day: int,
        *,
        follow: Follow = "covered",
        count: Count = "faults",
        jobs: np.ndarray | None = None,
    ) -> float:
        """Give the true share back by a day (see :meth:`table`)."""
        table = self.table([day], follow=follow, count=count, jobs=jobs)
        return float(table["share"].iloc[0])

    def cause_share(
        self,
        cause: str,
        day: int,
        *,
        follow: Follow = "covered",
        count: Count = "faults",
        jobs: np.ndarray | None = None,
    ) -> float:
        """Give the true share back by a day for one root cause (see :meth:`table`)."""
        place = _place(cause, self._ends_counted(count))
        table = self.table([day], follow=follow, count=count, jobs=jobs)
        return float(table["share"].iloc[1 + place])

    def job_risk(
        self,
        day: int,
        *,
        cause: str | None = None,
        count: Count = "faults",
        levels: Mapping[str, bool] | None = None,
        term_days: int | None = None,
    ) -> np.ndarray:
        """Give each hand-back's own chance of a counted comeback by a day.

        Parameters
        ----------
        day
            Whole days after hand-back.
        cause
            One root cause; any when not given.
        count
            Which comebacks count.
        levels
            Practices set by force: True done, False left; the others stay as they were.
        term_days
            A term for every job; cover that outlasts the day when not given.

        Returns
        -------
        numpy.ndarray
            Shape (jobs,), NaN for jobs that were not handed back.

        Raises
        ------
        KeyError
            No such cause.
        """
        rows = np.flatnonzero(self.handed_back)
        terms = np.full(len(rows), np.inf if term_days is None else float(term_days))
        names = self._ends_counted(count)
        wanted = slice(None) if cause is None else [_place(cause, names)]
        risk = np.full(len(self.base), np.nan)
        for ends in self._ends(rows, day, count, terms, levels):
            share = cumulative_share(ends.counted, ends.left, ends.running)
            risk[rows[ends.jobs]] = share[wanted, :, -1].sum(axis=0)
        return risk

    def practice_risk(
        self,
        name: str,
        level: str,
        day: int,
        *,
        population: Population = "all",
        cause: str | None = None,
        count: Count = "faults",
    ) -> float:
        """Give the true risk had a practice been done one way on all jobs of a population.

        The mean over the population's hand-backs of each one's own chance of a counted comeback
        by the day, days in the post included, had its cover lasted, with the practice set to
        the level and everything else as it was: the standardised risk.

        Parameters
        ----------
        name, level
            A practice and one of its two levels.
        day
            Whole days after hand-back.
        population
            ``all`` jobs the practice applies to, those on which it was done (``treated``), or
            those on which it was left (``untreated``).
        cause
            One root cause; any when not given.
        count
            Which comebacks count.

        Returns
        -------
        float
            NaN where the population is empty.

        Raises
        ------
        KeyError
            No such practice, level or cause.
        """
        practice = self.scenario.practice(name)
        if level not in (practice.done, practice.left):
            raise KeyError(f"No level '{level}'. Known: {practice.done}, {practice.left}.")
        members = self.handed_back & self.facts[f"applies_{name}"]
        if population != "all":
            members &= self.facts[f"done_{name}"] == (population == "treated")
        risk = self.job_risk(day, cause=cause, count=count, levels={name: level == practice.done})
        return float(risk[members].mean()) if members.any() else math.nan

    def practice_difference(
        self,
        name: str,
        day: int,
        *,
        population: Population = "all",
        cause: str | None = None,
        count: Count = "faults",
    ) -> float:
        """Give the true risk with a practice done less the risk with it left."""
        practice = self.scenario.practice(name)
        done, left = (
            self.practice_risk(name, level, day, population=population, cause=cause, count=count)
            for level in (practice.done, practice.left)
        )
        return done - left

    def fault_share(self, day: int) -> float:
        """Give the share that truly fails by a day, brought back or not, on the fault's own day."""
        everyone = replace(
            self.scenario,
            returning=Returning(),
            leaving=Leaving(yearly_share=self.scenario.leaving.yearly_share),
        )
        risk = replace(self, scenario=everyone).job_risk(day)
        return float(risk[self.handed_back].mean())

    def claims_to_come(self) -> np.ndarray:
        """Give the chance of a claim after the data date, for every job still out.

        Returns
        -------
        numpy.ndarray
            Shape (jobs,): the chance that a fault inside the job's own term brings the unit back
            after the data date, given that it had not come back (or left service on record) by
            then; 0 for every other job.
        """
        rows = self._rows(self._still_out())
        chance = np.zeros(len(self.base))
        terms = self.facts["term_days"][rows]
        if not len(rows):
            return chance
        age = (self.scenario.days - self.facts["handed_back"][rows]).astype(np.int64)
        last = int(terms.max()) + len(self.scenario.returning.post_days_shares)
        for ends in self._ends(rows, last, "covered", terms):
            later = np.arange(1, last + 1) > age[ends.jobs][:, None]
            to_come = (ends.counted.sum(axis=0) * later).sum(axis=1)
            running = np.concatenate([ends.running, ends.running[:, -1:]], axis=1)
            out = running[np.arange(len(later)), np.minimum(age[ends.jobs], last)]
            chance[rows[ends.jobs]] = to_come / out
        return chance

    def _still_out(self) -> np.ndarray:
        later = np.zeros(len(self.base), dtype=bool)
        order = np.lexsort((self.facts["visit"], self.unit_of_job))
        again = self.unit_of_job[order][:-1] == self.unit_of_job[order][1:]
        later[order[:-1][again]] = True
        return self.handed_back & ~later & ~np.isfinite(self.facts["left_on"])

    def _rows(self, jobs: np.ndarray | None) -> np.ndarray:
        return np.flatnonzero(self.handed_back if jobs is None else self.handed_back & jobs)

    def _followed_days(self, rows: np.ndarray, follow: Follow, grace_days: int) -> np.ndarray:
        until = self.scenario.days - self.facts["handed_back"][rows]
        if follow == "covered":
            until = np.minimum(until, self.facts["term_days"][rows] + grace_days)
        return until

    def _ends_counted(self, count: Count) -> tuple[str, ...]:
        names = self.scenario.cause_names
        return (*names, NO_FAULT_FOUND, MISUSE) if count == "all" else names

    def _ends(
        self,
        rows: np.ndarray,
        days: int,
        count: Count,
        term_days: np.ndarray,
        levels: Mapping[str, bool] | None = None,
    ) -> Iterator[Ends]:
        done = {
            practice.name: self.facts[f"done_{practice.name}"][rows]
            for practice in self.scenario.practices
        }
        for name, doing in (levels or {}).items():
            done[name] = self.facts[f"applies_{name}"][rows] & doing
        multipliers = with_practices(self.scenario, self.base[rows], done)
        return expected_ends(self.scenario, multipliers, term_days, days, count)


def _place(cause: str, names: Sequence[str]) -> int:
    if cause not in names:
        raise KeyError(f"No cause '{cause}'. Known: {', '.join(names)}.")
    return names.index(cause)
