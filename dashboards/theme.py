"""Colours and line patterns, for light and dark, told apart by colour-blind eyes as well."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """The colours of one theme.

    Parameters
    ----------
    background, ink, faint, rule
        The page, its text, its lesser text and its lines.
    lines
        One colour per group, the most different first.
    band_opacity
        How dense the band around a curve is.
    """

    background: str
    ink: str
    faint: str
    rule: str
    lines: tuple[str, ...]
    band_opacity: float


LIGHT = Palette(
    background="#f5f7f6",
    ink="#16211f",
    faint="#4c5a56",
    rule="#d3dbd8",
    lines=("#0b6b5d", "#c2440a", "#173a8c", "#8a4bc4", "#9a1045", "#507e15"),
    band_opacity=0.14,
)
DARK = Palette(
    background="#121817",
    ink="#e6ece9",
    faint="#a9b7b2",
    rule="#33413d",
    lines=("#58c7b0", "#f5894c", "#5f8dff", "#cbd4ff", "#bf7fcd", "#dddf46"),
    band_opacity=0.18,
)

DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "cross", "x")
FILL_PATTERNS = ("", "/", ".", "x", "-", "+")
MOST_GROUPS = len(DASHES)
"""More groups than this can't be told apart in one picture; the table has them all."""


def see_through(colour: str, opacity: float) -> str:
    """Write a ``#rrggbb`` colour as rgba with an opacity between 0 and 1."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity})"
