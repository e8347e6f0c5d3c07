"""Which jobs are the same unit, with reasons."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.history.blocking import candidate_pairs
from insights.history.cards import Cards, Records, make_cards, records_of
from insights.history.joining import PERSON, Units, contradicting, join_records
from insights.history.matching import Ratios, best_stranger_odds, compare, estimate, pair_odds
from insights.history.reasons import reasons_of
from insights.history.schema import History
from insights.notes import Note, whole

LINK_AT = 0.99
REVIEW_FROM = 0.20
LEAST_REVIEW = 0.001
PAIR_COLUMNS = ("job_id", "earlier_job_id", "probability", "status", "reasons")
DECISION_COLUMNS = ("job_id", "earlier_job_id", "same")


@dataclass(frozen=True)
class Evidence:
    """What was compared, so that units can be drawn anew at other thresholds.

    Parameters
    ----------
    cards, records
        Jobs made comparable, and which of them have equal serials.
    ratios
        What each agreement is worth.
    candidates
        One row per pair compared: ``first`` and ``second`` record, ``earlier`` and ``later``
        card, ``odds`` of being one unit, and the level of agreement by field.
    decided
        A person's decisions: ``later``, ``earlier`` card, ``same``.
    """

    cards: Cards
    records: Records
    ratios: Ratios
    candidates: pd.DataFrame
    decided: pd.DataFrame


@dataclass(frozen=True)
class Links:
    """Which jobs belong to one unit, and how surely.

    Parameters
    ----------
    unit_of_job
        One whole number a job, in the order of ``history.jobs``; equal numbers, same unit;
        numbered from 0 in order of first appearance.
    pairs
        One row per pair of jobs considered beyond equal serials: ``job_id``,
        ``earlier_job_id``, ``probability``, ``status`` (``linked``, ``doubtful``, or
        ``decided`` by a person, with probability 1 or 0), ``reasons``. The least sure come
        last; decided ones first.
    link_at, review_from
        The two thresholds in force.
    notes
        Counts of units and of links by kind.
    evidence
        What :func:`relink` works from; None where links were given, not worked out.
    """

    unit_of_job: np.ndarray
    pairs: pd.DataFrame
    link_at: float = LINK_AT
    review_from: float = REVIEW_FROM
    notes: tuple[Note, ...] = ()
    evidence: Evidence | None = field(default=None, repr=False, compare=False)

    @property
    def doubtful(self) -> int:
        """How many pairs wait for a person, and count as two units until then."""
        return int((self.pairs["status"] == "doubtful").sum()) if len(self.pairs) else 0


def link_units(
    history: History,
    *,
    link_at: float = LINK_AT,
    review_from: float = REVIEW_FROM,
    decisions: pd.DataFrame | None = None,
    ratios: Ratios | None = None,
) -> Links:
    """Say which jobs are the same unit.

    Parameters
    ----------
    history
        The jobs. Every job without a serial and without anyone to know it by is its own unit.
    link_at, review_from
        Probability from which a pair is linked, and from which it is put to a person.
    decisions
        A person's decisions, which override everything: ``job_id``, ``earlier_job_id``,
        ``same`` (True or False). Said not to be the same, a job leaves the unit that its
        serial puts it in. Where pairs were said to be the same, what each agreement is worth
        is learnt anew from them, which moves the other pairs too.
    ratios
        What each agreement is worth, where it was learnt from a longer history than this;
        None: it is learnt from this one.

    Returns
    -------
    Links

    Raises
    ------
    RequestError
        Thresholds out of order, a decision on an unknown job, or decisions that contradict
        each other.

    Notes
    -----
    First, jobs with equal serials (case, spaces and punctuation aside) are one unit; serials
    of up to three characters only within one model, as makers number each model from the
    start. Words that stand for no serial ("n/a", "0000") count as missing, and so does a serial
    on five or more jobs, all of different customers, that were on the bench at once.

    Then pairs of those units are judged by Fellegi and Sunter's odds
    (:mod:`insights.history.matching`): the last visit of the one before the first visit of the
    other is compared in who brought it, model, serial, age and earlier repair. Pairs that
    would put a unit on the bench twice at once, or back after it left service, are dropped; so
    are arrivals while the earlier job is still open.

    Last, pairs are joined, the surest first (:mod:`insights.history.joining`), but never so
    that a unit is on the bench twice at once, holds serials more than two slips apart, or two
    serials that each came more than once; such pairs stay doubtful.
    """
    _check_thresholds(link_at, review_from)
    decided = checked_decisions(decisions, history)
    differing = decided.loc[~decided["same"], "row"].to_numpy()
    cards = make_cards(history.jobs, differing)
    records = records_of(cards)
    judged = _as_cards(decided, cards)
    learnt = estimate(cards, records) if ratios is None else ratios
    evidence = _evidence(cards, records, learnt, judged, review_from)
    held = None if ratios is not None else _held_to_be_one(evidence, link_at)
    if held is not None:
        evidence = _evidence(cards, records, estimate(cards, records, held), judged, review_from)
    return _links(evidence, link_at, review_from)


def relink(
    links: Links, *, link_at: float | None = None, review_from: float | None = None
) -> Links:
    """Draw the units anew at other thresholds, from the odds already worked out.

    Parameters
    ----------
    links
        Links worked out by :func:`link_units`.
    link_at, review_from
        The new thresholds; what is not given stays. With ``link_at`` at the old
        ``review_from`` every doubtful pair is taken to be one unit (each unit joins the best
        of its rivals), which shows how much hangs on them.

    Returns
    -------
    Links

    Raises
    ------
    RequestError
        Thresholds out of order, or links without evidence.
    """
    if links.evidence is None:
        raise RequestError(
            "These links were given, not worked out, so there are no odds to draw them anew "
            "from. Use link_units on the history."
        )
    link_at = links.link_at if link_at is None else link_at
    review_from = min(links.review_from, link_at) if review_from is None else review_from
    _check_thresholds(link_at, review_from)
    return _links(links.evidence, link_at, review_from)


def _check_thresholds(link_at: float, review_from: float) -> None:
    if not LEAST_REVIEW <= review_from <= link_at <= 1:
        raise RequestError(
            f"review_from is {review_from} and link_at is {link_at}. "
            f"Give probabilities with {LEAST_REVIEW} <= review_from <= link_at <= 1."
        )


def checked_decisions(decisions: pd.DataFrame | None, history: History) -> pd.DataFrame:
    """Find each decision's rows: ``row`` of the job, ``earlier_row``, ``same``.

    Raises
    ------
    RequestError
        A column is missing, a job is not in the history, or ``same`` is neither True nor False.
    """
    if decisions is None:
        decisions = pd.DataFrame({name: [] for name in DECISION_COLUMNS})
    missing = [name for name in DECISION_COLUMNS if name not in decisions.columns]
    if missing:
        raise RequestError(
            f"The decisions lack the columns {', '.join(missing)}. "
            f"Give {', '.join(DECISION_COLUMNS)}."
        )
    row_of = pd.Series(np.arange(len(history.jobs)), index=history.jobs["job_id"].astype("object"))
    rows = {}
    for name, found in (("job_id", "row"), ("earlier_job_id", "earlier_row")):
        ids = decisions[name].astype("object")
        unknown = ids[~ids.isin(row_of.index)]
        if len(unknown):
            raise RequestError(
                f"A decision names {name} '{unknown.iloc[0]}', which is not in the history. "
                "Drop it, or correct the job number."
            )
        rows[found] = row_of.reindex(ids).to_numpy(dtype=np.int64)
    same = decisions["same"]
    if not same.isin([True, False]).all():
        raise RequestError("A decision's 'same' is neither True nor False. Give one of the two.")
    return pd.DataFrame({**rows, "same": same.to_numpy(dtype=bool)})


def refuse_contradictions(history: History, decisions: pd.DataFrame) -> None:
    """Try whether units can be drawn that follow a person's decisions, without drawing them.

    Parameters
    ----------
    history, decisions
        As for :func:`link_units`.

    Raises
    ------
    RequestError
        As :func:`link_units` would, for the same decisions.
    """
    decided = checked_decisions(decisions, history)
    cards = make_cards(history.jobs, decided.loc[~decided["same"], "row"].to_numpy())
    _decided_units(cards, records_of(cards), _as_cards(decided, cards))


def _as_cards(decided: pd.DataFrame, cards: Cards) -> pd.DataFrame:
    card_of = np.argsort(cards.row)
    one, other = card_of[decided["row"]], card_of[decided["earlier_row"]]
    return pd.DataFrame(
        {
            "later": np.maximum(one, other),
            "earlier": np.minimum(one, other),
            "same": decided["same"],
        }
    )


def _evidence(
    cards: Cards, records: Records, ratios: Ratios, decided: pd.DataFrame, review_from: float
) -> Evidence:
    candidates = _candidates(cards, records, ratios, review_from)
    return Evidence(cards, records, ratios, candidates, decided)


def _held_to_be_one(evidence: Evidence, link_at: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Name the pairs held to be one unit beyond equal serials; None where a person named none."""
    cards, decided = evidence.cards, evidence.decided
    said = decided[decided["same"]]
    said = said[cards.record[said["earlier"]] != cards.record[said["later"]]]
    if said.empty:
        return None
    units = _decided_units(cards, evidence.records, decided)
    judged = join_records(units, evidence.candidates, link_at)
    linked = evidence.candidates.take(judged.loc[judged["linked"], "pair"].to_numpy())
    pairs = pd.concat([said[["earlier", "later"]], linked[["earlier", "later"]]])
    return pairs["earlier"].to_numpy(), pairs["later"].to_numpy()


