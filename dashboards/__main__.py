"""Open the dashboard: ``python -m dashboards [SOURCE]``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from dashboards.launching import launch
from dashboards.server import PORT, THIS_MACHINE
from insights.errors import StaysfixedError
from insights.history.book.address import is_address

BAD_INPUT = 2


def main(words: Sequence[str] | None = None) -> int:
    """Read the command line and serve until stopped.

    Parameters
    ----------
    words
        The command line without the program's name; the process's own when not given.

    Returns
    -------
    int
        0, or 2 where the source can't be found, or may not be opened to the network.
    """
    args = _parser().parse_args(words)
    if args.source is not None and not is_address(args.source) and not Path(args.source).is_file():
        return _bad(
            f"there is no file '{args.source}'. Give a CSV, XLSX or Parquet file, a job book, "
            "or nothing to see the invented workshop."
        )
    try:
        launch(
            args.source,
            args.address,
            args.port,
            names=args.name,
            behind_tls=args.behind_tls,
            sign_in=args.sign_in,
            headless=args.headless,
        )
    except StaysfixedError as error:
        return _bad(" ".join(str(error).split()))
    return 0


def _bad(said: str) -> int:
    print(f"staysfixed: {said}", file=sys.stderr)
    return BAD_INPUT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="staysfixed open", description=__doc__)
    parser.add_argument("source", metavar="SOURCE", nargs="?", help="a job history or a job book")
    parser.add_argument("--port", type=int, default=PORT)
    parser.add_argument("--headless", action="store_true", help="open no browser window")
    who = parser.add_argument_group("who may open it")
    who.add_argument(
        "--address",
        default=THIS_MACHINE[0],
        help="where to listen; only this machine by default, and with any other address everyone "
        "must sign in",
    )
    who.add_argument(
        "--name",
        action="append",
        default=[],
        help="a name browsers ask for it under, beside the address",
    )
    who.add_argument(
        "--behind-tls", action="store_true", help="a proxy speaks HTTPS with the browsers"
    )
    who.add_argument("--sign-in", action="store_true", help="ask for it on this machine as well")
    return parser


if __name__ == "__main__":
    sys.exit(main())
