"""What the bench writes down about each job, slips of the pen included."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from insights.history.schema import DECISIONS, EARLIER_WORK, RELATIONS
from synthetic.earlier_work import find_earlier_work
from synthetic.identity import identify
from synthetic.scenario import MISUSE, NO_FAULT_FOUND, Reading, Scenario
from synthetic.telling import tell
from synthetic.visits import Facts, Units, calendar

UNKNOWN = -1
EARLY_DAYS = 30


def write_down(
    scenario: Scenario, units: Units, facts: Facts, random: np.random.Generator
) -> pd.DataFrame:
    """Put the facts of all jobs under our headings.

    Parameters
    ----------
    scenario, units
        The truth.
    facts
        Everything about the jobs, in their order.
    random
        Source of chance.

    Returns
    -------
    pandas.DataFrame
        A clean frame for :func:`insights.history.schema.to_schema`.
    """
    repaired = np.isfinite(facts["handed_back"])
    finished = repaired | (facts["written_off"] & (_bench_end(facts) <= scenario.days))
    claims = _claims(scenario, facts, finished, random)
    columns: dict[str, Any] = {
        "received": calendar(scenario, facts["received"]),
        "handed_back": calendar(scenario, facts["handed_back"]),
        **identify(scenario, units, facts, random),
        **_findings(scenario, facts, finished, random),
        **claims,
        **_money(scenario, facts, finished, claims["decision"], random),
        **_endings(scenario, facts, finished, random),
        "term_days": np.where(repaired, facts["term_days"], np.nan),
    }
    for practice in scenario.practices:
        written = repaired & facts[f"applies_{practice.name}"] & facts[f"ticked_{practice.name}"]
        done = facts[f"done_{practice.name}"]
        code = np.where(written, np.where(done, 1, 0), UNKNOWN)
        columns[f"practice_{practice.name}"] = _coded(code, (practice.left, practice.done))
    for part in scenario.parts:
        lot = np.where(repaired, facts[f"lot_{part.name}"], 0)
        names = [f"{part.name[:2].upper()}{number:03d}" for number in range(1, lot.max() + 1)]
        columns[f"lot_{part.name}"] = _coded(lot - 1, names)
    for reading in scenario.readings:
        columns[f"reading_{reading.name}"] = _measure(scenario, reading, facts, repaired)
    return pd.DataFrame(columns)


def _bench_end(facts: Facts) -> np.ndarray:
    return facts["received"] + facts["bench_days"]


def _coded(codes: np.ndarray, names: Sequence[str]) -> pd.Categorical:
    return pd.Categorical.from_codes(codes, categories=pd.Index(list(names), dtype=object))


def _chosen(random: np.random.Generator, share: float, size: int) -> np.ndarray:
    return random.random(size) < share


def _measure(
    scenario: Scenario, reading: Reading, facts: Facts, repaired: np.ndarray
) -> np.ndarray:
    # The better the hidden quality, the lower its hazard: a high quality reads high.
    likeness = reading.likeness
    mixed = (
        likeness * facts[f"quality_{reading.name}"]
        + np.sqrt(1 - likeness**2) * facts[f"noise_{reading.name}"]
    )
    value = reading.target + reading.spread * mixed
    if reading.logarithmic:
        value = np.exp(value)
    models = [model.name for model in scenario.models]
    taken = np.isin(facts["model"], [models.index(name) for name in reading.models or models])
    return np.where(repaired & taken, value.round(reading.decimals), np.nan)


def _findings(
    scenario: Scenario, facts: Facts, finished: np.ndarray, random: np.random.Generator
) -> dict[str, Any]:
    count = len(finished)
    paper = scenario.paperwork
    names = (*scenario.cause_names, NO_FAULT_FOUND, MISUSE)
    known = finished & ~_chosen(random, paper.unknown_cause_share, count)
    cause = np.where(known, facts["cause"], UNKNOWN)
    upstream, removed = _upstream(scenario, np.where(known, facts["cause"], UNKNOWN), random)
    earlier = np.where(facts["visit"] > 1, 1, random.choice([0, 0, 0, 0, 2, 3], count))
    age_known = ~_chosen(random, paper.missing_age_share, count)
    condition_known = ~_chosen(random, paper.missing_condition_share, count)
    symptom = _symptoms(scenario, facts["cause"], random)
    words = {} if symptom is None else tell(scenario, facts, symptom, finished)
    return {
        "model": _coded(facts["model"], [model.name for model in scenario.models]),
        "unit_age_years": np.where(age_known, facts["age_years"], np.nan),
        "condition": np.where(condition_known, facts["condition"], np.nan),
        "earlier_repair": _coded(earlier, ("never", "here", "elsewhere", "unknown")),
        "earlier_work": _coded(
            find_earlier_work(scenario, earlier == 2, earlier == 1, finished), EARLIER_WORK
        ),
        **words,
        "root_cause": _coded(cause, names),
        "upstream_cause": upstream,
        "cause_removed": removed,
        "technician": _coded(facts["technician"], [t.name for t in scenario.technicians]),
    }


def _upstream(
    scenario: Scenario, cause: np.ndarray, random: np.random.Generator
) -> tuple[pd.Categorical, pd.Categorical]:
    names = sorted({name for one in scenario.causes for name in one.upstream})
    code = np.full(len(cause), UNKNOWN)
    draw = random.random(len(cause))
    for number, one in enumerate(scenario.causes):
        edge = 0.0
        for name, share in one.upstream.items():
            hit = (cause == number) & (draw >= edge) & (draw < edge + share)
            code[hit] = names.index(name)
            edge += share
    removed = random.choice([0, 0, 0, 1, 2], len(cause))
    removed = np.where(code == UNKNOWN, UNKNOWN, removed)
    return _coded(code, names), _coded(removed, ("yes", "no", "unknown"))


def _symptoms(
    scenario: Scenario, cause: np.ndarray, random: np.random.Generator
) -> np.ndarray | None:
    """Draw what the customer noticed: mostly the fault's own doing, at times another's."""
    telling = scenario.telling
    if not telling.complaints:
        return None
    many = np.array([len(telling.complaints[name]) for name in scenario.cause_names])
    start = np.cumsum(many) - many
    own = np.minimum(cause, len(many) - 1)
    symptom = start[own] + np.floor(random.random(len(cause)) * many[own]).astype(np.int64)
    vague = _chosen(random, telling.misleading_share, len(cause)) | (cause >= len(many))
    symptom[vague] = random.integers(0, many.sum(), int(vague.sum()))
    return symptom


def _claims(
    scenario: Scenario, facts: Facts, finished: np.ndarray, random: np.random.Generator
) -> dict[str, Any]:
    """Relate each comeback to the job before, and say who paid."""
    count = len(finished)
    comeback = facts["visit"] > 1
    days = facts["notified"] - facts["before_handed_back"]
    in_term = days <= facts["before_term_days"]
    faults = len(scenario.causes)
    no_fault, misuse = facts["cause"] == faults, facts["cause"] == faults + 1
    fault = ~(no_fault | misuse)
    draw = random.random(count)
    relation = np.select(
        [
            no_fault,
            misuse,
            facts["cause"] == facts["before_cause"],
            (days <= EARLY_DAYS) & (draw < 0.4),
            draw > 0.9,
        ],
        [
            _relation(name)
            for name in ("no_fault_found", "misuse", "same_fault", "workmanship", "consequential")
        ],
        default=_relation("new_fault"),
    )
    kind = random.random(count)
    decision = np.select(
        [fault & in_term, no_fault & in_term & (kind < 0.6), ~misuse & (kind < 0.15), kind > 0.97],
        [_decision(name) for name in ("covered", "goodwill", "goodwill", "declined")],
        default=_decision("charged"),
    )
    recent = facts["received"] > scenario.days - scenario.paperwork.pending_days
    pending = ~finished | (recent & _chosen(random, 0.5, count))
    relation = np.where(pending, _relation("pending"), relation)
    decision = np.where(pending, _decision("pending"), decision)
    return {
        "notified": calendar(scenario, facts["notified"]),
        "relation": _coded(np.where(comeback, relation, UNKNOWN), RELATIONS),
        "decision": _coded(np.where(comeback, decision, UNKNOWN), DECISIONS),
        "claim_cost": np.where(
            comeback & ~pending,
            _claim_cost(scenario, decision, random),
            np.nan,
        ),
    }


def _relation(name: str) -> int:
    return RELATIONS.index(name)


def _decision(name: str) -> int:
    return DECISIONS.index(name)


def _claim_cost(
    scenario: Scenario, decision: np.ndarray, random: np.random.Generator
) -> np.ndarray:
    """Cost the bench time, parts and post that the customer did not pay for."""
    paper = scenario.paperwork
    count = len(decision)
    post = 2 * paper.post_each_way
    bench = paper.rate_per_minute * random.lognormal(np.log(30), 0.45, count)
    parts = random.lognormal(np.log(7), 0.6, count)
    ours = np.isin(decision, [_decision("covered"), _decision("goodwill")])
    return np.where(ours, post + bench + parts, 0.0).round(2)


def _money(
    scenario: Scenario,
    facts: Facts,
    finished: np.ndarray,
    decision: pd.Categorical,
    random: np.random.Generator,
) -> dict[str, Any]:
    count = len(finished)
    minutes = random.lognormal(np.log(38), 0.35, count)
    parts = random.lognormal(np.log(9), 0.6, count)
    for practice in scenario.practices:
        minutes += practice.minutes * facts[f"done_{practice.name}"]
        parts += practice.cost * facts[f"done_{practice.name}"]
    usual = np.array([model.price for model in scenario.models])[facts["model"]]
    price = (usual * random.lognormal(0, 0.12, count) / 5).round() * 5
    price[decision.isin(["covered", "goodwill", "pending"]) | facts["written_off"]] = 0
    return {
        "bench_minutes": np.where(finished, minutes.round(), np.nan),
        "parts_cost": np.where(finished, parts.round(2), np.nan),
        "price": np.where(finished, price, np.nan),
    }


def _endings(
    scenario: Scenario, facts: Facts, finished: np.ndarray, random: np.random.Generator
) -> dict[str, Any]:
    """Say which units left service: written off on the bench, or out of use in the field."""
    bench = facts["written_off"] & finished
    ended = np.where(bench, _bench_end(facts), facts["left_on"])
    how = np.where(
        bench & (facts["visit"] > 1),
        random.choice([1, 1, 2], len(bench)),
        np.where(bench, 0, random.choice([0, 0, 0, 2], len(bench))),
    )
    return {
        "ended_on": calendar(scenario, ended),
        "ended_how": _coded(
            np.where(np.isfinite(ended), how, UNKNOWN), ("scrapped", "refunded", "replaced")
        ),
    }
