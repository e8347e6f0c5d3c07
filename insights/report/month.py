"""The answers of a monthly summary: sentences first, and only the tables one acts on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import pandas as pd

from insights import tables, wording
from insights.bench.comebacks import comebacks, undecided
from insights.followup import Followup
from insights.money.reserve import reserve
from insights.report.reviewed import Share, recall_sheet, units_to_call_in, watched_signals
from insights.report.section import Found, Progress, Section, Sheet, answered
from insights.reviewing.call_back import failed_if_known
from insights.reviewing.cohorts import year_on_year
from insights.reviewing.one_month import one_month
from insights.reviewing.watched import Watched
from insights.standing import standing
from insights.survival.maturity import maturity
from insights.tables import bench as tables_bench
from insights.tables import watch as tables_watch
from insights.wording import Finding
from insights.wording import bench as wording_bench
from insights.wording import calls as wording_calls
from insights.wording import money as wording_money
from insights.wording import month as wording_month
from insights.wording import review as wording_review
from insights.wording import watch as wording_watch

MOST_LISTED = 12
MONTHS_SHOWN = 6


@dataclass(frozen=True)
class MonthWanted:
    """What a monthly summary is to hold.

    Parameters
    ----------
    month
        The month it is about.
    watched
        What is watched, and what was done about signals.
    decides
        Whether comebacks are decided in this source, so that those waiting are listed.
    customers
        Whether customers' references and telephones stand in the lists of units to call in.
    answers
        What owners called answered, where a book knows.
    """

    month: pd.Period
    watched: Watched = field(default_factory=Watched)
    decides: bool = False
    customers: bool = False
    answers: pd.DataFrame | None = None


def month_sections(
    followup: Followup, wanted: MonthWanted, progress: Progress, limits: Share | None = None
) -> Iterator[Section]:
    """Work out a month's answers one after the other.

    Parameters
    ----------
    followup
        The hand-backs, as known at the month's end.
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
    questions = [
        ("month", wording_month.name_of(wanted.month), partial(_month, followup, wanted)),
        ("year", "Are we getting better?", partial(_year, followup, wanted.answers)),
        ("signals", "Trouble early", partial(_signals, followup, wanted, limits)),
        ("months", "The latest months", partial(_months, followup)),
        ("reserve", "What to hold", partial(_held, followup)),
        ("problems", "What wants attention in the record", partial(_attention, followup)),
    ]
    if wanted.decides:
        questions.append(("undecided", "Comebacks to decide", partial(_undecided, followup)))
    return answered(questions, progress)


def _month(followup: Followup, wanted: MonthWanted) -> Found:
    found = one_month(followup, wanted.month)
    sheets = [Sheet("Beside the months before", wording_month.table_of_months(found))]
    more = len(found.arrivals) - wording_month.MOST_ARRIVALS
    rest = f" (the latest; {more} more)" if more > 0 else ""
    sheets.append(Sheet(f"What came back{rest}", wording_month.table_of_arrivals(found)))
    said = wording_month.of_month(found).followed_by(wording_month.of_arrivals(found))
    return Found(said, sheets=tuple(sheets), method=found.method)


def _year(followup: Followup, answers: pd.DataFrame | None) -> Found:
    found = wording_review.of_year(year_on_year(followup))
    if failed := failed_if_known(followup, answers, wording.HEADLINE_DAY):
        found = found.followed_by(Finding(wording_calls.of_failed(failed, wording.HEADLINE_DAY)))
    return Found(found)


def _signals(followup: Followup, wanted: MonthWanted, limits: Share | None) -> Found:
    signals, remark = watched_signals(followup, wanted.watched, limits)
    waiting = replace(signals, table=signals.open)
    found = wording_watch.of_signals(signals).with_caveats([remark] if remark else [])
    listed = tables_watch.of_signals(waiting).drop(columns="State").head(MOST_LISTED)
    sheets = [Sheet("Open signals", listed)]
    for recall in units_to_call_in(followup, signals, wanted.watched):
        what = wording_watch.name_of(recall.chart)
        said = wording_watch.of_recall(recall)
        found = found.followed_by(Finding(f"{what}: {said.sentence}", said.caveats))
        sheets.append(_shortened(recall_sheet(recall, customers=wanted.customers)))
    return Found(found, sheets=tuple(sheets), method=signals.method)


def _months(followup: Followup) -> Found:
    recent = maturity(followup)
    sheet = Sheet("Month of hand-back, completed", tables.of_months(recent).head(MONTHS_SHOWN))
    notes = tuple(note.text for note in recent.notes)
    return Found(Finding(wording.YOUNG_MONTHS, notes), sheets=(sheet,), method=recent.method)


def _held(followup: Followup) -> Found:
    held = reserve(followup)
    return Found(wording_money.of_reserve(held), method=held.method)


def _attention(followup: Followup) -> Found:
    wants = standing(followup).attention
    if wants.empty:
        return Found(Finding("Nothing: every row loads and the dates agree."))
    rows = wants.itertuples(index=False)
    sentence = "; ".join(f"{wording.whole(row.count)} {row.what}" for row in rows)
    return Found(Finding(f"{sentence}. The page about the record says what to do."))


def _undecided(followup: Followup) -> Found:
    waiting = undecided(comebacks(followup.history, followup.links, followup.data_date))
    table = tables_bench.of_queue(waiting)
    sheet = _shortened(Sheet("They wait", table)) if len(table) else Sheet("They wait", table)
    return Found(wording_bench.of_waiting(waiting), sheets=(sheet,))


def _shortened(sheet: Sheet) -> Sheet:
    more = len(sheet.table) - MOST_LISTED
    heading = (
        f"{sheet.heading} (the first {MOST_LISTED}; {more} more)" if more > 0 else sheet.heading
    )
    return Sheet(heading, sheet.table.head(MOST_LISTED))
