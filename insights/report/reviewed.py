"""The answers of a report that look back and watch: better or worse, costs, signals, habits."""

from __future__ import annotations

from collections.abc import Callable

from insights.followup import Followup
from insights.money.costs import comeback_cost_if_recorded
from insights.report.section import Found, Sheet
from insights.reviewing.cohorts import year_on_year
from insights.reviewing.dearest import costs_by_cause
from insights.reviewing.kept_limits import KeptLimits
from insights.reviewing.missing import missing_practices
from insights.reviewing.rates import review
from insights.reviewing.recall import Recall, can_be_suspect, recall_list
from insights.reviewing.signals import Signals
from insights.reviewing.watch import watch
from insights.reviewing.watched import Watched
from insights.tables import review as tables_review
from insights.tables import watch as tables_watch
from insights.wording import Finding
from insights.wording import review as wording_review
from insights.wording import watch as wording_watch

MOST_RECALLS = 3
Share = Callable[[float], None]


def this_year(followup: Followup) -> Found:
    """Set this year beside last."""
    return Found(wording_review.of_year(year_on_year(followup)))


def better_or_worse(followup: Followup) -> Found:
    """Compare groups with what their mix of work lets one expect, as the verb does."""
    result = review(followup)
    day = wording_review.headline_day(result)
    sheets = tuple(Sheet(heading, table) for heading, table in tables_review.by_group(result, day))
    return Found(wording_review.of_review(result), sheets=sheets, method=result.method)


def what_they_cost(followup: Followup) -> Found:
    """Add up what comebacks cost by root cause."""
    costs = costs_by_cause(followup)
    found = wording_review.of_costs(costs)
    if not costs.billed:
        return Found(found, method=costs.method)
    sheets = (
        Sheet("What comebacks cost, by root cause", tables_review.of_costs(costs)),
        Sheet("Arrivals on which nothing had failed", tables_review.of_costs_apart(costs)),
    )
    return Found(found, sheets=sheets, method=costs.method)


def watched_signals(
    followup: Followup, watched: Watched, progress: Share | None = None
) -> tuple[Signals, str]:
    """Watch with limits kept between runs; the signals, and why limits can't be kept, if so."""
    kept = KeptLimits()
    signals = watch(
        followup,
        false_alarms_a_year=watched.settings.false_alarms_a_year,
        dangerous=watched.settings.dangerous,
        actions=watched.actions,
        kept=kept,
        progress=progress,
    )
    return signals, kept.save()


def what_sounds(
    followup: Followup, watched: Watched, *, customers: bool, progress: Share | None = None
) -> Found:
    """Say what sounds, and list the units still out with what is suspect.

    Parameters
    ----------
    followup
        The hand-backs.
    watched
        What is watched.
    customers
        Whether customers' references and telephones stand in the lists.
    progress
        Told the share of the limits worked out.
    """
    signals, remark = watched_signals(followup, watched, progress)
    found = wording_watch.of_signals(signals).with_caveats([remark] if remark else [])
    sheets = [Sheet("Signals", tables_watch.of_signals(signals))]
    for recall in units_to_call_in(followup, signals, watched):
        what = wording_watch.name_of(recall.chart)
        said = wording_watch.of_recall(recall)
        found = found.followed_by(Finding(f"{what}: {said.sentence}", said.caveats))
        sheets.append(recall_sheet(recall, customers=customers))
    return Found(found, sheets=tuple(sheets), method=signals.method)


def units_to_call_in(followup: Followup, signals: Signals, watched: Watched) -> tuple[Recall, ...]:
    """List the units still out for each lot that sounds; other signals name no part to look for."""
    suspects = set(can_be_suspect(followup))
    lots = signals.open[signals.open["kind"] == "lot"]
    charts = [chart for chart in dict.fromkeys(lots["chart"]) if chart in suspects]
    cost = comeback_cost_if_recorded(followup) if charts else None
    mean = None if cost is None else cost.mean
    return tuple(
        recall_list(followup, chart, comeback_cost=mean, status=watched.statuses(chart))
        for chart in charts[:MOST_RECALLS]
    )


def recall_sheet(recall: Recall, *, customers: bool) -> Sheet:
    """Print a recall list, without the customers unless they are wanted."""
    table = tables_watch.of_recall(recall)
    aside = () if customers else tables_watch.PERSONAL
    kept = table.drop(columns=[name for name in aside if name in table])
    return Sheet(f"Still out: {wording_watch.name_of(recall.chart)}", kept)


def practices_left_out(followup: Followup) -> Found:
    """Say which practices were left that the checklist asks for, and how such jobs fared."""
    missing = missing_practices(followup)
    sheet = Sheet("Jobs with and without what is asked for", tables_watch.of_missing(missing))
    return Found(wording_watch.of_missing(missing), sheets=(sheet,), method=missing.method)
