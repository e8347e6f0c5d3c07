"""The arrows between rooms run one way: no module imports from a room above or beside it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# Each room may import itself and the rooms named. What is missing here is forbidden.
BASE = {"insights.errors", "insights.notes", "insights.harmless"}
HISTORY = BASE | {"insights.history"}
FOLLOWUP = HISTORY | {"insights.followup"}
SURVIVAL = FOLLOWUP | {"insights.survival"}
QUESTIONS = {"insights.bench", "insights.evidence", "insights.money", "insights.reviewing"}
RESULTS = SURVIVAL | QUESTIONS | {"insights.checked", "insights.standing"}
VOICE = RESULTS | {
    "insights.first_steps",
    "insights.glossary",
    "insights.tables",
    "insights.tables_bench",
    "insights.tables_money",
    "insights.tables_practice",
    "insights.wording",
    "insights.wording_bench",
    "insights.wording_counter",
    "insights.wording_summary",
    "insights.wording_suggestion",
    "insights.wording_book",
    "insights.wording_people",
    "insights.tables_people",
    "insights.wording_adding",
    "insights.wording_pool",
    "insights.tables_adding",
    "insights.wording_practice",
    "insights.tables_review",
    "insights.wording_review",
    "insights.tables_watch",
    "insights.wording_watch",
    "insights.tables_checked",
    "insights.wording_checked",
    "insights.wording_month",
    "insights.wording_calls",
    "insights.wording_money",
}
PROGRAM = {
    "insights.answer",
    "insights.as_json",
    "insights.asked",
    "insights.plain_table",
    "insights.verbs",
    "insights.verbs_book",
    "insights.verbs_people",
    "insights.people_of_book",
    "insights.filling_book",
    "insights.verbs_money",
    "insights.verbs_counted",
    "insights.verbs_pool",
    "insights.verbs_review",
    "insights.verbs_watch",
    "insights.recall_page",
    "insights.kept_limits",
    "insights.verbs_report",
    "insights.verbs_month",
    "insights.mail",
}
EVERYTHING = VOICE | PROGRAM | {"insights.report"}
SCREEN_DATA = {
    "dashboards.markup",
    "dashboards.question",
    "dashboards.selection",
    "dashboards.server",
}
SCREEN = SCREEN_DATA | {
    "dashboards.answer",
    "dashboards.opening",
    "dashboards.asking",
    "dashboards.money_asking",
    "dashboards.money_data",
    "dashboards.review_asking",
    "dashboards.review_data",
    "dashboards.checked_data",
    "dashboards.watch_asking",
    "dashboards.watch_data",
    "dashboards.practice_data",
    "dashboards.controls",
    "dashboards.forms",
    "dashboards.bench_data",
    "dashboards.job_form",
    "dashboards.workplace",
    "dashboards.gate",
    "dashboards.bench_keys",
    "dashboards.people_data",
    "dashboards.adding_data",
    "dashboards.looking",
    "dashboards.who",
    "dashboards.book_data",
    "dashboards.claims_data",
    "dashboards.side_by_side",
    "dashboards.data",
    "dashboards.figures",
    "dashboards.theme",
}
MAY_IMPORT: dict[str, set[str]] = {
    "insights.errors": set(),
    "insights.notes": set(),
    "insights.harmless": set(),
    "insights.history": BASE,
    "insights.printing": set(),
    "insights.bench": HISTORY | {"insights.printing"},
    "insights.wording_suggestion": RESULTS | {"insights.wording"},
    "insights.wording_bench": RESULTS | {"insights.wording"},
    "insights.wording_summary": RESULTS | {"insights.wording", "insights.wording_bench"},
    "insights.followup": HISTORY,
    "insights.standing": FOLLOWUP,
    "insights.checked": set(),
    "insights.wording_checked": RESULTS | {"insights.wording"},
    "insights.tables_checked": RESULTS | {"insights.wording", "insights.wording_checked"},
    "insights.survival": FOLLOWUP,
    "insights.evidence": SURVIVAL,
    "insights.money": SURVIVAL | {"insights.printing"},
    "insights.reviewing": SURVIVAL,
    "insights.wording": RESULTS,
    "insights.wording_counter": RESULTS
    | {"insights.printing", "insights.wording", "insights.wording_bench"},
    "insights.wording_practice": RESULTS | {"insights.wording"},
    "insights.wording_money": RESULTS | {"insights.wording"},
    "insights.wording_review": RESULTS | {"insights.wording"},
    "insights.tables_review": RESULTS | {"insights.wording", "insights.wording_review"},
    "insights.wording_watch": RESULTS | {"insights.wording"},
    "insights.tables_watch": RESULTS | {"insights.wording", "insights.wording_watch"},
    "insights.recall_page": VOICE | {"insights.printing"},
    "insights.kept_limits": HISTORY,
    "insights.wording_book": RESULTS | {"insights.wording"},
    "insights.wording_people": RESULTS | {"insights.wording"},
    "insights.tables_people": RESULTS | {"insights.wording_people"},
    "insights.wording_pool": RESULTS | {"insights.wording"},
    "insights.tables_adding": RESULTS | {"insights.wording"},
    "insights.wording_adding": RESULTS | {"insights.wording"},
    "insights.glossary": set(),
    "insights.first_steps": RESULTS | {"insights.wording"},
    "insights.tables": RESULTS | {"insights.glossary", "insights.wording"},
    "insights.tables_bench": RESULTS | {"insights.wording_bench"},
    "insights.tables_money": RESULTS | {"insights.wording"},
    "insights.tables_practice": RESULTS | {"insights.wording", "insights.wording_practice"},
    "insights.answer": {"insights.wording"},
    "insights.as_json": RESULTS,
    "insights.asked": FOLLOWUP,
    "insights.verbs": EVERYTHING,
    "insights.verbs_book": EVERYTHING,
    "insights.verbs_people": EVERYTHING,
    "insights.people_of_book": EVERYTHING,
    "insights.keeping_book": EVERYTHING,
    "insights.filling_book": EVERYTHING,
    "insights.verbs_money": EVERYTHING,
    "insights.verbs_counted": EVERYTHING,
    "insights.verbs_pool": EVERYTHING,
    "insights.verbs_review": EVERYTHING,
    "insights.verbs_watch": EVERYTHING,
    "insights.verbs_report": EVERYTHING,
    "insights.verbs_month": EVERYTHING,
    "insights.mail": HISTORY | {"insights.report", "insights.wording"},
    "insights.mail_of_book": EVERYTHING,
    "insights.wording_calls": RESULTS | {"insights.wording"},
    "insights.wording_month": RESULTS | {"insights.wording"},
    "insights.plain_table": set(),
    "insights.report": VOICE | {"insights.kept_limits"},
    "insights.command": EVERYTHING,
    "insights": EVERYTHING,
    "dashboards.theme": set(),
    "dashboards.markup": set(),
    "dashboards.server": set(),
    "dashboards.bench_keys": set(),
    "dashboards.people_data": HISTORY,
    "dashboards.adding_data": {"dashboards.data", *SCREEN_DATA, *RESULTS},
    "dashboards.looking": {"dashboards.book_data", "dashboards.data", "dashboards.who", *HISTORY},
    "dashboards.gate": {"dashboards.server", *HISTORY},
    "dashboards.selection": RESULTS,
    "dashboards.question": set(),
    "dashboards.asking": {*SCREEN_DATA, *RESULTS},
    "dashboards.figures": {"insights", "dashboards.theme", *VOICE},
    "dashboards.answer": {"insights", "dashboards.markup", "dashboards.theme", *VOICE},
    "dashboards.data": {"insights", "synthetic", "dashboards.book_data", *SCREEN_DATA, *RESULTS},
    "dashboards.review_data": {
        "insights.harmless",
        "dashboards.book_data",
        "dashboards.data",
        *SCREEN_DATA,
        *RESULTS,
    },
    "dashboards.review_asking": VOICE,
    "dashboards.checked_data": RESULTS,
    "dashboards.watch_asking": VOICE,
    "dashboards.watch_data": {
        "dashboards.book_data",
        "dashboards.data",
        "dashboards.watch_asking",
        "insights.kept_limits",
        "insights.recall_page",
        *SCREEN_DATA,
        *VOICE,
    },
    "dashboards.money_data": {"dashboards.data", *SCREEN_DATA, *RESULTS},
    "dashboards.money_asking": RESULTS,
    "dashboards.practice_data": {"dashboards.data", *SCREEN_DATA, *RESULTS},
    "dashboards.book_data": {"dashboards.gate", "dashboards.who", *SCREEN_DATA, *RESULTS},
    "dashboards.forms": {"dashboards.markup", *HISTORY},
    "dashboards.bench_data": {"dashboards.book_data", *RESULTS},
    "dashboards.job_form": {"dashboards.forms", "dashboards.workplace", *VOICE},
    "dashboards.workplace": {
        "dashboards.bench_keys",
        "dashboards.answer",
        "dashboards.book_data",
        "dashboards.controls",
        "dashboards.data",
        "dashboards.who",
        "dashboards.markup",
        *HISTORY,
    },
    "dashboards.who": {"dashboards.gate", "dashboards.markup", *HISTORY},
    "dashboards.claims_data": {"dashboards.book_data", *RESULTS},
    "dashboards.side_by_side": {
        "dashboards.answer",
        "dashboards.looking",
        "dashboards.workplace",
        *VOICE,
    },
    "dashboards.opening": {"dashboards.views"},
    "dashboards.controls": {"insights", "dashboards.data", *SCREEN_DATA, *RESULTS},
    "dashboards.views": {"insights", "dashboards", *SCREEN, *VOICE},
    "dashboards": {"insights", "dashboards.views", *SCREEN, *VOICE},
    "synthetic": HISTORY,
}
# Libraries that one room alone may use, as they are slow to import.
KEPT_TO = {"matplotlib": "insights.report"}
FORBIDDEN_LIBRARIES = {
    "insights": {"streamlit", "plotly", "dashboards", "synthetic"},
    "dashboards.figures": {"streamlit", "synthetic"},
    "synthetic": {"streamlit", "plotly", "dashboards"},
}
OURS = ("insights", "dashboards", "synthetic")


def modules() -> list[str]:
    return [
        str(path.relative_to(ROOT).with_suffix("")).replace("/", ".").removesuffix(".__init__")
        for top in OURS
        for path in sorted((ROOT / top).rglob("*.py"))
    ]


def source_of(module: str) -> str:
    path = ROOT / Path(*module.split("."))
    return (path / "__init__.py" if path.is_dir() else path.with_suffix(".py")).read_text("utf-8")


def imported_by(source: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            assert node.module is not None
            found |= {f"{node.module}.{name.name}" for name in node.names} | {node.module}
    return found


def room_of(module: str) -> str:
    """Name the innermost room that a module, or a name in one, belongs to."""
    parts = module.split(".")
    for length in range(len(parts), 0, -1):
        room = ".".join(parts[:length])
        if room in MAY_IMPORT:
            return room
    raise AssertionError(f"{module} belongs to no room: name its room in MAY_IMPORT")


def broken_arrows(module: str, source: str) -> set[str]:
    room = room_of(module)
    allowed = MAY_IMPORT[room] | {room}
    broken = set()
    libraries = banned(module)
    for name in imported_by(source):
        outside = any(name == library or name.startswith(f"{library}.") for library in libraries)
        # `from insights import wording` also names the package itself, which is no arrow.
        ours = name.split(".")[0] in OURS and name not in OURS
        if outside or (ours and room_of(name) not in allowed):
            broken.add(name)
    return broken


def banned(module: str) -> set[str]:
    forbidden = {
        library
        for top, libraries in FORBIDDEN_LIBRARIES.items()
        if f"{module}.".startswith(f"{top}.")
        for library in libraries
    }
    kept = {library for library, top in KEPT_TO.items() if not f"{module}.".startswith(f"{top}.")}
    return forbidden | kept


@pytest.mark.parametrize("module", modules())
def test_no_arrow_runs_back(module):
    assert broken_arrows(module, source_of(module)) == set()


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("insights.followup", "from insights.survival.curves import return_curves"),
        ("insights.history.units", "from insights.followup import follow_up"),
        ("insights.survival.curves", "import plotly.graph_objects"),
        ("insights.money.quote", "from insights.evidence.practice import compare_practice"),
        ("insights.money.quote", "from matplotlib.figure import Figure"),
        ("insights.command", "from synthetic.presets import cafe_workshop"),
        ("dashboards.figures.curves", "import streamlit as st"),
        ("synthetic.generate", "from insights.survival import curves"),
    ],
)
def test_an_arrow_that_runs_back_is_seen(module, line):
    assert broken_arrows(module, line)


def test_cores_of_the_tree_stay_as_agreed():
    tops = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    agreed = {
        "LICENSE",
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "insights",
        "dashboards",
        "tests",
        "synthetic",
    }
    left_by_tools = {"build", "dist", "staysfixed.egg-info"}
    assert tops - left_by_tools <= agreed