def _candidates(cards: Cards, records: Records, ratios: Ratios, review_from: float) -> pd.DataFrame:
    hope = best_stranger_odds(ratios)
    strangers = hope / (1 + hope) >= review_from
    first, second = candidate_pairs(cards, records, strangers=strangers)
    later = records.first[second]
    place = np.searchsorted(records.key, first * len(cards) + later)
    earlier = records.order[place - 1]
    following = records.order[np.minimum(place, len(cards) - 1)]
    follows = (place < len(cards)) & (cards.record[following] == first)
    possible = (cards.free[earlier] <= cards.received[later]) & (
        ~follows | (cards.free[later] <= cards.received[following])
    )
    first, second = first[possible], second[possible]
    earlier, later = earlier[possible], later[possible]
    levels = compare(cards, earlier, later)
    compared = pd.DataFrame(
        {
            "first": first,
            "second": second,
            "earlier": earlier,
            "later": later,
            "odds": pair_odds(ratios, levels),
            **levels,
        }
    )
    # Fainter odds could neither be listed nor, as a rival's, change another pair.
    return compared[compared["odds"] >= LEAST_REVIEW].reset_index(drop=True)


def _links(evidence: Evidence, link_at: float, review_from: float) -> Links:
    cards = evidence.cards
    units = _decided_units(cards, evidence.records, evidence.decided)
    judged = join_records(units, evidence.candidates, link_at)
    in_doubt = (judged["probability"] >= review_from) & (judged["obstacle"] != PERSON)
    judged = judged[judged["linked"] | in_doubt]
    unit_of_card = units.roots()[cards.record]
    unit_of_job = np.empty(len(cards), dtype=np.int64)
    unit_of_job[cards.row] = unit_of_card
    unit_of_job = pd.factorize(unit_of_job)[0]
    pairs = _pair_frame(evidence, judged)
    notes = _remarks(evidence, unit_of_job, pairs)
    return Links(unit_of_job, pairs, link_at, review_from, notes, evidence)


