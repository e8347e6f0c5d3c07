"""Which units an arrival may be, read off the links between it and the jobs it is like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.history.cards import NEVER, Cards
from insights.history.matching import compare, pair_odds
from insights.history.reasons import reasons_of
from insights.history.units import REVIEW_FROM, Links


@dataclass(frozen=True)
class Likeness:
    """A unit that the arrival may be.

    Parameters
    ----------
    probability
        That it is.
    impossible
        By what the book says it is still on the bench, or left service.
    reasons
        For and against, in plain words.
    rows
        Its jobs, as rows of the history that was linked.
    """

    probability: float
    impossible: bool
    reasons: str
    rows: np.ndarray


def likenesses(links: Links) -> list[Likeness]:
    """List the units that an arrival may be.

    Parameters
    ----------
    links
        Worked out by :func:`insights.history.units.link_units` for jobs of which the last row is
        the arrival.

    Returns
    -------
    list of Likeness
        The likeliest first: the unit that the arrival was linked to, those in doubt, and those
        that it can't be by the dates but would be otherwise.
    """
    found = [*_linked(links), *_doubtful(links), *_impossible(links)]
    return sorted(found, key=lambda likeness: (likeness.impossible, -likeness.probability))


def _cards(links: Links) -> Cards:
    if links.evidence is None:
        raise ValueError("links without evidence do not say why")
    return links.evidence.cards


def _rows_of(links: Links, unit: int) -> np.ndarray:
    return np.flatnonzero(links.unit_of_job[:-1] == unit)


def _linked(links: Links) -> list[Likeness]:
    mates = _rows_of(links, links.unit_of_job[-1])
    if not len(mates):
        return []
    cards, pairs = _cards(links), links.pairs
    own = cards.job_id[cards.row == len(links.unit_of_job) - 1][0]
    surely = pairs["status"].isin(["linked", "decided"]) & (pairs["probability"] >= links.link_at)
    by = pairs[surely & ((pairs["job_id"] == own) | (pairs["earlier_job_id"] == own))]
    if by.empty:
        return [Likeness(1.0, False, _reasons(links, int(mates[-1])), mates)]
    return [Likeness(float(by["probability"].iloc[0]), False, str(by["reasons"].iloc[0]), mates)]


def _doubtful(links: Links) -> list[Likeness]:
    cards, unit = _cards(links), links.unit_of_job
    unit_of = dict(zip(cards.job_id, unit[cards.row], strict=True))
    found: dict[int, Likeness] = {}
    for pair in links.pairs[links.pairs["status"] == "doubtful"].itertuples(index=False):
        both = {unit_of[pair.job_id], unit_of[pair.earlier_job_id]}
        if unit[-1] in both and len(both) == 2:
            (other,) = both - {unit[-1]}
            likeness = Likeness(
                float(pair.probability), False, str(pair.reasons), _rows_of(links, other)
            )
            found.setdefault(other, likeness)  # the surest pair comes first
    return list(found.values())


def _impossible(links: Links) -> list[Likeness]:
    cards, unit = _cards(links), links.unit_of_job
    assert links.evidence is not None
    arrival = np.flatnonzero(cards.row == len(unit) - 1)
    other = (unit[cards.row] != unit[-1]) & ~np.isin(unit[cards.row], _said_to_differ(links))
    closed = np.flatnonzero((cards.free == NEVER) & other)
    levels = compare(cards, closed, np.repeat(arrival, len(closed)))
    odds = pair_odds(links.evidence.ratios, levels)
    found: dict[int, Likeness] = {}
    for place in np.argsort(-odds, kind="stable"):
        probability, row = float(odds[place] / (1 + odds[place])), int(cards.row[closed[place]])
        if probability >= REVIEW_FROM:
            rows = _rows_of(links, unit[row])
            likeness = Likeness(probability, True, _reasons(links, row, "time"), rows)
            found.setdefault(unit[row], likeness)
    return list(found.values())


def _said_to_differ(links: Links) -> np.ndarray:
    """Name the units that a person said the arrival is not."""
    cards, unit = _cards(links), links.unit_of_job
    assert links.evidence is not None
    decided = links.evidence.decided
    rows = cards.row[decided.loc[~decided["same"], ["earlier", "later"]].to_numpy()]
    other_is_arrival = (rows == len(unit) - 1)[:, ::-1]
    return unit[rows[other_is_arrival]]


def _reasons(links: Links, row: int, obstacle: str = "") -> str:
    """Say why the job in a row and the arrival may be one unit."""
    cards = _cards(links)
    card_of = np.argsort(cards.row)
    earlier, later = card_of[[row]], card_of[[-1]]
    compared = pd.DataFrame({"earlier": earlier, "later": later, **compare(cards, earlier, later)})
    judged = pd.DataFrame({"obstacle": [obstacle], "rivals": [0]})
    return reasons_of(cards, compared, judged)[0]
