"""The `staysfixed` program: read, answer, print."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NoReturn

import pandas as pd

from insights import as_json, wording
from insights.errors import FormatQuestion, HeadingsError, RequestError, StaysfixedError
from insights.followup import COUNTS, FOLLOWS, GRACE_DAYS, Followup, follow_up, select
from insights.history.declared import Declared, remember
from insights.history.files import read_raw
from insights.history.headings import confirm, suggest_headings
from insights.history.intake import read_history
from insights.history.refusals import refused_path, write_refused
from insights.history.schema import History
from insights.history.units import LINK_AT, link_units
from insights.plain_table import plain_table
from insights.standing import standing
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves

BAD_INPUT = 2
DAYS = "90,180,365"


@dataclass(frozen=True)
class Answer:
    """What a verb has to say.

    Parameters
    ----------
    data
        The JSON object.
    finding
        The sentence and its caveats.
    tables
        Tables for people, each with its heading.
    """

    data: dict[str, Any]
    finding: wording.Finding
    tables: tuple[tuple[str, pd.DataFrame], ...] = ()


class _Parser(argparse.ArgumentParser):
    """An argument parser whose complaint is one line."""

    def error(self, message: str) -> NoReturn:
        raise RequestError(f"{message}. See `{self.prog} --help`.")


def main(words: Sequence[str] | None = None) -> int:
    """Run the program.

    Parameters
    ----------
    words
        The command line without the program's name; the process's own when not given.

    Returns
    -------
    int
        0, or 2 for bad input, with one line on stderr that says what is wrong and what to do.
    """
    try:
        args = _parser().parse_args(words)
        return int(args.run(args))
    except StaysfixedError as error:
        print(f"staysfixed: {_one_line(error)}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output (a pager, head) has seen enough: nothing is wrong.
        sys.stderr.close()
        return 0


def _one_line(error: StaysfixedError) -> str:
    """Put an error on one line, with the option of this program that answers it."""
    hint = ""
    if isinstance(error, HeadingsError):
        hint = " `staysfixed check FILE --suggest mapping.json` writes a mapping to start from."
    elif isinstance(error, FormatQuestion):
        hint = " Declare it with --date-format, --decimal or --sheet."
    return " ".join(str(error).split()) + hint


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="staysfixed",
        description="Comebacks, practices and warranty money of a repair workshop.",
        epilog=wording.SAFETY,
    )
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", required=True)
    for verb in ANALYSES:
        add = verbs.add_parser(verb.name, help=verb.answers, description=verb.answers)
        _common(add)
        verb.options(add)
        add.set_defaults(run=_analysis(verb))
    demo = verbs.add_parser("demo", help="write the invented workshop's history")
    demo.add_argument("--to", metavar="FOLDER", default="staysfixed-demo")
    demo.set_defaults(run=lambda args: _program("synthetic", "--to", args.to))
    show = verbs.add_parser("open", help="open the dashboard")
    show.add_argument("source", metavar="SOURCE", nargs="?")
    show.add_argument("--address", default="127.0.0.1", help="only this machine by default")
    show.add_argument("--port", type=int, default=8501)
    show.set_defaults(run=_open)
    return parser


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="SOURCE", help="CSV, XLSX or Parquet file")
    clock = parser.add_argument_group("the clock")
    clock.add_argument("--data-date", metavar="DAY", help="the history is complete up to this day")
    clock.add_argument("--follow", choices=FOLLOWS, default="covered")
    clock.add_argument("--count", choices=COUNTS, default="faults")
    clock.add_argument("--grace", type=int, default=GRACE_DAYS, metavar="DAYS")
    clock.add_argument("--link-at", type=float, default=LINK_AT, metavar="PROBABILITY")
    which = parser.add_argument_group("which hand-backs")
    which.add_argument("--since", metavar="DAY")
    which.add_argument("--until", metavar="DAY")
    which.add_argument("--where", action="append", default=[], metavar="COLUMN=VALUE")
    file = parser.add_argument_group("how the file is written")
    file.add_argument("--headings", metavar="FILE", help="a mapping written by `check --suggest`")
    file.add_argument("--date-format", metavar="FORMAT", help="such as %%d/%%m/%%Y")
    file.add_argument("--decimal", choices=(".", ","))
    file.add_argument("--currency", metavar="NAME")
    file.add_argument("--sheet", metavar="NAME")
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def _declared(args: argparse.Namespace) -> Declared | None:
    base = Declared.load(args.headings) if args.headings else Declared()
    said = {
        name: value
        for name in ("date_format", "decimal", "currency", "sheet")
        if (value := getattr(args, name)) is not None
    }
    if not said and not args.headings:
        return None
    return Declared(**{**base.__dict__, **said})


def _read(args: argparse.Namespace) -> History:
    return read_history(Path(args.source), _declared(args))


def _follow(args: argparse.Namespace, history: History) -> Followup:
    return follow_up(
        history,
        data_date=args.data_date,
        follow=args.follow,
        count=args.count,
        grace_days=args.grace,
        links=link_units(history, link_at=args.link_at),
    )


def _selected(args: argparse.Namespace) -> Followup:
    followup = _follow(args, _read(args))
    where: dict[str, tuple[str, ...]] = {}
    for condition in args.where:
        name, equals, value = condition.partition("=")
        if not equals:
            raise RequestError(f"--where {condition}: write it as COLUMN=VALUE.")
        where[name] = (*where.get(name, ()), value)
    if not (where or args.since or args.until):
        return followup
    return select(followup, since=args.since, until=args.until, where=where)


def _days(text: str) -> tuple[float, ...]:
    try:
        days = tuple(float(day) for day in text.split(","))
    except ValueError:
        raise RequestError(f"--at {text}: write days with commas, like {DAYS}.") from None
    if any(not 0 < day < float("inf") for day in days):
        raise RequestError(f"--at {text}: every day must be above zero.")
    return tuple(sorted(set(days)))


def _analysis(verb: Verb) -> Callable[[argparse.Namespace], int]:
    def run(args: argparse.Namespace) -> int:
        answer = verb.answer(args)
        if args.json:
            print(as_json.dumps(answer.data))
            return 0
        print(answer.finding.sentence)
        for heading, table in answer.tables:
            print(f"\n{heading}\n{plain_table(table)}")
        if answer.finding.caveats:
            print("\nKeep in mind:")
            for caveat in answer.finding.caveats:
                print(f"- {caveat}")
        return 0

    return run


def _check(args: argparse.Namespace) -> Answer:
    if args.suggest:
        return _suggest(args)
    followup = _follow(args, _read(args))
    declared = _declared(args)
    if args.headings and declared is not None:
        remember(read_raw(Path(args.source), declared).headings, declared)
    history, links = followup.history, followup.links
    tables = []
    texts = []
    if history.refused_count:
        path = write_refused(history, refused_path(args.source))
        texts.append(f"The refused rows, with reasons, are in {path}. Mend and load them again.")
        tables.append(("Refused", history.refused))
    if len(followup.problems):
        tables.append(("Dates that contradict each other", followup.problems))
    if len(links.pairs):
        doubtful_first = links.pairs.sort_values(["status", "probability"], kind="stable")
        tables.append(("Doubtful pairs, then units linked by likeness", doubtful_first))
    sentence = (
        f"{wording.whole(len(history.jobs))} jobs load, "
        f"{wording.whole(history.refused_count)} rows are refused. "
        f"{wording.of_standing(standing(followup)).sentence}"
    )
    remarks = (*history.notes, *links.notes, *followup.notes)
    caveats = (*texts, *(note.text for note in remarks))
    return Answer(as_json.check(followup), wording.Finding(sentence, caveats), tuple(tables))


def _suggest(args: argparse.Namespace) -> Answer:
    declared = _declared(args) or Declared()
    table = suggest_headings(read_raw(Path(args.source), declared).head())
    # Every heading goes into the file, unsure or unmatched too: the user is to read it anyway.
    aside = dict.fromkeys(table["theirs"][table["ours"] == ""], "")
    suggested = confirm(table, declared, at_least=0)
    replace(suggested, headings={**suggested.headings, **aside}).save(args.suggest)
    sentence = (
        f"{len(table) - len(aside)} of {len(table)} headings are matched in {args.suggest}; an "
        "empty one is left aside. Read it, change "
        f"what is wrong, then use it with --headings {args.suggest}; `check` remembers it for "
        "every file with the same headings."
    )
    tables = (("Suggested", table),)
    return Answer({"suggested": table}, wording.Finding(sentence), tables)


def _curves(args: argparse.Namespace) -> Answer:
    result = return_curves(_selected(args), by=args.by, at=_days(args.at))
    tables = (("Share back", result.at), ("Groups", result.groups))
    return Answer(as_json.curves(result), wording.of_curves(result), tables)


def _causes(args: argparse.Namespace) -> Answer:
    result = cause_curves(_selected(args), by=args.by, at=_days(args.at))
    tables = (("Share back, by root cause", result.at), ("In all", result.total.at))
    return Answer(as_json.causes(result), wording.of_causes(result), tables)


def _open(args: argparse.Namespace) -> int:
    where = ["--address", args.address, "--port", str(args.port)]
    return _program("dashboards", *([args.source] if args.source else []), *where)


def _program(module: str, *words: str) -> int:
    # Neighbours are run, not imported: the analysis must work without a screen or a demo.
    return subprocess.run([sys.executable, "-m", module, *words], check=False).returncode


@dataclass(frozen=True)
class Verb:
    """One analysis: its name, the question it answers, its options and its answer."""

    name: str
    answers: str
    options: Callable[[argparse.ArgumentParser], object]
    answer: Callable[[argparse.Namespace], Answer]


def _check_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--suggest",
        metavar="FILE",
        help="write a suggested mapping of the source's headings to FILE, and nothing else",
    )


def _curve_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", metavar="COLUMN", help="compare the groups of this column")
    parser.add_argument("--at", default=DAYS, metavar="DAYS")


ANALYSES = (
    Verb(
        "check",
        "what loads, what is refused and why, which units were linked",
        _check_options,
        _check,
    ),
    Verb("curves", "what share of units comes back, by when", _curve_options, _curves),
    Verb("causes", "the same, split by root cause", _curve_options, _causes),
)


if __name__ == "__main__":
    sys.exit(main())
