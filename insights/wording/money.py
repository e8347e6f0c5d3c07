"""What a warranty costs, in plain sentences."""

from __future__ import annotations

from typing import Any

import pandas as pd

from insights.money.backtest import Backtest
from insights.money.quote import Quote
from insights.money.reserve import PAST_EVIDENCE, Reserve
from insights.wording import STATUTORY, Finding, amount_of, counted, whole

KINDS = {
    "non_renewing": "a repair under warranty does not lengthen it",
    "minimal_repair": "a repair under warranty puts the unit back as old as it was",
    "renewing": "a repair under warranty starts it again",
    "pro_rata": "the refund shrinks day by day",
}
PAST = "Claims are what came back to us under the rules in force, not what failed."


def of_quote(quote: Quote) -> Finding:
    """Say what each term costs, and which term the record does not carry."""
    stated = quote.table[quote.table["supported"]]
    refused = quote.table[~quote.table["supported"]]
    if stated.empty:
        reasons = " ".join(dict.fromkeys(refused["why_not"]))
        return Finding(f"No term can be quoted on this record. {reasons}", _caveats(quote))
    parts = "; ".join(
        f"{row.claims_per_100:.1f} within {row.term_days:g} days ({row.low:.1f} to {row.high:.1f})"
        for row in stated.itertuples()
    )
    batch = whole(quote.assumptions.batch)
    sentence = f"Of each 100 of the next {batch} jobs like these, expect claims from {parts}."
    if stated_loading(quote):
        charges = ", ".join(amount_of(loading, quote.currency, 2) for loading in stated["loading"])
        sentence += f" To be safe, each job's price must carry {charges}."
    if len(refused):
        days = ", ".join(f"{term:g}" for term in refused["term_days"])
        are = "is" if len(refused) == 1 else "are"
        sentence += f" {days} days {are} not quoted. {refused['why_not'].iloc[-1]}"
    return Finding(sentence, _caveats(quote))


def stated_loading(quote: Quote) -> bool:
    """Tell whether every quoted term has what a price must carry."""
    stated = quote.table[quote.table["supported"]]
    return bool(len(stated) and stated["loading"].notna().all())


def target_met(quote: Quote) -> str:
    """Say which term meets the target, where one was set."""
    longest = quote.longest_term_for_target
    if pd.isna(longest):
        return ""
    if longest == 0:
        return "No term meets the target."
    return f"The longest term that meets the target is {longest:g} days."


def _caveats(quote: Quote) -> tuple[str, ...]:
    assumed = quote.assumptions
    texts = [
        f"The range is for the next {assumed.batch:,} jobs, {assumed.level:.0%} likely to hold; "
        f"{KINDS[assumed.kind]}.",
    ]
    if met := target_met(quote):
        texts.insert(0, met)
    if stated_loading(quote):
        texts.append(
            f"What each price must carry keeps a pool of {whole(assumed.pool_jobs)} such jobs "
            f"from falling short {1 - assumed.short_pool_chance:.0%} of the time."
        )
    if pd.notna(quote.best_term_for_margin):
        texts.append(
            f"Of the offers asked about, {quote.best_term_for_margin:g} days leaves the best "
            "margin, if the uptake is as assumed: the record can't tell the uptake."
        )
    notes = dict.fromkeys(note.text for note in quote.notes)
    return (*texts, *notes, PAST, STATUTORY)


def of_reserve(reserve: Reserve) -> Finding:
    """Say how much to hold, how sure that is, and when it falls due."""
    waiting = int(reserve.parts["jobs"].iloc[-1])
    if not reserve.jobs and not waiting:
        return Finding(
            "No hand-back is open to a claim and no comeback is unsettled: nothing need be held.",
            _reserve_caveats(reserve),
        )
    exposed = _exposed(reserve, waiting)
    if pd.isna(reserve.expected):
        return Finding(
            f"{exposed}. What they cost is not known: give the cost of a claim.",
            _reserve_caveats(reserve),
        )
    cut_short = any(note.code == PAST_EVIDENCE for note in reserve.notes)
    sentence = (
        f"Set aside {'at least ' * cut_short}{amount_of(reserve.p90, reserve.currency)}: nine "
        "times in ten that is enough"
        f"{' for what the record can tell of, which is not all' * cut_short}, and "
        f"{amount_of(reserve.expected, reserve.currency)} is expected. {exposed}."
    )
    due = reserve.months.head(1)
    if len(due):
        first = amount_of(due["expected"].iloc[0], reserve.currency)
        sentence += f" {first} of it falls in {due['month'].iloc[0]}."
    return Finding(sentence, _reserve_caveats(reserve))


def _exposed(reserve: Reserve, waiting: int) -> str:
    if not reserve.jobs:
        one = f"{counted(waiting, 'comeback is', 'comebacks are')} not settled"
        return f"No hand-back is open to a claim; {one}"
    claims = reserve.claims
    return (
        f"{counted(reserve.jobs, 'hand-back is', 'hand-backs are')} open to a claim; expect "
        f"{claims.mean:.1f} claims from {'it' if reserve.jobs == 1 else 'them'} "
        f"({claims.low} to {claims.high})"
    )


def of_backtest(score: Backtest) -> Finding:
    """Say how earlier quotes and reserves would have done, also when it is bad."""
    if score.scores.empty:
        return Finding(
            "The record is too short: no past day can be stood on and scored.",
            tuple(note.text for note in score.notes),
        )
    parts = "; ".join(_scored(row) for row in score.scores.itertuples())
    return Finding(
        "Standing on past days with what was known then, ranges meant to hold "
        f"{score.level:.0%} of the time held for: {parts}.",
        tuple(dict.fromkeys(note.text for note in score.notes)),
    )


def _scored(row: Any) -> str:
    doubt = " (too sure of itself)" if row.too_confident else ""
    ratio = ""
    if pd.notna(row.ratio):
        ratio = f", {row.ratio:.2f} times the claims expected came"
    return f"{row.what} {row.inside} of {row.forecasts}{doubt}{ratio}"


def _reserve_caveats(reserve: Reserve) -> tuple[str, ...]:
    notes = dict.fromkeys(note.text for note in reserve.notes)
    level = (f"The range of claims is {reserve.level:.0%} likely to hold.",) * bool(reserve.jobs)
    return (*level, *notes, PAST)
