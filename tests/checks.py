"""The committed record of how the program was checked: what runs of the tests add to it.

One entry a comparison with outside values, one a row of figures measured; each names the run it
is from. Entries of tests not run stay, with the date of their own run.
"""

from __future__ import annotations

import ast
import json
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
RECORD = ROOT / "insights" / "checks.json"

Entry = dict[str, Any]


def kept_by(kind: str) -> dict[str, ast.FunctionDef]:
    """Find the tests that keep entries of one kind: the fixture's name is the kind's."""
    found = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                asked_for = {argument.arg for argument in node.args.args}
                if kind in asked_for:
                    found[f"{path.relative_to(ROOT).as_posix()}::{node.name}"] = node
    return found


def gather(lines: Iterable[str], run: str) -> dict[str, list[Entry]]:
    """Read what the tests of one run wrote; cases of one comparison become one entry."""
    outside: dict[tuple[str, ...], Entry] = {}
    measured = []
    for line in lines:
        entry = json.loads(line)
        kind = entry.pop("kind")
        # Cases of one test differ by what stands in brackets.
        entry |= {"test": entry["test"].partition("[")[0], "run": run}
        if kind == "measured":
            figures = entry["figures"].items()
            entry["figures"] = {
                name: _digits(one, 5) if isinstance(one, float) else one for name, one in figures
            }
            measured.append(entry)
            continue
        key = (entry["test"], entry["what"], entry["source"])
        outside[key] = _together(outside[key], entry) if key in outside else entry
    return {"outside": [_short(entry) for entry in outside.values()], "measured": measured}


def merged(before: dict[str, Any], now: dict[str, list[Entry]], runs: dict[str, Any]) -> Entry:
    """Put a run's entries in place of earlier ones of the same tests, and sort everything.

    Parameters
    ----------
    before
        The record so far; empty where there is none.
    now
        What :func:`gather` gave.
    runs
        The run's name to its date, versions and machine.
    """
    record: dict[str, Any] = {}
    for kind, entries in now.items():
        run_now = {entry["test"] for entry in entries}
        stays = kept_by(kind).keys() - run_now
        earlier = [entry for entry in before.get(kind, []) if entry["test"] in stays]
        record[kind] = sorted(earlier + entries, key=_place)
    named = {entry["run"] for entries in record.values() for entry in entries}
    every_run = before.get("runs", {}) | runs
    return {"runs": {run: every_run[run] for run in sorted(named)}, **record}


def write(record: dict[str, Any], path: Path = RECORD) -> None:
    """Write the record, one entry a line, so that a change of one shows as one."""
    blocks = []
    for name, block in record.items():
        if isinstance(block, dict):
            lines = [f"{json.dumps(key)}: {_line(value)}" for key, value in block.items()]
            opened, closed = "{", "}"
        else:
            lines = [_line(value) for value in block]
            opened, closed = "[", "]"
        blocks.append(f'"{name}": {opened}\n' + ",\n".join(lines) + f"\n{closed}")
    path.write_text("{\n" + ",\n".join(blocks) + "\n}\n", "utf-8")


def _place(entry: Entry) -> tuple[Any, ...]:
    """Order by name; rows of one table by their figures, numbers by size."""
    named = (entry["test"], entry.get("table", ""), entry.get("what", ""), entry.get("source", ""))
    figures = entry.get("figures", {}).values()
    return (
        *named,
        *((0, one) if isinstance(one, (int, float)) else (1, str(one)) for one in figures),
    )


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _together(one: Entry, other: Entry) -> Entry:
    farther = max(one, other, key=lambda entry: float(entry["difference"]))
    return farther | {"values": one["values"] + other["values"]}


def _short(entry: Entry) -> Entry:
    """Round to what can be read: last digits differ from machine to machine."""
    return entry | {
        "expected": _digits(entry["expected"], 9),
        "found": _digits(entry["found"], 9),
        "difference": _digits(entry["difference"], 1),
    }


def _digits(number: float, digits: int) -> float:
    if not math.isfinite(number):
        raise ValueError(f"not a number to keep: {number}")
    return float(f"{number:.{digits}g}")
