"""The answers of a report, each worked out as the screen and the command work it out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import pandas as pd

from insights import tables, wording
from insights.evidence.practice import compare_practice
from insights.followup import Followup
from insights.grouping import NOT_RECORDED
from insights.money.assumptions import USUAL_TERMS, Assumptions
from insights.money.backtest import backtest
from insights.money.costs import Costs
from insights.money.payback import payback
from insights.money.quote import quote_warranty
from insights.money.reserve import reserve
from insights.report import charts, reviewed
from insights.report.section import Found, Progress, Question, Section, Sheet, answered
from insights.reviewing.call_back import failed_if_known
from insights.reviewing.watched import Watched
from insights.standing import standing
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves
from insights.survival.maturity import maturity
from insights.survival.recurrent import repeat_returns
from insights.tables import money as tables_money
from insights.tables import practice as tables_practice
from insights.wording import HEADLINE_DAY, Finding, spoken
from insights.wording import calls as wording_calls
from insights.wording import money as wording_money
from insights.wording import practice as wording_practice

DAYS = (90, 180, 365)
PRACTICE_DAY = 180


@dataclass(frozen=True)
class Wanted:
    """What a report is to hold beyond the usual.

    Parameters
    ----------
    by
        Columns whose groups are compared.
    costs
        For each practice to be weighed, what one more job done so costs; the others are
        compared without money.
    claim_cost
        What a claim costs; None: what the record says.
    watched
        What is watched, and what was done about signals.
    customers
        Whether customers' references and telephones stand in the lists of units to call in.
    answers
        What owners called answered, where a book knows: then failed stands beside came back.
    """

    by: tuple[str, ...] = ()
    costs: dict[str, Costs] | None = None
    claim_cost: float | None = None
    watched: Watched = field(default_factory=Watched)
    customers: bool = False
    answers: pd.DataFrame | None = None


def sections(
    followup: Followup,
    wanted: Wanted,
    progress: Progress,
    limits: Callable[[float], None] | None = None,
) -> Iterator[Section]:
    """Work out a report's answers one after the other.

    Parameters
    ----------
    followup
        The hand-backs of the period.
    wanted
        What is asked for.
    progress
        Told the title of each answer before it is worked out.
    limits
        Told the share of the watch's limits worked out.

    Returns
    -------
    iterator of Section
        See :func:`insights.report.section.answered`.
    """
    return answered(_questions(followup, wanted, limits), progress)


def _questions(
    followup: Followup, wanted: Wanted, limits: Callable[[float], None] | None
) -> Iterator[Question]:
    yield "standing", "Where we stand", partial(_standing, followup)
    yield "curves", "How many come back", partial(_back, followup, wanted.answers)
    for name in wanted.by:
        title = f"How many come back, by {spoken(name)}"
        yield f"by-{name}", title, partial(_curves, followup, name)
    yield "causes", "What brings them back", partial(_causes, followup)
    yield "costs", "What comebacks cost", partial(reviewed.what_they_cost, followup)
    yield "year", "This year beside last", partial(reviewed.this_year, followup)
    yield "review", "Better or worse, like for like", partial(reviewed.better_or_worse, followup)
    sounds = partial(
        reviewed.what_sounds, followup, wanted.watched, customers=wanted.customers, progress=limits
    )
    yield "signals", "Trouble early", sounds
    yield "left-out", "Practices left out", partial(reviewed.practices_left_out, followup)
    yield "repeats", "Units that come back again", partial(_repeats, followup)
    for name in practices_to_compare(followup):
        title = f"Does it work: {spoken(f'practice_{name}')}?"
        cost = (wanted.costs or {}).get(name)
        yield f"practice-{name}", title, partial(_practice, followup, name, cost)
    yield "terms", "What to promise", partial(_terms, followup, wanted)
    yield "reserve", "What to hold", partial(_held, followup, wanted.claim_cost)
    yield "score", "Were we right?", partial(_score, followup)
    yield "months", "The latest months", partial(_months, followup)
    yield "problems", "What is wrong with the record", partial(_problems, followup)


def practices_to_compare(followup: Followup) -> tuple[str, ...]:
    """Name the practices done in at least two ways."""
    return tuple(name for name in followup.history.practices if _levels(followup, name) > 1)


def _levels(followup: Followup, name: str) -> int:
    values = followup.values(f"practice_{name}")
    return int(values[values != NOT_RECORDED].nunique())


def _standing(followup: Followup) -> Found:
    counted = standing(followup)
    tally = pd.DataFrame(tables.tally_of(counted).items(), columns=["What", "How many"])
    sheets = [Sheet("In numbers", tally)]
    if not counted.attention.empty:
        sheets.append(Sheet("What wants attention", tables.of_attention(counted)))
    return Found(wording.of_standing(counted), sheets=tuple(sheets))


def _back(followup: Followup, answers: pd.DataFrame | None) -> Found:
    found = _curves(followup, None)
    failed = failed_if_known(followup, answers, HEADLINE_DAY)
    if failed is None:
        return found
    said = Finding(wording_calls.of_failed(failed, HEADLINE_DAY))
    return replace(found, finding=found.finding.followed_by(said))


def _curves(followup: Followup, by: str | None) -> Found:
    curves = return_curves(followup, by=by, at=DAYS)
    sheets = [Sheet("Share back by day, with its range", tables.of_curves(curves))]
    tests = tables.tests_of(curves)
    if not tests.empty:
        sheets.append(Sheet("Could the difference be chance?", tests))
    return Found(
        wording.of_curves(curves), (charts.share_back(curves),), tuple(sheets), curves.method
    )


def _causes(followup: Followup) -> Found:
    causes = cause_curves(followup, at=DAYS)
    sheet = Sheet("Share back by root cause, with its range", tables.of_causes(causes))
    drawn = (charts.by_cause(causes),) if len(causes.counts) else ()
    return Found(wording.of_causes(causes), drawn, (sheet,), causes.method)


def _repeats(followup: Followup) -> Found:
    repeats = repeat_returns(followup, at=DAYS)
    return Found(wording.of_repeats(repeats), method=repeats.method)


def _practice(followup: Followup, name: str, costs: Costs | None) -> Found:
    evidence = compare_practice(followup, name, day=PRACTICE_DAY)
    pays = None
    if costs is not None:
        pays = payback(
            -evidence.draws,
            costs,
            risk_without=evidence.adjusted.risk_against,
            currency=followup.history.currency,
        )
    sheets = [
        Sheet("Ways to estimate it, side by side", tables_practice.of_estimators(evidence)),
        Sheet("By root cause; the parts add up", tables_practice.of_parts(evidence)),
    ]
    if pays is not None:
        sheets.append(Sheet("Does it pay?", tables_practice.of_payback(pays)))
    finding = wording_practice.of_practice(evidence, pays)
    return Found(finding, sheets=tuple(sheets), method=evidence.method)


def _terms(followup: Followup, wanted: Wanted) -> Found:
    assumed = Assumptions(claim_cost=wanted.claim_cost)
    quote = quote_warranty(followup, USUAL_TERMS, assumptions=assumed)
    sheet = Sheet("Claims and cost by term", tables_money.of_quote(quote))
    finding = wording_money.of_quote(quote).with_caveats([wording.STATUTORY])
    if failed := failed_if_known(followup, wanted.answers, HEADLINE_DAY):
        finding = finding.followed_by(Finding(wording_calls.of_quoted(failed)))
    return Found(finding, (charts.terms(quote),), (sheet,), quote.method)


def _held(followup: Followup, claim_cost: float | None) -> Found:
    held = reserve(followup, claim_cost=claim_cost)
    sheet = Sheet("Money that falls due, by month", tables_money.of_months(held))
    return Found(wording_money.of_reserve(held), (charts.months(held),), (sheet,), held.method)


def _score(followup: Followup) -> Found:
    score = backtest(followup)
    sheet = Sheet("How earlier quotes and reserves would have done", tables_money.of_scores(score))
    return Found(wording_money.of_backtest(score), sheets=(sheet,), method=score.method)


def _months(followup: Followup) -> Found:
    recent = maturity(followup)
    sheet = Sheet("Completed by what is still to come, by day 180", tables.of_months(recent))
    return Found(Finding(wording.YOUNG_MONTHS), sheets=(sheet,), method=recent.method)


def _problems(followup: Followup) -> Found:
    history = followup.history
    sentence = (
        f"{wording.counted(history.refused_count, 'row')} could not be used; "
        + wording.counted(
            len(followup.problems), "date contradicts another.", "dates contradict each other."
        )
    )
    sheets = (
        Sheet("Refused rows, by reason", tables.of_refusals_by_reason(history)),
        Sheet("Dates that contradict each other", tables.of_problems(followup)),
        Sheet("Pairs of jobs that may be one unit", tables.of_pairs(followup, "doubtful")),
    )
    remarks = (*history.notes, *followup.links.notes, *followup.notes)
    told = tuple(dict.fromkeys(note.text for note in remarks if note.jobs != 0))
    return Found(Finding(sentence, told), sheets=sheets)
