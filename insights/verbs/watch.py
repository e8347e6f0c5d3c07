"""The verb that watches: signals, units to call in, practices left out."""

from __future__ import annotations

import argparse
import sys

import pandas as pd

from insights import as_json
from insights.errors import RequestError, SourceError
from insights.followup import Followup
from insights.harmless import harmless_frame
from insights.money.costs import comeback_cost_if_recorded
from insights.report.recall_page import recall_page
from insights.reviewing.kept_limits import KeptLimits
from insights.reviewing.kept_watch import WatchSettings
from insights.reviewing.missing import missing_practices
from insights.reviewing.recall import Recall, recall_list
from insights.reviewing.signals import FINISHED, Signals
from insights.reviewing.watch import FALSE_ALARMS_A_YEAR, watch
from insights.reviewing.watched import watched_in
from insights.tables import watch as tables_watch
from insights.verbs.answer import Answer
from insights.verbs.asked import selected
from insights.verbs.leaving import note_leaving
from insights.verbs.writing import write
from insights.wording import Finding
from insights.wording import watch as wording_watch

LISTED = 12


def watch_options(parser: argparse.ArgumentParser) -> None:
    """Add what a watch can be asked."""
    parser.add_argument(
        "--false-alarms",
        type=float,
        metavar="A_YEAR",
        help="signals a year that are put up with while nothing is wrong, all charts together "
        f"({FALSE_ALARMS_A_YEAR:g}, or what the book says)",
    )
    parser.add_argument(
        "--dangerous",
        action="append",
        default=[],
        metavar="CODE",
        help="a root cause of which the first case is a signal",
    )
    parser.add_argument(
        "--actions",
        metavar="FILE.csv",
        help="what was done about signals: chart, date, done, and chance (yes, no); a job book "
        "keeps its own",
    )
    parser.add_argument("--seed", type=int, default=1, help="of the simulated limits")
    recall = parser.add_argument_group("units to call in")
    recall.add_argument("--recall", metavar="CHART", help="what is suspect, such as lot_contact=B7")
    recall.add_argument(
        "--handed-back-from", metavar="DAY", help="only those handed back on this day or later"
    )
    recall.add_argument(
        "--handed-back-to", metavar="DAY", help="only those handed back on this day or earlier"
    )
    recall.add_argument("--call-cost", type=float, metavar="AMOUNT", help="calling one unit in")
    recall.add_argument(
        "--comeback-cost", type=float, metavar="AMOUNT", help="the record's mean when not given"
    )
    recall.add_argument(
        "--may-hurt", action="store_true", help="someone may be hurt: costs don't decide"
    )
    recall.add_argument("--status", metavar="FILE.csv", help="how far each is: job_id, status")
    recall.add_argument(
        "--called-by", metavar="NAME", help="who calls; this machine's user if not said"
    )
    recall.add_argument("--list", metavar="FILE.csv", help="write the list for a spreadsheet")
    recall.add_argument("--print", metavar="FILE.html", help="write the list as a page to print")


def watch_over(args: argparse.Namespace) -> Answer:
    """Say what sounds, and list the units to call in where that was asked."""
    followup = selected(args)
    kept = KeptLimits()
    wanted, done = _wanted(args)
    signals = watch(
        followup,
        false_alarms_a_year=wanted.false_alarms_a_year,
        dangerous=wanted.dangerous,
        actions=done,
        seed=args.seed,
        kept=kept,
        progress=tell_limits if sys.stderr.isatty() and not args.json else None,
    )
    left_out = missing_practices(followup)
    found = wording_watch.of_signals(signals).with_caveats(text for text in (kept.save(),) if text)
    texts = [found, wording_watch.of_missing(left_out)]
    data = as_json.watch(signals, left_out)
    tables = [
        ("Signals", tables_watch.of_signals(signals)),
        ("Charts nearest to their limit", tables_watch.of_charts(_nearest(signals))),
        ("Practices left out", tables_watch.of_missing(left_out)),
    ]
    if args.recall:
        recall = _recall(args, followup)
        _note(args, recall)
        texts.insert(1, wording_watch.of_recall(recall))
        tables.insert(1, ("Units to call in", tables_watch.of_recall(recall)))
        data["recall"] = as_json.recall(recall)
        _write_out(args, recall, followup)
    sentence = "\n".join(text.sentence for text in texts)
    caveats = tuple(dict.fromkeys(caveat for text in texts for caveat in text.caveats))
    shown = tuple((heading, table) for heading, table in tables if len(table))
    return Answer(data, Finding(sentence, caveats), shown)


def _wanted(args: argparse.Namespace) -> tuple[WatchSettings, pd.DataFrame | None]:
    """Read what is to be watched, and what was done: as asked, else as the book says."""
    kept, done = watched_in(args.source), _file(args.actions)
    wanted, done = kept.settings, kept.actions if done is None else done
    rate = wanted.false_alarms_a_year if args.false_alarms is None else args.false_alarms
    return WatchSettings(tuple(args.dangerous) or wanted.dangerous, rate), done


def _nearest(signals: Signals) -> Signals:
    """Keep the charts highest against their limits."""
    charts = signals.charts[signals.charts["state"] != FINISHED]
    if charts.empty:
        return signals.with_charts(charts)
    height = charts["level"] / charts["limit"]
    kept = charts.loc[height.sort_values(ascending=False, kind="stable").index[:LISTED]]
    return signals.with_charts(kept)


def _recall(args: argparse.Namespace, followup: Followup) -> Recall:
    cost = args.comeback_cost
    if cost is None and (recorded := comeback_cost_if_recorded(followup)) is not None:
        cost = recorded.mean
    return recall_list(
        followup,
        args.recall,
        since=args.handed_back_from,
        until=args.handed_back_to,
        call_in_cost=args.call_cost,
        comeback_cost=cost,
        dangerous=args.may_hurt,
        status=_file(args.status),
    )


def _note(args: argparse.Namespace, recall: Recall) -> None:
    """Write down that customers are named: in the answer itself, and in files."""
    files = "".join(f", to {file}" for file in (args.list, args.print) if file)
    called = f"to call in: {len(recall.table)} units{files}"
    note_leaving(args.source, args.called_by, called, option="--called-by")


def _write_out(args: argparse.Namespace, recall: Recall, followup: Followup) -> None:
    if args.list:
        table = recall.table.assign(handed_back=recall.table["handed_back"].dt.strftime("%Y-%m-%d"))
        write(args.list, harmless_frame(table).to_csv(index=False))
    if args.print:
        write(args.print, recall_page(recall, followup.data_date))


def _file(path: str | None) -> pd.DataFrame | None:
    if path is None:
        return None
    try:
        return pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except OSError as error:
        raise SourceError(f"{path} can't be read: {error.strerror}.") from error
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RequestError(f"{path} is no CSV file that can be read: {error}.") from error


def tell_limits(share: float) -> None:
    """Tell on the terminal how far the limits are."""
    end = "\n" if share > 1 - 1e-9 else ""  # parts added up
    print(f"\rWorking out limits: {share:.0%}", end=end, file=sys.stderr, flush=True)
