"""A stranger's headings -> ours: found by name, suggested by likeness, confirmed by the user."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from insights.errors import HeadingsError
from insights.history.declared import Declared, recall, remember
from insights.history.looks import Look, fit, look_at
from insights.history.questions import MissingColumns
from insights.history.schema import BY_NAME, COLUMNS, REQUIRED, Column, column
from insights.history.synonyms import SYNONYMS

__all__ = [
    "SURE",
    "confirm",
    "match_headings",
    "recall",
    "remember",
    "require",
    "suggest_headings",
]

SURE = 0.80
_NAMED_FROM = 0.60
_CONTENT_ONLY = 0.30
_SUGGESTION_COLUMNS = ("theirs", "ours", "likeness", "why")
_SPELLED = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ł": "l", "ø": "o", "æ": "ae"}
)


@dataclass(frozen=True)
class Matched:
    """Which of the source's columns are which of ours.

    Parameters
    ----------
    theirs
        Our name -> the source's heading.
    aside
        Headings that are none of ours.
    absent
        Headings declared that the source does not have.
    """

    theirs: dict[str, str]
    aside: tuple[str, ...]
    absent: tuple[str, ...]


def plain(heading: str) -> str:
    """Write a heading in lower case, without accents, words joined by underscores."""
    spelled = heading.lower().translate(_SPELLED)
    bare = unicodedata.normalize("NFKD", spelled)
    letters = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return re.sub(r"[^a-z0-9]+", "_", letters).strip("_")


def match_headings(headings: Sequence[str], declared: Declared) -> Matched:
    """Match by what is declared, then by our own names whatever their case and punctuation.

    Parameters
    ----------
    headings
        The source's own headings, all different.
    declared
        What the user has said.

    Raises
    ------
    HeadingsError
        Two headings are the same column of ours.
    """
    theirs = {ours: name for name, ours in declared.headings.items() if ours and name in headings}
    absent = tuple(name for name in declared.headings if name not in headings)
    spelled: dict[str, list[str]] = {}
    for heading in headings:
        ours = _own_name(_without_number(heading, headings))
        if ours and ours not in theirs and heading not in declared.headings:
            spelled.setdefault(ours, []).append(heading)
    for ours, names in spelled.items():
        if len(names) > 1:
            raise HeadingsError(
                f"The headings {' and '.join(map(repr, names))} are both {ours!r}. Rename one, or "
                "declare which of them is meant."
            )
        theirs[ours] = names[0]
    used = set(theirs.values())
    return Matched(theirs, tuple(name for name in headings if name not in used), absent)


def require(matched: Matched, sample: pd.DataFrame) -> None:
    """Refuse a source whose required columns were not found, with suggestions.

    Parameters
    ----------
    matched
        What was found.
    sample
        Some rows of the source as text, for suggestions by content.

    Raises
    ------
    MissingColumns
        A required column stands under no heading.
    """
    missing = [name for name in REQUIRED if name not in matched.theirs]
    if not missing:
        return
    table = suggest_headings(sample)
    likely = {row.ours: row.theirs for row in table.itertuples() if row.ours in missing}
    hints = [f"{name} (perhaps {likely[name]!r})" if name in likely else name for name in missing]
    raise MissingColumns(
        f"Required columns were not found: {', '.join(hints)}. The headings are: "
        f"{_shortened(list(sample.columns))}. Rename them, or declare which heading is which.",
        missing,
        table,
    )


def suggest_headings(sample: pd.DataFrame) -> pd.DataFrame:
    """Suggest which heading is which of our columns, by name and by what the cells hold.

    Likeness of names is the best rapidfuzz token ratio over our name and everyday words for it
    in several languages; cells count a quarter, and a column whose cells can't be of the kind is
    out. Each heading and each of our columns is used once, with the highest total likeness
    (linear assignment).

    Parameters
    ----------
    sample
        Some rows as text, under the source's own headings.

    Returns
    -------
    pandas.DataFrame
        One row per heading in the source's order: ``theirs``, ``ours`` (empty: no suggestion),
        ``likeness`` between 0 and 1, ``why``.
    """
    # A quarter of a second to import, which only a stranger's sheet should cost.
    from scipy.optimize import linear_sum_assignment

    headings = [str(name) for name in sample.columns]
    looks = [look_at(sample.iloc[:, place]) for place in range(len(headings))]
    named = _name_likeness(headings)
    held = np.array([[fit(look, col) for col in COLUMNS] for look in looks])
    held = held.reshape(named.shape)
    score = np.where((held > 0) & (named >= _NAMED_FROM), 0.75 * named + 0.25 * held, 0.0)
    # Our own names are settled: they take their column and leave the rest to the others.
    own = np.array([[_own_name(h) == col.name for col in COLUMNS] for h in headings])
    score = np.where(own.reshape(named.shape), 2.0, score)
    row, col = linear_sum_assignment(-score)
    chosen = {int(r): int(c) for r, c in zip(row, col, strict=True) if score[r, c] > 0}
    found = {r: _named(COLUMNS[c], score[r, c], named[r, c], looks[r]) for r, c in chosen.items()}
    found |= {p: (o, 1.0, "our own name") for p, o in enumerate(map(_own_name, headings)) if o}
    _add_dates(found, looks)
    taken = {ours for ours, _, _ in found.values()}
    lines = []
    for place, heading in enumerate(headings):
        ours, likeness, why = found.get(place) or _family(heading, looks[place], taken)
        taken.add(ours)
        lines.append((heading, ours, round(float(likeness), 2), why))
    return pd.DataFrame(lines, columns=list(_SUGGESTION_COLUMNS))


def confirm(
    suggestions: pd.DataFrame, declared: Declared | None = None, *, at_least: float = SURE
) -> Declared:
    """Turn a table of suggestions into a declaration.

    Parameters
    ----------
    suggestions
        Columns ``theirs``, ``ours`` and ``likeness``.
    declared
        What was said already; its own headings win.
    at_least
        Suggestions under this likeness are left out; 0 takes all, once a person has seen them.

    Raises
    ------
    HeadingsError
        Two headings are mapped to the same column, or one to a name that is not ours.
    """
    declared = declared or Declared()
    kept = suggestions[(suggestions["likeness"] >= at_least) & (suggestions["ours"] != "")]
    taken = set(declared.headings.values())
    added = {
        str(theirs): str(ours)
        for theirs, ours in zip(kept["theirs"], kept["ours"], strict=True)
        if ours not in taken and theirs not in declared.headings
    }
    return replace(declared, headings={**declared.headings, **added})


def _without_number(heading: str, headings: Sequence[str]) -> str:
    """Undo what made a repeated heading one of its own."""
    base = re.sub(r" \(\d+\)$", "", heading)
    return base if base in headings else heading


def _own_name(heading: str) -> str | None:
    name = plain(heading)
    found = _SQUASHED.get(name.replace("_", ""))
    if found:
        return found
    return name if column(name) else None


_SQUASHED: Mapping[str, str] = {name.replace("_", ""): name for name in BY_NAME}


def _shortened(headings: Sequence[str], most: int = 12) -> str:
    shown = ", ".join(str(name)[:40] for name in headings[:most])
    rest = len(headings) - most
    return f"{shown} and {rest} more" if rest > 0 else shown


def _name_likeness(headings: Sequence[str]) -> np.ndarray:
    """Likeness of each heading to each of our columns, shape (headings, columns)."""
    words = [
        (place, plain(word).replace("_", " "))
        for place, col in enumerate(COLUMNS)
        for word in (col.name, *SYNONYMS[col.name])
    ]
    theirs = [plain(heading).replace("_", " ") for heading in headings]
    each = process.cdist(theirs, [word for _, word in words], scorer=fuzz.token_sort_ratio) / 100
    best = np.zeros((len(headings), len(COLUMNS)))
    for spot, (place, _) in enumerate(words):
        best[:, place] = np.maximum(best[:, place], each[:, spot])
    return best


def _named(col: Column, score: float, named: float, look: Look) -> tuple[str, float, str]:
    why = "a word for it" if named == 1.0 else "a like name"
    if look.filled and col.kind == "date":
        why += "; holds dates"
    elif look.filled and col.kind in ("number", "whole"):
        why += "; holds numbers"
    return col.name, score, why


def _add_dates(found: dict[int, tuple[str, float, str]], looks: Sequence[Look]) -> None:
    """Take unnamed date columns, left to right, for the arrival and the hand-back."""
    named = {ours for ours, _, _ in found.values()}
    wanted = [name for name in ("received", "handed_back") if name not in named]
    spare = [p for p, look in enumerate(looks) if p not in found and look.dates > 0.8]
    for place, name in zip(spare, wanted, strict=False):
        found[place] = (name, _CONTENT_ONLY, "holds dates, nothing in the name")


def _family(heading: str, look: Look, taken: set[str]) -> tuple[str, float, str]:
    """Suggest one of the open families: a batch, or a practice noted as yes or no."""
    name = plain(heading)
    batch = re.fullmatch(r"(?:(\w+)_)?(?:lot|batch|charge|lote|lotto|partij)(?:_(\w+))?", name)
    if batch and (part := batch.group(2) or batch.group(1)):
        ours, likeness, why = f"lot_{part}", _NAMED_FROM, "names a purchase batch"
    elif name and look.yes_no == 1.0 and len(look.words) > 1:
        ours, likeness, why = f"practice_{name}", _CONTENT_ONLY, "holds yes and no: a practice?"
    else:
        return "", 0.0, "nothing like it"
    return ("", 0.0, "nothing like it") if ours in taken else (ours, likeness, why)
