"""The `staysfixed` program: read, answer, print."""

from __future__ import annotations

import argparse
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from insights import as_json, wording
from insights.errors import FormatQuestion, HeadingsError, RequestError, StaysfixedError
from insights.verbs.analyses import ANALYSES, POOL
from insights.verbs.asked import common_options
from insights.verbs.book import BOOK_VERBS
from insights.verbs.people import PEOPLE_VERBS
from insights.verbs.plain_table import plain_table
from insights.verbs.verb import Verb

BAD_INPUT = 2


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
        common_options(add)
        verb.options(add)
        add.set_defaults(run=_analysis(verb))
    book = verbs.add_parser("book", help="the job book: make it, look after it, in and out")
    deeds = book.add_subparsers(dest="deed", metavar="WHAT", required=True)
    for deed in (*BOOK_VERBS, *PEOPLE_VERBS):
        add = deeds.add_parser(deed.name, help=deed.answers, description=deed.answers)
        deed.options(add)
        add.add_argument("--json", action="store_true", help="one JSON object on stdout")
        add.set_defaults(run=_analysis(deed))
    together = verbs.add_parser(POOL.name, help=POOL.answers, description=POOL.answers)
    POOL.options(together)
    together.add_argument("--json", action="store_true", help="one JSON object on stdout")
    together.set_defaults(run=_analysis(POOL))
    demo = verbs.add_parser("demo", help="write the invented workshop's history")
    demo.add_argument("--to", metavar="FOLDER", default="staysfixed-demo")
    demo.set_defaults(run=lambda args: _program("synthetic", "--to", args.to))
    show = verbs.add_parser("open", help="open the dashboard")
    show.add_argument("source", metavar="SOURCE", nargs="?")
    show.add_argument("--address", default="127.0.0.1", help="only this machine by default")
    show.add_argument("--port", type=int, default=8501)
    show.add_argument("--name", action="append", default=[], help="a name browsers ask for it by")
    show.add_argument("--behind-tls", action="store_true", help="a proxy speaks HTTPS for it")
    show.add_argument("--sign-in", action="store_true", help="ask for it on this machine as well")
    show.set_defaults(run=_open)
    return parser


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


def _open(args: argparse.Namespace) -> int:
    where = ["--address", args.address, "--port", str(args.port)]
    where += [word for name in args.name for word in ("--name", name)]
    where += ["--behind-tls"] * args.behind_tls + ["--sign-in"] * args.sign_in
    return _program("dashboards", *([args.source] if args.source else []), *where)


def _program(module: str, *words: str) -> int:
    # Neighbours are run, not imported: the analysis must work without a screen or a demo.
    with subprocess.Popen([sys.executable, "-m", module, *words]) as neighbour:
        before = signal.signal(signal.SIGTERM, lambda *_: neighbour.terminate())
        try:
            return neighbour.wait()
        except KeyboardInterrupt:  # Ctrl+C reaches both; the neighbour ends by itself
            return neighbour.wait()
        finally:
            signal.signal(signal.SIGTERM, before)


if __name__ == "__main__":
    sys.exit(main())
