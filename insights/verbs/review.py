"""The verb that looks back: how comebacks went, by group, month and cause."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

import pandas as pd

from insights import as_json
from insights.errors import RequestError
from insights.followup import Followup
from insights.harmless import harmless_frame
from insights.history.book.address import is_book
from insights.history.book.people import Person
from insights.reviewing.call_back import (
    SAMPLE,
    call_back_sample,
    failed_if_known,
    failed_share,
    given_answers,
    read_answers,
)
from insights.reviewing.cohorts import year_on_year
from insights.reviewing.dearest import costs_by_cause
from insights.reviewing.kept_calls import answers_in, drawn_in, keep_answer, keep_drawn
from insights.reviewing.rates import review
from insights.tables import review as tables_review
from insights.verbs.answer import Answer
from insights.verbs.asked import DAYS, as_of_day, days_of, names_of, selected
from insights.verbs.book import name_or_user
from insights.verbs.leaving import note_leaving
from insights.verbs.writing import write
from insights.wording import Finding
from insights.wording import review as wording_review


def review_options(parser: argparse.ArgumentParser) -> None:
    """Add what a review can be asked."""
    parser.add_argument(
        "--by", metavar="COLUMNS", help="review by these only, such as technician,lot_contact"
    )
    parser.add_argument(
        "--at", default=DAYS, metavar="DAYS", help="comebacks within these days (%(default)s)"
    )
    calls = parser.add_argument_group("owners called: not every unit that fails is brought back")
    calls.add_argument(
        "--call-list", metavar="FILE.csv", help="draw owners to call, with an empty answer each"
    )
    calls.add_argument(
        "--calls", type=int, default=SAMPLE, metavar="UNITS", help="owners to draw (%(default)s)"
    )
    calls.add_argument("--seed", type=int, default=1, help="another seed draws other owners")
    calls.add_argument(
        "--answers", metavar="FILE.csv", help="the list, answered; a job book keeps both"
    )
    calls.add_argument(
        "--called-by", metavar="NAME", help="who calls; this machine's user if not said"
    )


def look_back(args: argparse.Namespace) -> Answer:
    """Review comebacks by group, month and cause."""
    days = _whole_days(args.at)
    given = read_answers(Path(args.answers)) if args.answers else None
    followup = selected(args)
    drawn, answers = _calls(args, followup, given)
    result = review(followup, by=names_of(args.by), days=days)
    day = wording_review.headline_day(result)
    year, costs = year_on_year(followup), costs_by_cause(followup)
    tables = [*tables_review.by_group(result, day)]
    if costs.billed:
        tables.append(("What comebacks cost", tables_review.of_costs(costs)))
        tables.append(("Nothing failed", tables_review.of_costs_apart(costs)))
    found = wording_review.of_review(result)
    texts = [wording_review.of_year(year), found, wording_review.of_costs(costs)]
    data = as_json.review(result, year, costs)
    share = failed_if_known(followup, answers, day)
    if given is not None and share is None:
        share = failed_share(followup, given, day)  # says why it can't be worked out
    if share is not None:
        texts.append(wording_review.of_corrected(share, day))
        data["call_back"] = {"day": day, **as_json.corrected(share)}
    if drawn is not None:
        data["call_list"] = drawn
    sentence = "\n".join(text.sentence for text in texts)
    caveats = dict.fromkeys(caveat for text in texts for caveat in text.caveats)
    return Answer(data, Finding(sentence, tuple(caveats)), tuple(tables))


def _calls(
    args: argparse.Namespace, followup: Followup, given: pd.DataFrame | None
) -> tuple[pd.DataFrame | None, pd.DataFrame | None]:
    """Draw owners where that is asked; the draw, and what was answered so far."""
    if not is_book(args.source):
        return (_drawn(args, followup) if args.call_list else None), given
    if given is None and not args.call_list:
        return None, answers_in(args.source, as_of_day(args))
    from insights.history.book.opening import open_book

    book = open_book(args.source)
    person = Person(name_or_user(args.called_by, "--called-by"))
    if given is not None:
        for row in given_answers(given).itertuples(index=False):
            keep_answer(book, row.job_id, row.answer, by=person)
    drawn = None
    if args.call_list:
        before = drawn_in(book)["job_id"]
        called = f"owners to call: {args.calls} units, to {args.call_list}"
        note_leaving(args.source, args.called_by, called, option="--called-by")
        drawn = _drawn(args, followup, tuple(before))
        keep_drawn(book, drawn["job_id"], date.today(), by=person)
    return drawn, answers_in(args.source)


def _drawn(
    args: argparse.Namespace, followup: Followup, leave_out: tuple[str, ...] = ()
) -> pd.DataFrame:
    drawn = call_back_sample(followup, size=args.calls, seed=args.seed, leave_out=leave_out)
    write(args.call_list, harmless_frame(drawn).to_csv(index=False, date_format="%Y-%m-%d"))
    return drawn


def _whole_days(text: str) -> tuple[int, ...]:
    days = days_of(text)
    if any(day != int(day) for day in days):
        raise RequestError(f"--at {text}: a review takes whole days, like {DAYS}.")
    return tuple(int(day) for day in days)
