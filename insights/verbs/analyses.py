"""The analysis verbs: the options of each, and the answer it gives."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd

from insights import as_json, wording
from insights import tables as tables_of
from insights.evidence.exploration import explore_practices
from insights.evidence.pairs import pair_comebacks
from insights.evidence.practice import REPLICATES, compare_practice
from insights.evidence.propensity import POPULATIONS
from insights.evidence.ratios import practice_ratios
from insights.evidence.result import PracticeEvidence
from insights.followup import Followup
from insights.history.declared import Declared, remember
from insights.history.files import read_raw
from insights.history.headings import SURE, confirm, suggest_headings
from insights.history.refusals import refused_path, write_refused
from insights.money.costs import Costs, given_or_recorded
from insights.money.payback import Payback, payback
from insights.standing import standing
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves
from insights.survival.recurrent import OWN_NOTES, repeat_returns
from insights.tables import practice as tables_practice
from insights.verbs import counted as verbs_counted
from insights.verbs import money as verbs_money
from insights.verbs import month as verbs_month
from insights.verbs import pool as verbs_pool
from insights.verbs import report as verbs_report
from insights.verbs import review as verbs_review
from insights.verbs import watch as verbs_watch
from insights.verbs.answer import Answer
from insights.verbs.asked import DAYS, days_of, declared, followed, names_of, read, selected
from insights.verbs.verb import Verb
from insights.wording import practice as wording_practice

PAIRS = {
    "doubtful": "Pairs of jobs that may be one unit",
    "linked": "Pairs taken to be one unit without an equal serial",
}


def _check(args: argparse.Namespace) -> Answer:
    if args.suggest:
        return _suggest(args)
    followup = followed(args, read(args))
    said = declared(args)
    if args.headings and said is not None:
        remember(read_raw(Path(args.source), said).headings, said)
    history, links = followup.history, followup.links
    tables = []
    texts = []
    if history.refused_count:
        path = write_refused(history, refused_path(args.source))
        texts.append(f"The refused rows, with reasons, are in {path}. Mend and load them again.")
        tables.append(("Refused", tables_of.of_refused(history)))
    if len(followup.problems):
        tables.append(("Dates that contradict each other", tables_of.of_problems(followup)))
    for status, heading in PAIRS.items():
        pairs = tables_of.of_pairs(followup, status)
        if len(pairs):
            tables.append((heading, pairs))
    sentence = (
        f"{wording.whole(len(history.jobs))} jobs load, "
        f"{wording.counted(history.refused_count, 'row is', 'rows are')} refused. "
        f"{wording.of_standing(standing(followup)).sentence}"
    )
    remarks = (*history.notes, *links.notes, *followup.notes)
    caveats = (*texts, *(note.text for note in remarks if note.jobs != 0))
    return Answer(as_json.check(followup), wording.Finding(sentence, caveats), tuple(tables))


def _suggest(args: argparse.Namespace) -> Answer:
    said = declared(args) or Declared()
    table = suggest_headings(read_raw(Path(args.source), said).head())
    # Every heading goes into the file, unsure or unmatched too: the user is to read it anyway.
    aside = dict.fromkeys(table["theirs"][table["ours"] == ""], "")
    suggested = confirm(table, said, at_least=0)
    replace(suggested, headings={**suggested.headings, **aside}).save(args.suggest)
    sentence = (
        f"{len(table) - len(aside)} of {len(table)} headings are matched in {args.suggest}; an "
        "empty one is left aside. Read it, change "
        f"what is wrong, then use it with --headings {args.suggest}; `check` remembers it for "
        "every file with the same headings."
    )
    unsure = table["theirs"][(table["likeness"] < SURE) & (table["ours"] != "")]
    if len(unsure):
        sentence += f" Unsure, so look at these first: {', '.join(unsure)}."
    tables = (("Suggested", tables_of.of_suggested(table)),)
    return Answer({"suggested": table}, wording.Finding(sentence), tables)


def _curves(args: argparse.Namespace) -> Answer:
    if args.in_database:
        return verbs_counted.curves(args)
    followup, at = selected(args), days_of(args.at)
    result = return_curves(followup, by=args.by, at=at)
    repeats = repeat_returns(followup, by=args.by, at=at)
    tables = (
        *verbs_counted.tables_of_curves(result),
        ("Comebacks, repeats counted, by days out of our hands", tables_of.of_repeats(repeats)),
    )
    data = {**as_json.curves(result), "repeats": repeats.at}
    # What they lack at the same days is said once.
    own = [one for one in repeats.notes if one.code in OWN_NOTES]
    data["notes"] += as_json.notes(tuple(own))
    finding = wording.of_curves(result).with_caveats(one.text for one in own)
    return Answer(data, finding, tables)


def _causes(args: argparse.Namespace) -> Answer:
    if args.in_database:
        result = verbs_counted.causes(args)
    else:
        result = cause_curves(selected(args), by=args.by, at=days_of(args.at))
    tables = (("Share back, by root cause", tables_of.of_causes(result, every_day=True)),)
    return Answer(as_json.causes(result), wording.of_causes(result), tables)


def _practice(args: argparse.Namespace) -> Answer:
    followup = selected(args)
    evidence = compare_practice(
        followup,
        args.name,
        level=args.level,
        against=args.against,
        day=args.at,
        cause=args.cause,
        population=args.population,
        adjust=names_of(args.adjust),
        control_causes=names_of(args.controls),
        replicates=args.draws,
        seed=args.seed,
    )
    pays = _payback(args, followup, evidence)
    tables = [
        ("Ways to estimate it, side by side", tables_practice.of_estimators(evidence)),
        ("By root cause", tables_practice.of_parts(evidence)),
        ("How alike the groups are, before and after", tables_practice.of_balance(evidence)),
        ("Who does it how often", tables_practice.of_technicians(evidence)),
    ]
    if len(evidence.incomparable):
        alone = tables_practice.of_incomparable(evidence)
        tables.append(("Always or never done, so not comparable", alone))
    data = as_json.practice(evidence, pays)
    for key, numbers, heading, table in _beside(args, followup, evidence):
        data[key] = numbers
        tables.append((heading, table))
    if pays is not None:
        tables.append(("Does it pay?", tables_practice.of_payback(pays)))
    return Answer(data, wording_practice.of_practice(evidence, pays), tuple(tables))


def _beside(
    args: argparse.Namespace, followup: Followup, evidence: PracticeEvidence
) -> Iterator[tuple[str, pd.DataFrame, str, pd.DataFrame]]:
    """Work out what was asked for beside the comparison: key, numbers, heading, table."""
    if args.failed:
        pair = pair_comebacks(
            followup,
            args.name,
            left=evidence.against,
            renewed=evidence.level,
            failed=args.failed,
            day=args.at,
        )
        said = wording_practice.of_pair(pair).sentence
        yield "pair", pair.table, said, tables_practice.of_pair(pair)
    if args.ratios:
        ratios = practice_ratios(followup, evidence)
        shown = tables_practice.of_ratios(ratios)
        yield "hazard_ratios", ratios.table, "Hazard ratios, beside it", shown
    if args.explore:
        many = explore_practices(followup, evidence)
        heading = "Other practices, corrected for their number"
        yield "exploration", many.table, heading, tables_practice.of_many(many)


def _payback(
    args: argparse.Namespace, followup: Followup, evidence: PracticeEvidence
) -> Payback | None:
    asked = (args.part_cost, args.minutes, args.rate, args.comeback_cost, args.extra_price)
    if all(amount is None for amount in asked):
        return None
    comeback = given_or_recorded(args.comeback_cost, followup, args.cause)
    costs = Costs(
        part_cost=args.part_cost or 0.0,
        minutes=args.minutes or 0.0,
        rate_per_hour=args.rate or 0.0,
        comeback=comeback,
        extra_price=args.extra_price or 0.0,
    )
    return payback(
        -evidence.draws,
        costs,
        risk_without=evidence.adjusted.risk_against,
        safety=args.safety,
        currency=followup.history.currency,
    )


def _check_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--suggest",
        metavar="FILE",
        help="write a suggested mapping of the source's headings to FILE, and nothing else",
    )


def _curve_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", metavar="COLUMN", help="compare the groups of this column")
    parser.add_argument(
        "--at", default=DAYS, metavar="DAYS", help="back by these days (%(default)s)"
    )
    verbs_counted.counted_option(parser)


def _practice_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", metavar="NAME", help="the practice, such as contact_pair")
    parser.add_argument("--level", metavar="LEVEL", help="the way of working asked about")
    parser.add_argument("--against", metavar="LEVEL", help="the way it is compared with")
    parser.add_argument(
        "--at", type=float, default=180, metavar="DAY", help="back by this day (%(default)s)"
    )
    parser.add_argument("--cause", metavar="CAUSE", help="only comebacks for this root cause")
    parser.add_argument(
        "--population",
        default="not_yet",
        choices=POPULATIONS,
        help="for whom: jobs not yet done so, all, those done so, or those found done both ways "
        "(%(default)s)",
    )
    parser.add_argument("--controls", metavar="CAUSES", help="root causes it can't touch")
    parser.add_argument("--adjust", metavar="COLUMNS", help="facts known before the repair")
    parser.add_argument("--seed", type=int, default=1, help="of the draws behind the ranges")
    parser.add_argument(
        "--draws", type=int, default=REPLICATES, help="behind the ranges; more place their ends"
    )
    parser.add_argument(
        "--failed", metavar="CAUSE", help="one of a pair failed so: what became of its partner"
    )
    parser.add_argument("--ratios", action="store_true", help="hazard ratios as well")
    parser.add_argument(
        "--explore", action="store_true", help="the other practices too, corrected for their number"
    )
    money = parser.add_argument_group("does it pay")
    money.add_argument("--part-cost", type=float, metavar="AMOUNT", help="parts, each job")
    money.add_argument("--minutes", type=float, help="at the bench, each job")
    money.add_argument("--rate", type=float, metavar="AMOUNT", help="an hour at the bench")
    money.add_argument(
        "--comeback-cost", type=float, metavar="AMOUNT", help="the record's mean when not given"
    )
    money.add_argument("--extra-price", type=float, metavar="AMOUNT", help="the customer pays more")
    money.add_argument("--safety", action="store_true", help="safety work: not weighed at all")


ANALYSES = (
    Verb(
        "check",
        "what loads, what is refused and why, which units were linked",
        _check_options,
        _check,
    ),
    Verb("curves", "what share of units comes back, by when", _curve_options, _curves),
    Verb("causes", "the same, split by root cause", _curve_options, _causes),
    Verb(
        "practice",
        "what a practice changes on like-for-like jobs, and whether it pays",
        _practice_options,
        _practice,
    ),
    Verb(
        "quote",
        "what a warranty of each term costs, and what to charge for it",
        verbs_money.quote_options,
        verbs_money.quote,
    ),
    Verb(
        "reserve",
        "money to hold for open exposure, by month",
        verbs_money.reserve_options,
        verbs_money.hold,
    ),
    Verb(
        "backtest",
        "how earlier quotes and reserves would have done",
        verbs_money.backtest_options,
        verbs_money.score,
    ),
    Verb(
        "review",
        "comebacks by month, technician, model, lot and cause, like for like",
        verbs_review.review_options,
        verbs_review.look_back,
    ),
    Verb(
        "watch",
        "what sounds early, with false alarms a year, and which units to call in",
        verbs_watch.watch_options,
        verbs_watch.watch_over,
    ),
    Verb(
        "report",
        "all of it as one printable page",
        verbs_report.report_options,
        verbs_report.report,
    ),
    Verb(
        "month",
        "one month on a page or two, printed or sent by mail",
        verbs_month.month_options,
        verbs_month.month,
    ),
    Verb(
        "counts",
        "a branch's counts to hand on for pooling, without any customer",
        verbs_pool.counts_options,
        verbs_pool.count,
    ),
)

POOL = Verb(
    "pool",
    "what the counts of several branches say together",
    verbs_pool.pool_options,
    verbs_pool.pool,
)