def _decided_units(cards: Cards, records: Records, decided: pd.DataFrame) -> Units:
    apart: dict[int, set[int]] = {}
    for later, earlier in decided.loc[~decided["same"], ["later", "earlier"]].to_numpy().tolist():
        apart.setdefault(later, set()).add(earlier)
        apart.setdefault(earlier, set()).add(later)
    units = Units.of(cards, records, apart)
    for later, earlier in decided.loc[decided["same"], ["later", "earlier"]].to_numpy().tolist():
        units.join(int(cards.record[later]), int(cards.record[earlier]))
    unit = units.roots()[cards.record]
    for later, others in apart.items():
        for earlier in others:
            if unit[later] == unit[earlier]:
                raise contradicting(cards.job_id[later], cards.job_id[earlier])
    return units


def _pair_frame(evidence: Evidence, judged: pd.DataFrame) -> pd.DataFrame:
    cards, decided = evidence.cards, evidence.decided
    chosen = evidence.candidates.take(judged["pair"].to_numpy()).reset_index(drop=True)
    person = pd.DataFrame(
        {
            "job_id": cards.job_id[decided["later"]],
            "earlier_job_id": cards.job_id[decided["earlier"]],
            "probability": decided["same"].astype(float),
            "status": "decided",
            "reasons": np.where(
                decided["same"], "a person said: the same unit", "a person said: another unit"
            ),
        }
    )
    found = pd.DataFrame(
        {
            "job_id": cards.job_id[chosen["later"]],
            "earlier_job_id": cards.job_id[chosen["earlier"]],
            "probability": judged["probability"].to_numpy(),
            "status": np.where(judged["linked"], "linked", "doubtful"),
            "reasons": reasons_of(cards, chosen, judged),
        }
    )
    text = {name: "object" for name in ("job_id", "earlier_job_id", "status", "reasons")}
    parts = [part.astype(text) for part in (person, found) if len(part)] or [found.astype(text)]
    together = pd.concat(parts, ignore_index=True)
    rank = together["status"].map({"decided": 0, "linked": 1, "doubtful": 2})
    order = np.lexsort(
        (
            together["earlier_job_id"].to_numpy(str),
            together["job_id"].to_numpy(str),
            -together["probability"].to_numpy(float),
            rank.to_numpy(),
        )
    )
    return together.take(order).reset_index(drop=True)[list(PAIR_COLUMNS)]


