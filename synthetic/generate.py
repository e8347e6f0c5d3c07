"""From a scenario to a job history and its truth."""

from __future__ import annotations

import numpy as np

from insights.history.schema import History, to_schema
from synthetic.hazards import draw_first_end, with_practices
from synthetic.paperwork import write_down
from synthetic.scenario import Scenario
from synthetic.truth import Truth
from synthetic.visits import Facts, choose, first_visits, make_units, work_on


def generate(scenario: Scenario) -> tuple[History, Truth]:
    """Make the history that a workshop with these truths would have recorded.

    Units come in, are repaired, and come back round by round: every repaired hand-back draws
    what fails first and when, whether the owner brings it back, and the days in the post. Jobs
    that arrive after the data date do not exist yet, and those not handed back by then are open.

    Parameters
    ----------
    scenario
        What is true. The same scenario (its seed included) makes the same history.

    Returns
    -------
    history : History
        One row per job in order of arrival.
    truth : Truth
        What a perfect analysis of the history would find, in the same order of jobs.
    """
    random = np.random.default_rng(scenario.seed)
    units = make_units(scenario, random)
    visits = first_visits(scenario, units, random)
    rounds, bases = [], []
    while len(visits["unit"]):
        facts, base = work_on(scenario, units, visits, random)
        facts["handed_back"] = _hand_back(scenario, facts)
        visits = _come_back(scenario, facts, base, random)
        rounds.append(facts)
        bases.append(base)
    # Jobs are numbered as they arrive; on one day, in the order of the unit.
    facts = {name: np.concatenate([one[name] for one in rounds]) for name in rounds[0]}
    order = np.lexsort((facts["unit"], facts["received"]))
    facts = {name: values[order] for name, values in facts.items()}
    base = np.concatenate(bases)[order]
    jobs = to_schema(write_down(scenario, units, facts, random))
    history = History(jobs=jobs, source="the invented workshop", currency=scenario.currency)
    return history, Truth(scenario=scenario, facts=facts, base=base)


def _hand_back(scenario: Scenario, facts: Facts) -> np.ndarray:
    """Give the day of hand-back, NaN for jobs still open or written off."""
    day = (facts["received"] + facts["bench_days"]).astype(float)
    day[facts["written_off"] | (day > scenario.days)] = np.nan
    return day


def _come_back(
    scenario: Scenario, facts: Facts, base: np.ndarray, random: np.random.Generator
) -> Facts:
    """Follow each hand-back to its end, note units that leave service, line up the comebacks."""
    practices = {practice.name: facts[f"done_{practice.name}"] for practice in scenario.practices}
    end, day = draw_first_end(scenario, with_practices(scenario, base, practices), random)
    returning = scenario.returning
    in_term = day <= facts["term_days"]
    chance = np.where(in_term, returning.in_term_share, returning.out_of_term_share)
    brought = random.random(len(day)) < chance
    post = choose(random, returning.post_days_shares, len(day))
    left_service = end == len(scenario.causes) + 2
    happened = facts["handed_back"] + day
    seen = left_service & (happened <= scenario.days)
    seen &= random.random(len(day)) < scenario.leaving.recorded_share
    facts["left_on"] = np.where(seen, happened, np.nan)
    received = happened + post
    back = ~left_service & brought & (received <= scenario.days)
    return {
        "unit": facts["unit"][back],
        "visit": facts["visit"][back] + 1,
        "received": received[back],
        "notified": happened[back],
        "cause": end[back],
        "before_cause": facts["cause"][back],
        "before_handed_back": facts["handed_back"][back],
        "before_term_days": facts["term_days"][back].astype(float),
    }
