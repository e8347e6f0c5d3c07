"""Change the code one small piece at a time and see whether a test notices.

``python tests/mutation.py curves quote`` clones the committed tree into a temporary folder, lets
mutmut (the extra ``mutation``; Linux or macOS) alter the modules named, runs the tests that are
about each, and prints how many alterations were noticed; without a name it takes all modules, an
hour or more. ``--show`` prints the ones that were not, to be read: a test is missing, or the code
is dead, or the alteration changes nothing. ``--folder`` keeps the clones in a new folder of your
own.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULES = {
    "followup": (
        "insights/followup.py",
        ("test_followup.py", "test_followup_words.py", "test_valve_seats.py", "test_standing.py"),
    ),
    "curves": (
        "insights/survival/curves.py",
        ("survival/test_return_curves.py", "survival/test_share_reference.py"),
    ),
    "incidence": (
        "insights/survival/incidence.py",
        (
            "survival/test_incidence.py",
            "survival/test_clusters.py",
            "survival/test_share_reference.py",
            "survival/test_cause_reference.py",
            "survival/test_repeat_returns.py",
        ),
    ),
    "intervals": (
        "insights/survival/intervals.py",
        ("survival/test_intervals.py", "survival/test_share_reference.py"),
    ),
    "lifetable": (
        "insights/survival/lifetable.py",
        (
            "survival/test_lifetable.py",
            "survival/test_return_curves.py",
            "survival/test_clusters.py",
            "survival/test_pooling.py",
        ),
    ),
    "practice": (
        "insights/evidence/practice.py",
        ("evidence/test_practice.py", "evidence/test_practice_words.py"),
    ),
    "quote": ("insights/money/quote.py", ("money/test_quote.py", "money/test_quote_words.py")),
    "claims": (
        "insights/money/claims.py",
        ("money/test_claims.py", "money/test_claims_words.py", "money/test_quote_words.py"),
    ),
}
SETTINGS = """
[tool.mutmut]
source_paths = [{module}]
also_copy = ["insights", "dashboards", "synthetic", "tests"]
pytest_add_cli_args_test_selection = {tests}
pytest_add_cli_args = ["-p", "no:cacheprovider", "-x"]
"""
NOTICED = ("killed", "timeout", "segfault")


def clone(folder: Path, module: str, tests: tuple[str, ...]) -> None:
    """Clone the committed tree and add mutmut's settings for one module."""
    subprocess.run(["git", "clone", "--quiet", str(ROOT), str(folder)], check=True)
    chosen = [f"tests/{name}" for name in tests if (folder / "tests" / name).exists()]
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as settings:
        settings.write(SETTINGS.format(module=json.dumps(module), tests=json.dumps(chosen)))


def mutmut(folder: Path, *words: str) -> str:
    """Run mutmut in the clone; stop here where it fails."""
    run = [sys.executable, "-m", "mutmut", *words]
    done = subprocess.run(run, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(
            f"mutmut {' '.join(words)} ended with {done.returncode}:\n"
            f"{done.stdout[-3000:]}{done.stderr}"
        )
    return done.stdout


def survivors(folder: Path) -> list[str]:
    """Name the alterations that no test noticed."""
    lines = [line.strip() for line in mutmut(folder, "results").splitlines()]
    return [line.partition(":")[0] for line in lines if line.endswith(("survived", "no tests"))]


def run(name: str, folder: Path, show: bool) -> None:
    """Alter one module, test, and print its line of the table."""
    clone(folder, *MODULES[name])
    mutmut(folder, "run", "--max-children", "1")
    mutmut(folder, "export-cicd-stats")
    found = json.loads((folder / "mutants" / "mutmut-cicd-stats.json").read_text("utf-8"))
    noticed = sum(found[how] for how in NOTICED)
    print(f"{name:<12}{found['total']:>9}{noticed:>9}{noticed / found['total']:>9.1%}", flush=True)
    for one in survivors(folder) if show else ():
        print(mutmut(folder, "show", one))


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("module", nargs="*", help=f"{', '.join(MODULES)}; all without a name")
    parser.add_argument("--show", action="store_true", help="print each alteration not noticed")
    parser.add_argument("--folder", type=Path, help="keep the clones in this folder")
    asked = parser.parse_args()
    unknown = [name for name in asked.module if name not in MODULES]
    if unknown:
        parser.error(f"No tests are chosen for '{unknown[0]}'. Known: {', '.join(MODULES)}.")
    print(f"{'module':<12}{'altered':>9}{'noticed':>9}{'share':>9}")
    with tempfile.TemporaryDirectory() as passing:
        for name in asked.module or MODULES:
            run(name, (asked.folder or Path(passing)) / name, asked.show)


if __name__ == "__main__":
    main()
