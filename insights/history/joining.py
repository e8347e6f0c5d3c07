"""From odds between records to units: rival claims, and joins that can't be."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.history.cards import Cards, Records
from insights.history.serials import slips

MOST_SLIPS = 2

BLOCKED = {
    "time": "but it would have been on the bench twice at once",
    "serials": "but it would join units whose serials are clearly different",
    "repeated": "but each of the two serials came more than once",
}
PERSON = "person"
"""The obstacle of units that a person said are two: no doubt is left."""


@dataclass
class Units:
    """Records joined so far.

    Parameters
    ----------
    parent
        Union-find parents by record; a unit's root is its lowest record.
    cards
        Cards by root, in order of arrival, for roots looked at so far.
    """

    all_cards: Cards
    records: Records
    apart: dict[int, set[int]]
    parent: np.ndarray
    jobs: np.ndarray
    cards: dict[int, np.ndarray] = field(default_factory=dict)

    @classmethod
    def of(cls, cards: Cards, records: Records, apart: dict[int, set[int]]) -> Units:
        """Start with every record its own unit."""
        return cls(cards, records, apart, np.arange(len(records)), records.jobs.copy())

    def roots(self) -> np.ndarray:
        """Root of every record."""
        while True:
            up = self.parent[self.parent]
            if np.array_equal(up, self.parent):
                return up
            self.parent = up

    def root(self, record: int) -> int:
        """Root of one record."""
        while self.parent[record] != record:
            record = int(self.parent[record])
        return record

    def cards_of(self, root: int) -> np.ndarray:
        """Cards of one unit, in order of arrival."""
        if root not in self.cards:
            self.cards[root] = self.records.of(root)
        return self.cards[root]

    def join(self, one: int, other: int) -> None:
        """Make two units one."""
        low, high = sorted((self.root(one), self.root(other)))
        if low == high:
            return
        self.cards[low] = np.sort(np.concatenate((self.cards_of(low), self.cards_of(high))))
        self.parent[high] = low
        self.jobs[low] += self.jobs[high]

    def obstacle(self, one: int, other: int) -> str:
        """Say why two units can't be one: a key of ``BLOCKED``, ``PERSON``, or nothing."""
        mine, theirs = self.cards_of(one), self.cards_of(other)
        if self.kept_apart(one, other):
            return PERSON
        if self._overlap(mine, theirs):
            return "time"
        return self._serials_clash(mine, theirs)

    def kept_apart(self, one: int, other: int) -> bool:
        """Whether a person said that two units are not one."""
        if not self.apart:
            return False
        others = set(self.cards_of(other).tolist())
        return any(self.apart.get(card, set()) & others for card in self.cards_of(one).tolist())

    def _overlap(self, mine: np.ndarray, theirs: np.ndarray) -> bool:
        together = np.concatenate((mine, theirs))
        side = np.repeat((0, 1), (len(mine), len(theirs)))
        order = np.argsort(together)
        together, side = together[order], side[order]
        meets = side[1:] != side[:-1]
        free = self.all_cards.free[together[:-1]]
        return bool((meets & (self.all_cards.received[together[1:]] < free)).any())

    def _serials_clash(self, mine: np.ndarray, theirs: np.ndarray) -> str:
        counts = [_serial_counts(self.all_cards.serial[cards]) for cards in (mine, theirs)]
        for serial, times in counts[0].items():
            for another, often in counts[1].items():
                if serial == another:
                    continue
                if slips(np.array([serial]), np.array([another]))[0] > MOST_SLIPS:
                    return "serials"
                if times > 1 and often > 1:
                    return "repeated"
        return ""


def _serial_counts(serials: np.ndarray) -> dict[str, int]:
    counts: dict[str, int] = {}
    for serial in serials:
        if serial is not None:
            counts[serial] = counts.get(serial, 0) + 1
    return counts


