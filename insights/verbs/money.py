"""The verbs about money: quote a term, hold the money, keep score."""

from __future__ import annotations

import argparse
from pathlib import Path

import pandas as pd

from insights import as_json, wording
from insights.errors import RequestError, SourceError
from insights.money.assumptions import Assumptions, Offer
from insights.money.backtest import AHEAD_DAYS, backtest
from insights.money.loadings import loadings
from insights.money.quote import Quote, quote_warranty
from insights.money.renewal import KINDS
from insights.money.reserve import reserve
from insights.money.saved_quote import save_quote
from insights.money.statement import Statement, warranty_page
from insights.survival.maturity import maturity
from insights.tables import money as tables_money
from insights.tables import of_months
from insights.verbs.answer import Answer
from insights.verbs.asked import DAYS, days_of, selected
from insights.wording import money as wording_money


def quote_options(parser: argparse.ArgumentParser) -> None:
    """Add what a quote can be asked."""
    usual = Assumptions()
    parser.add_argument("--terms", default=DAYS, metavar="DAYS", help="to quote (%(default)s)")
    parser.add_argument("--claim-cost", type=float, metavar="AMOUNT", help="the record's if not")
    parser.add_argument(
        "--batch",
        type=int,
        default=usual.batch,
        metavar="JOBS",
        help="the range is for so many next jobs (%(default)s)",
    )
    parser.add_argument(
        "--kind",
        choices=KINDS,
        default=usual.kind,
        help="a repair under warranty does not lengthen it, leaves the unit as old as it was, "
        "starts it again; or a refund that shrinks day by day (%(default)s)",
    )
    parser.add_argument("--price", type=float, metavar="AMOUNT", help="of the job, for pro_rata")
    parser.add_argument(
        "--admin-cost",
        type=float,
        default=usual.admin_cost,
        metavar="AMOUNT",
        help="of the paperwork, each job (%(default)s)",
    )
    parser.add_argument(
        "--pool-jobs",
        type=int,
        default=usual.pool_jobs,
        metavar="JOBS",
        help="what to charge must carry so many jobs together (%(default)s)",
    )
    parser.add_argument(
        "--short-pool-chance",
        type=float,
        default=usual.short_pool_chance,
        metavar="CHANCE",
        help="how often these may fall short (%(default)s)",
    )
    parser.add_argument(
        "--target-rate",
        type=float,
        metavar="SHARE",
        help="the longest term with claims on no more than this share of jobs, such as 0.05",
    )
    parser.add_argument(
        "--target-cost",
        type=float,
        metavar="AMOUNT",
        help="the longest term that costs no more than this a job",
    )
    parser.add_argument(
        "--offer",
        action="append",
        default=[],
        metavar="DAYS:PRICE:UPTAKE",
        help="what if such a term were sold at this price to this share, such as 180:12:0.4",
    )
    parser.add_argument(
        "--apart",
        metavar="COLUMN",
        help="what the kinds of job in this column should cost more or less, like for like",
    )
    parser.add_argument("--save", metavar="FILE", help="keep the quote with its assumptions")
    page = parser.add_argument_group("a warranty statement to print")
    page.add_argument("--statement", metavar="FILE.html", help="write it here, for one term")
    page.add_argument("--workshop", metavar="NAME", help="name and address, as printed")
    page.add_argument("--repaired", metavar="WORDS", help="the unit and the work done")
    page.add_argument("--starts-on", metavar="DAY", help="the day of hand-back")
    page.add_argument("--jurisdiction", metavar="WORDS", help="whose law applies")
    page.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="WORDS",
        help="what is not covered; may be given again",
    )


