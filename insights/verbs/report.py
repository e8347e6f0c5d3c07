"""The verb `report`: the answers on paper."""

from __future__ import annotations

import argparse
import sys
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from insights import wording
from insights.errors import RequestError, SourceError
from insights.followup import Followup
from insights.money.costs import ComebackCost, Costs, given_or_recorded
from insights.reviewing.kept_calls import answers_in
from insights.reviewing.watched import watched_in
from insights.verbs.answer import Answer
from insights.verbs.asked import as_of_day, names_of, selected
from insights.verbs.leaving import note_leaving
from insights.verbs.watch import tell_limits
from insights.verbs.writing import say, write
from insights.wording import day_of


def report_options(parser: argparse.ArgumentParser) -> None:
    """Add what a report can be asked."""
    parser.add_argument("--to", metavar="FILE.html", required=True, help="the page to write")
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="to print on (%(default)s)"
    )
    parser.add_argument(
        "--workshop", metavar="NAME", help="printed at its head; the book's if not said"
    )
    parser.add_argument("--by", metavar="COLUMNS", help="compare the groups of these columns")
    parser.add_argument("--claim-cost", type=float, metavar="AMOUNT", help="the record's if not")
    parser.add_argument(
        "--customers",
        action="store_true",
        help="name customers and telephones in the lists of units to call in",
    )
    parser.add_argument(
        "--called-by", metavar="NAME", help="who calls them; this machine's user if not said"
    )
    money = parser.add_argument_group("do the practices pay")
    money.add_argument(
        "--practice-cost",
        action="append",
        default=[],
        metavar="NAME=PART:MINUTES",
        help="what one more job done so costs, such as contact_pair=0.60:1",
    )
    money.add_argument("--rate", type=float, metavar="AMOUNT", help="an hour at the bench")
    money.add_argument("--comeback-cost", type=float, metavar="AMOUNT", help="the record's if not")


def report(args: argparse.Namespace) -> Answer:
    """Work out a report and write it."""
    # Drawing takes half a second to import, which no other verb should wait for.
    from insights.report.contents import Wanted, sections
    from insights.report.page import Cover, page

    to = Path(args.to)
    if not to.resolve().parent.is_dir():  # said before the work, not after it
        raise SourceError(f"{to} can't be written: there is no folder {to.parent}. Make it first.")
    followup = selected(args)
    watched = watched_in(args.source)
    wanted = Wanted(
        by=names_of(args.by) or (),
        costs=_costs(args, followup),
        claim_cost=args.claim_cost,
        watched=watched,
        customers=args.customers,
        answers=answers_in(args.source, as_of_day(args)),
    )
    if args.customers:
        what = f"customers of units to call in, to {args.to}"
        note_leaving(args.source, args.called_by, what, option="--called-by")
    limits = tell_limits if sys.stderr.isatty() else None
    parts = tuple(sections(followup, wanted, say, limits))
    cover = Cover(
        workshop=watched.workshop if args.workshop is None else args.workshop,
        period=_period(args, followup),
        source=Path(followup.history.source).name,
        made=f"Made on {day_of(pd.Timestamp.today())} by staysfixed {version('staysfixed')}.",
    )
    text = page(cover, parts, (wording.SAFETY, wording.STATUTORY), args.paper)
    write(to, text)
    told = [{"title": part.title, "sentence": part.found.finding.sentence} for part in parts]
    sentence = f"{args.to} is written: {len(parts)} answers. Print it from any browser."
    return Answer({"file": args.to, "sections": told}, wording.Finding(sentence))


def _period(args: argparse.Namespace, followup: Followup) -> str:
    days = followup.history.jobs["handed_back"].iloc[followup.episodes["job"].to_numpy()]
    only = f" Only {', '.join(args.where)}." if args.where else ""
    return (
        f"Hand-backs from {day_of(days.min())} to {day_of(days.max())}, as known on "
        f"{day_of(followup.data_date)}.{only}"
    )


def _costs(args: argparse.Namespace, followup: Followup) -> dict[str, Costs]:
    if not args.practice_cost:
        return {}
    comeback = given_or_recorded(args.comeback_cost, followup)
    return dict(_cost(text, args.rate or 0.0, comeback) for text in args.practice_cost)


def _cost(text: str, rate: float, comeback: ComebackCost) -> tuple[str, Costs]:
    name, _, amounts = text.partition("=")
    try:
        part, minutes = (float(amount) for amount in amounts.split(":"))
    except ValueError:
        raise RequestError(
            f"--practice-cost {text}: write it as NAME=PART:MINUTES, like contact_pair=0.60:1."
        ) from None
    return name, Costs(part, minutes, rate, comeback)
