"""Open the dashboard: ``python -m dashboards [SOURCE]``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from dashboards.launching import launch
from dashboards.server import PORT, THIS_MACHINE

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
        0, or 2 where the source can't be found.
    """
    parser = argparse.ArgumentParser(prog="staysfixed open", description=__doc__)
    parser.add_argument("source", metavar="SOURCE", nargs="?", help="a job history")
    parser.add_argument("--address", default=THIS_MACHINE[0], help="only this machine by default")
    parser.add_argument("--port", type=int, default=PORT)
    parser.add_argument("--headless", action="store_true", help="open no browser window")
    args = parser.parse_args(words)
    if args.source is not None and not Path(args.source).is_file():
        print(
            f"staysfixed: there is no file '{args.source}'. Give a CSV, XLSX or Parquet file, "
            "or nothing to see the invented workshop.",
            file=sys.stderr,
        )
        return BAD_INPUT
    launch(args.source, args.address, args.port, headless=args.headless)
    return 0


if __name__ == "__main__":
    sys.exit(main())
