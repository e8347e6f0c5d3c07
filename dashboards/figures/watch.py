"""A chart's climb towards its limit, what was seen and expected, and how often habits are kept."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboards.figures.canvas import axis, blank, say_nothing_drawn, text_of
from dashboards.theme import Palette
from insights.reviewing.missing import MissingPractices
from insights.reviewing.signals import Signals
from insights.wording import spoken

HEIGHT = 320
MOST_POINTS = 600


def draw_seen(signals: Signals, chart: str, palette: Palette) -> go.Figure:
    """Draw what came and what was to be expected, both added up, by day.

    Parameters
    ----------
    signals
        The watch.
    chart
        Its name.
    palette
        Colours.
    """
    path = _thinned(signals.path(chart))
    figure = blank(palette, HEIGHT)
    for name, column, place, dash in (
        ("seen", "seen", 0, "solid"),
        ("expected", "expected", 1, "dash"),
    ):
        figure.add_scatter(
            x=path["day"].to_numpy(),
            y=path[column].to_numpy(),
            mode="lines",
            line={"color": palette.lines[place], "width": 2, "dash": dash},
            name=name,
            hovertemplate=f"%{{x|%Y-%m-%d}}<br>%{{y:.1f}} {name} so far<extra></extra>",
        )
    figure.update_layout(
        xaxis=axis(palette, "day", showgrid=False),
        yaxis=axis(palette, "added up since the watch began", rangemode="tozero"),
    )
    return figure


def draw_level(signals: Signals, chart: str, palette: Palette) -> go.Figure:
    """Draw a chart's level as a share of its limit, with its signals marked.

    Parameters
    ----------
    signals
        The watch.
    chart
        Its name.
    palette
        Colours.
    """
    path = signals.path(chart)
    share = path["level"] / path["limit"]
    thin = _thinned(path.assign(share=share))
    figure = blank(palette, HEIGHT)
    figure.add_scatter(
        x=thin["day"].to_numpy(),
        y=thin["share"].to_numpy(),
        mode="lines",
        line={"color": palette.lines[0], "width": 2},
        name="evidence that something changed",
        hovertemplate="%{x|%Y-%m-%d}<br>%{y:.0%} of the limit<extra></extra>",
    )
    figure.add_hline(y=1, line={"color": palette.faint, "dash": "dot", "width": 2})
    mine = signals.table[signals.table["chart"] == chart]
    when = mine["signalled_on"].to_numpy()
    at = np.searchsorted(path["day"].to_numpy(), when)
    figure.add_scatter(
        x=when,
        y=share.to_numpy()[at],
        mode="markers",
        marker={"size": 11, "color": palette.lines[1], "symbol": "diamond"},
        name="signal",
        hovertemplate="signal on %{x|%Y-%m-%d}<extra></extra>",
    )
    figure.update_layout(
        xaxis=axis(palette, "day", showgrid=False),
        yaxis=axis(palette, "share of the limit", rangemode="tozero", tickformat=".0%"),
    )
    return figure


def draw_use(missing: MissingPractices, palette: Palette) -> go.Figure:
    """Draw how often each practice asked for was done, by month of hand-back.

    Parameters
    ----------
    missing
        The practices.
    palette
        Colours.
    """
    figure = blank(palette, HEIGHT)
    if missing.use.empty:
        return say_nothing_drawn(figure, palette, "No practice is asked for.")
    for place, (name, rows) in enumerate(missing.use.groupby("practice", sort=True)):
        figure.add_scatter(
            x=[f"{month}-01" for month in rows["month"]],
            y=rows["done_share"].to_numpy(dtype=float),
            mode="lines+markers",
            line={
                "color": palette.lines[place % len(palette.lines)],
                "width": 2,
                "dash": ("solid", "dash", "dot", "dashdot")[place % 4],
            },
            marker={"size": 4},
            name=text_of(spoken(f"practice_{name}")),
            hovertemplate="%{x|%Y-%m}<br>done on %{y:.0%} of the jobs<extra></extra>",
        )
    figure.update_layout(
        xaxis=axis(palette, "month of hand-back", showgrid=False),
        yaxis=axis(palette, "jobs on which it was done", range=[0, 1.02], tickformat=".0%"),
    )
    return figure


def _thinned(path: pd.DataFrame) -> pd.DataFrame:
    """Keep a few hundred days from the first on which something was expected, the last included."""
    path = path[path["expected"] > 0] if (path["expected"] > 0).any() else path
    step = max(len(path) // MOST_POINTS, 1)
    return path.iloc[::-step].iloc[::-1]
