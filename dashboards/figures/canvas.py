"""What every figure shares: paper, axes, steps."""

from __future__ import annotations

import textwrap
from html import escape

import numpy as np
import plotly.graph_objects as go

from dashboards.theme import Palette

FONT = '"Source Sans", "Source Sans 3", "Source Sans Pro", system-ui, sans-serif'
FONT_SIZE = 14
LONGEST_TITLE = 36
"""Signs of an axis' title on one line: as many as a phone shows."""


def blank(palette: Palette, height: int) -> go.Figure:
    """Start a figure on the page's own paper.

    Parameters
    ----------
    palette
        Colours.
    height
        Height in pixels; the width follows the page.
    """
    figure = go.Figure()
    figure.update_layout(
        height=height,
        margin={"l": 8, "r": 16, "t": 8, "b": 8, "pad": 2},
        paper_bgcolor=palette.background,
        plot_bgcolor=palette.background,
        font={"family": FONT, "size": FONT_SIZE, "color": palette.ink},
        legend={
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 1.02,
            "yanchor": "bottom",
            "font": {"color": palette.ink, "size": FONT_SIZE},
        },
        hoverlabel={
            "bgcolor": palette.background,
            "bordercolor": palette.rule,
            "font": {"color": palette.ink, "family": FONT, "size": FONT_SIZE},
        },
        modebar={"color": palette.faint, "activecolor": palette.ink, "bgcolor": "rgba(0,0,0,0)"},
        dragmode=False,
    )
    return figure


def axis(palette: Palette, title: str, **more: object) -> dict[str, object]:
    """Describe one axis in the page's colours."""
    lines = textwrap.wrap(title, LONGEST_TITLE, break_long_words=False, break_on_hyphens=False)
    return {
        "title": {"text": "<br>".join(lines), "font": {"color": palette.faint, "size": FONT_SIZE}},
        "tickfont": {"color": palette.faint, "size": FONT_SIZE - 1},
        "gridcolor": palette.rule,
        "linecolor": palette.faint,
        "zeroline": False,
        "automargin": True,
        "fixedrange": True,
        **more,
    }


def range_bars(
    middle: np.ndarray, low: np.ndarray, high: np.ndarray, colour: str, thickness: float = 2
) -> dict[str, object]:
    """Describe the ranges around points, for ``error_x`` or ``error_y``.

    Parameters
    ----------
    middle, low, high
        The points and the ends of their ranges, each shape (n,).
    colour, thickness
        Of the bars.
    """
    return {
        "type": "data",
        "symmetric": False,
        "array": high - middle,
        "arrayminus": middle - low,
        "color": colour,
        "thickness": thickness,
        "width": 0,
    }


def day_ticks(last_day: float) -> np.ndarray:
    """Choose at most nine days to mark, in months of 30 days where the span is short."""
    step = next(step for step in (10, 30, 60, 90, 180, 365, 730, 3650) if last_day / step <= 8)
    return np.arange(0, last_day + 1e-9, step)


def share_format(highest: float) -> str:
    """Choose the digits of a share axis so that its marks differ."""
    return ".1%" if highest < 0.05 else ".0%"


def value_on(days: np.ndarray, values: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Read a step curve: the value on the last day not after each day wanted.

    Parameters
    ----------
    days, values
        The steps, days rising, shape (n,).
    wanted
        Days to read, none before ``days[0]``, shape (m,).
    """
    return values[np.searchsorted(days, wanted, side="right") - 1]


def text_of(name: str) -> str:
    """Write a name from the record so that the figure shows it as it is, never as markup."""
    return escape(str(name), quote=False)


def say_nothing_drawn(figure: go.Figure, palette: Palette, text: str) -> go.Figure:
    """Say in an empty figure why it is empty."""
    figure.update_layout(xaxis={"visible": False}, yaxis={"visible": False})
    figure.add_annotation(
        text=text,
        x=0.5,
        y=0.5,
        xref="paper",
        yref="paper",
        showarrow=False,
        font={"color": palette.faint, "size": FONT_SIZE + 1},
    )
    return figure
