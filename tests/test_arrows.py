"""The arrows between rooms run one way: no module imports from a room above or beside it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# Each room may import itself and the rooms named. What is missing here is forbidden.
BASE = {"insights.errors", "insights.notes", "insights.harmless"}
HISTORY = BASE | {"insights.history"}
FOLLOWUP = HISTORY | {"insights.followup", "insights.grouping"}
SURVIVAL = FOLLOWUP | {"insights.survival"}
QUESTIONS = {"insights.bench", "insights.evidence", "insights.money", "insights.reviewing"}
RESULTS = SURVIVAL | QUESTIONS | {"insights.checked", "insights.standing"}
WORDS = RESULTS | {
    "insights.glossary",
    "insights.meanings",
    "insights.printing",
    "insights.wording",
}
VOICE = WORDS | {"insights.first_steps", "insights.tables"}
EVERYTHING = VOICE | {"insights.as_json", "insights.mail", "insights.report", "insights.verbs"}
SCREEN_DATA = {
    "dashboards.gate",
    "dashboards.markup",
    "dashboards.question",
    "dashboards.selection",
    "dashboards.server",
    "dashboards.who",
}
SCREEN = SCREEN_DATA | {
    "dashboards.answer",
    "dashboards.asking",
    "dashboards.bench",
    "dashboards.controls",
    "dashboards.data",
    "dashboards.figures",
    "dashboards.looking",
    "dashboards.opening",
    "dashboards.theme",
}
MAY_IMPORT: dict[str, set[str]] = {
    "insights.errors": set(),
    "insights.notes": set(),
    "insights.harmless": set(),
    "insights.printing": set(),
    "insights.glossary": set(),
    "insights.meanings": set(),
    "insights.checked": set(),
    "insights.history": BASE,
    "insights.grouping": HISTORY,
    "insights.followup": HISTORY | {"insights.grouping"},
    "insights.standing": FOLLOWUP,
    "insights.survival": FOLLOWUP,
    "insights.bench": HISTORY | {"insights.printing"},
    "insights.evidence": SURVIVAL,
    "insights.money": SURVIVAL | {"insights.printing"},
    "insights.reviewing": SURVIVAL,
    "insights.wording": WORDS,
    "insights.tables": WORDS,
    "insights.first_steps": WORDS,
    "insights.report": VOICE,
    "insights.mail": HISTORY | {"insights.report", "insights.wording"},
    "insights.as_json": RESULTS,
    "insights.verbs": EVERYTHING,
    "insights.command": EVERYTHING,
    "insights": EVERYTHING,
    "dashboards.theme": set(),
    "dashboards.markup": set(),
    "dashboards.narrow": set(),
    "dashboards.server": set(),
    "dashboards.question": set(),
    "dashboards.selection": RESULTS,
    "dashboards.gate": HISTORY | {"dashboards.server"},
    "dashboards.who": HISTORY | {"dashboards.gate", "dashboards.markup"},
    "dashboards.data": VOICE | SCREEN_DATA | {"dashboards.asking", "insights.report", "synthetic"},
    "dashboards.looking": HISTORY | {"dashboards.data", "dashboards.who"},
    "dashboards.asking": VOICE | SCREEN_DATA,
    "dashboards.controls": RESULTS | SCREEN_DATA | {"dashboards.data", "insights"},
    "dashboards.figures": VOICE | {"dashboards.theme", "insights"},
    "dashboards.answer": VOICE
    | {"dashboards.markup", "dashboards.narrow", "dashboards.theme", "insights"},
    "dashboards.bench": VOICE
    | SCREEN_DATA
    | {"dashboards.answer", "dashboards.controls", "dashboards.data", "dashboards.looking"},
    "dashboards.opening": {"dashboards.views"},
    "dashboards.views": VOICE | SCREEN | {"dashboards", "insights"},
    "dashboards": VOICE | SCREEN | {"dashboards.views", "insights"},
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