def _remarks(evidence: Evidence, unit_of_job: np.ndarray, pairs: pd.DataFrame) -> tuple[Note, ...]:
    cards = evidence.cards
    units = int(unit_of_job.max(initial=-1)) + 1
    bare = int(cards.bare.sum())
    exact = len(cards) - len(evidence.records)
    tally = pairs["status"].value_counts()
    linked, doubtful, decided = (
        int(tally.get(status, 0)) for status in ("linked", "doubtful", "decided")
    )
    said = [
        ("exact", "Jobs that came back under the serial of an earlier job", exact),
        ("probable", "Links that rest on other evidence than equal serials", linked),
        ("doubtful", "Pairs that may be the same unit, for a person to decide", doubtful),
        ("decided", "Pairs that a person decided", decided),
        ("no_serial", "Jobs without a serial that can be read as one", bare),
    ]
    notes = [Note("units", f"Units among {whole(len(cards))} jobs: {whole(units)}.", len(cards))]
    notes += [Note(code, f"{text}: {whole(count)}.", count) for code, text, count in said]
    if cards.fillers:
        notes.append(
            Note(
                "filler_serials",
                "Taken as words for no serial, because each is on five or more jobs of as many "
                f"customers, on the bench at once: {', '.join(cards.fillers)}.",
            )
        )
    return tuple(notes)
