"""The verb that looks back: how comebacks went, by group, month and cause."""

from __future__ import annotations

import argparse
from pathlib import Path

import pandas as pd

from insights import as_json, tables_review, wording_review
from insights.answer import Answer
from insights.asked import DAYS, days_of, names_of, selected
from insights.errors import RequestError, SourceError
from insights.harmless import harmless_frame
from insights.reviewing.call_back import (
    SAMPLE,
    call_back_sample,
    failed_share,
    read_answers,
)
from insights.reviewing.cohorts import year_on_year
from insights.reviewing.dearest import costs_by_cause
from insights.reviewing.rates import review
from insights.wording import Finding


def review_options(parser: argparse.ArgumentParser) -> None:
    """Add what a review can be asked."""
    parser.add_argument(
        "--by", metavar="COLUMNS", help="review by these only, such as technician,lot_contact"
    )
    parser.add_argument("--at", default=DAYS, metavar="DAYS")
    calls = parser.add_argument_group("owners called: not every unit that fails is brought back")
    calls.add_argument(
        "--call-list", metavar="FILE.csv", help="draw owners to call, with an empty answer each"
    )
    calls.add_argument("--calls", type=int, default=SAMPLE, metavar="UNITS")
    calls.add_argument("--seed", type=int, default=1, help="another seed draws other owners")
    calls.add_argument("--answers", metavar="FILE.csv", help="the list, answered")


def look_back(args: argparse.Namespace) -> Answer:
    """Review comebacks by group, month and cause."""
    days = _whole_days(args.at)
    answers = read_answers(Path(args.answers)) if args.answers else None
    followup = selected(args)
    drawn = call_back_sample(followup, size=args.calls, seed=args.seed) if args.call_list else None
    if drawn is not None:
        _write(drawn, args.call_list)
    result = review(followup, by=names_of(args.by), days=days)
    day = wording_review.headline_day(result)
    year, costs = year_on_year(followup), costs_by_cause(followup)
    tables = [
        *tables_review.by_group(result, day),
        ("What comebacks cost", tables_review.of_costs(costs)),
    ]
    tables.append(("Nothing failed", tables_review.of_costs_apart(costs)))
    found = wording_review.of_review(result)
    texts = [wording_review.of_year(year), found, wording_review.of_costs(costs)]
    data = as_json.review(result, year, costs)
    if answers is not None:
        share = failed_share(followup, answers, day)
        texts.append(wording_review.of_corrected(share, day))
        data["call_back"] = {"day": day, **as_json.corrected(share)}
    if drawn is not None:
        data["call_list"] = drawn
    sentence = "\n".join(text.sentence for text in texts)
    caveats = dict.fromkeys(caveat for text in texts for caveat in text.caveats)
    return Answer(data, Finding(sentence, tuple(caveats)), tuple(tables))


def _whole_days(text: str) -> tuple[int, ...]:
    days = days_of(text)
    if any(day != int(day) for day in days):
        raise RequestError(f"--at {text}: a review takes whole days, like {DAYS}.")
    return tuple(int(day) for day in days)


def _write(drawn: pd.DataFrame, path: str) -> None:
    try:
        harmless_frame(drawn).to_csv(Path(path), index=False, date_format="%Y-%m-%d")
    except OSError as error:
        raise SourceError(f"{path} can't be written: {error.strerror}.") from error