def quote(args: argparse.Namespace) -> Answer:
    """Quote a warranty by term."""
    assumptions = Assumptions(
        claim_cost=args.claim_cost,
        batch=args.batch,
        kind=args.kind,
        price=args.price,
        pool_jobs=args.pool_jobs,
        short_pool_chance=args.short_pool_chance,
        admin_cost=args.admin_cost,
    )
    terms = days_of(args.terms, option="--terms")
    followup = selected(args)
    result = quote_warranty(
        followup,
        terms,
        offers=tuple(_offer(text) for text in args.offer),
        target_rate=args.target_rate,
        target_cost=args.target_cost,
        assumptions=assumptions,
    )
    if args.save:
        save_quote(result, args.save, pd.Timestamp.today().normalize())
    if args.statement:
        _write_statement(args, result, terms)
    tables = [("By term", tables_money.of_quote(result))]
    if len(result.offers):
        tables.append(("Offers", tables_money.of_offers(result)))
    data, finding = as_json.quote(result), wording_money.of_quote(result)
    if args.apart:
        apart = loadings(followup, args.apart, int(min(terms)), claim_cost=args.claim_cost)
        heading = f"Discounts and loadings by {args.apart}, {apart.term_days} days, like for like"
        tables.append((heading, tables_money.of_apart(apart, result.currency)))
        data["apart"] = apart.table
        finding = finding.with_caveats(note.text for note in apart.notes)
    return Answer(data, finding, tuple(tables))


def reserve_options(parser: argparse.ArgumentParser) -> None:
    """Add what a reserve can be asked."""
    parser.add_argument("--claim-cost", type=float, metavar="AMOUNT", help="the record's if not")
    parser.add_argument("--ahead", type=float, metavar="DAYS", help="only claims within them")
    parser.add_argument(
        "--recent", action="store_true", help="the latest months too, completed by what is to come"
    )


def hold(args: argparse.Namespace) -> Answer:
    """Work out the money to hold."""
    followup = selected(args)
    result = reserve(followup, claim_cost=args.claim_cost, ahead_days=args.ahead)
    tables = [
        ("By month", tables_money.of_months(result)),
        ("What it is made of", tables_money.of_parts(result)),
        ("By term and age", tables_money.of_open(result)),
    ]
    data = as_json.reserve(result)
    if args.recent:
        recent = maturity(followup)
        data["recent"] = recent.table
        tables.append(("Hand-backs of the latest months, completed", of_months(recent)))
    return Answer(data, wording_money.of_reserve(result), tuple(tables))


def backtest_options(parser: argparse.ArgumentParser) -> None:
    """Add what the score can be asked."""
    parser.add_argument("--terms", default=DAYS, metavar="DAYS", help="to score (%(default)s)")
    parser.add_argument(
        "--ahead",
        type=int,
        default=AHEAD_DAYS,
        metavar="DAYS",
        help="between the past days stood on; a reserve looks so far ahead (%(default)s)",
    )
    parser.add_argument("--claim-cost", type=float, metavar="AMOUNT", help="the record's if not")


def score(args: argparse.Namespace) -> Answer:
    """Score earlier quotes and reserves."""
    result = backtest(
        selected(args),
        terms=days_of(args.terms, option="--terms"),
        ahead_days=args.ahead,
        claim_cost=args.claim_cost,
    )
    tables = (
        ("Score", tables_money.of_scores(result)),
        ("Every forecast", tables_money.of_forecasts(result)),
    )
    return Answer(as_json.backtest(result), wording_money.of_backtest(result), tables)


def _offer(text: str) -> Offer:
    try:
        term, price, uptake = (float(part) for part in text.split(":"))
    except ValueError:
        raise RequestError(
            f"--offer {text}: write it as DAYS:PRICE:UPTAKE, like 180:12:0.4."
        ) from None
    return Offer(term, price, uptake)


def _write_statement(args: argparse.Namespace, result: Quote, terms: tuple[float, ...]) -> None:
    missing = [
        f"--{name.replace('_', '-')}"
        for name in ("workshop", "repaired", "starts_on", "jurisdiction")
        if not getattr(args, name)
    ]
    if missing or len(terms) != 1:
        needs = [*missing, *(["a single term in --terms"] if len(terms) != 1 else [])]
        raise RequestError(f"A statement needs {', '.join(needs)}. Give them too.")
    if not result.table["supported"].iloc[0]:
        raise RequestError(f"This term can't be promised: {result.table['why_not'].iloc[0]}")
    page = warranty_page(
        Statement(
            workshop=args.workshop,
            repaired=args.repaired,
            starts_on=args.starts_on,
            term_days=int(terms[0]),
            caution=wording.STATUTORY,
            jurisdiction=args.jurisdiction,
            exclusions=tuple(args.exclude),
            kind=args.kind,
        )
    )
    try:
        Path(args.statement).write_text(page, encoding="utf-8")
    except OSError as error:
        raise SourceError(f"{args.statement} can't be written: {error.strerror}.") from error
