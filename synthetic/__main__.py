"""`python -m synthetic --to FOLDER`: write an invented history and its truth."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from synthetic.demo import PRESETS, write_preset


def main(words: Sequence[str] | None = None) -> int:
    """Run the program; the exit code is 0, or 2 where the folder can't be written."""
    parser = argparse.ArgumentParser(prog="python -m synthetic", description=__doc__)
    parser.add_argument("--preset", choices=sorted(PRESETS), default="cafe_workshop")
    parser.add_argument("--jobs", type=int, metavar="N", help="about how many jobs")
    parser.add_argument("--seed", type=int, metavar="S")
    parser.add_argument("--to", metavar="FOLDER", required=True)
    args = parser.parse_args(words)
    chosen = {name: getattr(args, name) for name in ("jobs", "seed")}
    given = {name: value for name, value in chosen.items() if value is not None}
    if args.jobs is not None and args.jobs < 1:
        parser.error(f"--jobs is {args.jobs}. Give one job or more.")
    try:
        file = write_preset(args.to, args.preset, **given)
    except OSError as error:
        print(f"Can't write to {args.to}: {error.strerror or error}.", file=sys.stderr)
        return 2
    print(f"{file} holds the invented history, truth.json beside it what is true of it.")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