def join_records(units: Units, candidates: pd.DataFrame, link_at: float) -> pd.DataFrame:
    """Join records that are surely one unit, the surest first, until none is left.

    Parameters
    ----------
    units
        Changed in place: the records joined so far, a person's decisions among them.
    candidates
        One row per pair: ``first`` and ``second`` record, ``odds``.
    link_at
        Probability from which two are joined.

    Returns
    -------
    pandas.DataFrame
        ``pair`` (row of ``candidates``), ``probability``, ``linked``, ``obstacle`` (key of
        ``BLOCKED``, ``PERSON``, or empty), ``rivals`` (how many other units lay claim): a row per
        pair joined and, for the pairs of units left apart, the strongest pair of records of each.

    Notes
    -----
    A unit is one unit only: of two that lay claim to each other the one with fewer jobs (then
    the one without serial, then the later) claims, and its probability of being any of the
    units it could be is shared out in proportion to their odds, with odds 1 for none of them.
    So two identical units of one customer never both swallow a job without serial.
    """
    joined = []
    blocked: dict[tuple[int, int], str] = {}
    while True:  # each round joins or rules out at least one pair, so it ends
        claims = _claims(units, candidates, blocked)
        best = claims[claims["best"] & (claims["probability"] >= link_at)]
        if best.empty:
            break
        done = _join_best(units, best, blocked)
        joined.append(best[done].assign(linked=True, obstacle=""))
    left = _claims(units, candidates, {})
    obstacles = [
        PERSON if units.kept_apart(low, high) else blocked.get((low, high), "")
        for low, high in zip(left["low"], left["high"], strict=True)
    ]
    left = left.assign(linked=False, obstacle=obstacles)
    return pd.concat([*joined, left], ignore_index=True)[
        ["pair", "probability", "linked", "obstacle", "rivals"]
    ]


def _join_best(units: Units, best: pd.DataFrame, blocked: dict[tuple[int, int], str]) -> np.ndarray:
    done = np.zeros(len(best), dtype=bool)
    for row, (low, high) in enumerate(zip(best["low"], best["high"], strict=True)):
        one, other = units.root(low), units.root(high)
        if one == other:
            continue
        obstacle = units.obstacle(one, other)
        if obstacle:
            blocked[low, high] = obstacle
        else:
            units.join(one, other)
            done[row] = True
    return done


def _claims(
    units: Units, candidates: pd.DataFrame, blocked: dict[tuple[int, int], str]
) -> pd.DataFrame:
    """Say who could be whom among the units as they stand, the surest claim first."""
    roots = units.roots()
    one = roots[candidates["first"].to_numpy()]
    other = roots[candidates["second"].to_numpy()]
    claims = pd.DataFrame(
        {
            "low": np.minimum(one, other),
            "high": np.maximum(one, other),
            "odds": candidates["odds"].to_numpy(),
            "pair": np.arange(len(candidates)),
        }
    )
    claims = claims[one != other].sort_values(["odds", "pair"], ascending=[False, True])
    claims = claims.drop_duplicates(["low", "high"])
    if blocked:
        refused = pd.MultiIndex.from_tuples(list(blocked))
        claims = claims[~pd.MultiIndex.from_frame(claims[["low", "high"]]).isin(refused)]
    claimant = _claimant(units, claims["low"].to_numpy(), claims["high"].to_numpy())
    by_claimant = claims.groupby(claimant, sort=False)["odds"]
    total = by_claimant.transform("sum")
    claims = claims.assign(
        probability=claims["odds"] / (1 + total),
        rivals=by_claimant.transform("size") - 1,
        best=by_claimant.cumcount() == 0,
    )
    return claims.sort_values(["probability", "pair"], ascending=[False, True])


def _claimant(units: Units, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    jobs = units.jobs
    bare = units.all_cards.bare[units.records.first]
    low_claims = (jobs[low] < jobs[high]) | ((jobs[low] == jobs[high]) & bare[low] & ~bare[high])
    return np.where(low_claims, low, high)


def contradicting(job_id: str, earlier_job_id: str) -> RequestError:
    """Say that two jobs are kept apart by one decision and made one by others."""
    return RequestError(
        f"The decisions contradict each other: jobs {earlier_job_id} and {job_id} are said to be "
        "different units, but other decisions make them one. Withdraw one of them."
    )
