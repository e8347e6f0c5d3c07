"""Root causes: how many of 100 by a day, each with its range; and how they add up over time."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboards.figures.canvas import (
    FONT_SIZE,
    axis,
    blank,
    day_ticks,
    say_nothing_drawn,
    share_format,
    text_of,
    value_on,
)
from dashboards.figures.curves import shown_groups
from dashboards.theme import FILL_PATTERNS, MOST_GROUPS, SYMBOLS, Palette, see_through
from insights.survival.causes import CauseCurves

ROW_HEIGHT = 26
STACK_HEIGHT = 340
HEADLINE_DAY = 180
REST = "all other causes"
NOTHING = "Too few jobs at risk to draw this."


def headline_day(causes: CauseCurves) -> float:
    """Choose the day to show: 180 where any group reaches it, else the latest reached.

    Parameters
    ----------
    causes
        With at least one day asked for.
    """
    reached = causes.at.dropna(subset=["share"])["day"]
    if reached.empty:
        return float(causes.at["day"].min())
    return float(HEADLINE_DAY if HEADLINE_DAY in set(reached) else reached.max())


def draw_ranges(causes: CauseCurves, day: float, palette: Palette) -> go.Figure:
    """Draw each cause's share back by one day as a mark on its range.

    Parameters
    ----------
    causes
        At most :data:`dashboards.theme.MOST_GROUPS` groups are drawn.
    day
        One of the days in ``causes.at``.
    palette
        Colours.
    """
    known = causes.at[causes.at["day"] == day].dropna(subset=["share"])
    known = known[known["group"].isin(shown_groups(causes.total))]
    if known.empty:
        return say_nothing_drawn(blank(palette, ROW_HEIGHT * 6), palette, NOTHING)
    groups = list(dict.fromkeys(known["group"]))
    order = known.groupby("cause", observed=True)["share"].max().sort_values().index
    place_of = {str(cause): place for place, cause in enumerate(order)}
    figure = blank(palette, ROW_HEIGHT * (len(order) * max(1, len(groups)) + 4))
    for number, group in enumerate(groups):
        _ranges(figure, known[known["group"] == group], place_of, number, len(groups), palette)
    highest = float(known["high"].max())
    figure.update_layout(
        showlegend=len(groups) > 1,
        xaxis=axis(
            palette,
            f"share back within {day:.0f} days",
            range=[0, highest * 1.05 or 1.0],
            tickformat=share_format(highest),
        ),
        yaxis=axis(
            palette,
            "",
            tickvals=list(place_of.values()),
            ticktext=[text_of(cause) for cause in place_of],
            range=[-0.6, len(order) - 0.4],
            showgrid=False,
        ),
    )
    figure.update_yaxes(tickfont={"color": palette.ink, "size": FONT_SIZE})
    return figure


def _ranges(
    figure: go.Figure,
    rows: pd.DataFrame,
    place_of: dict[str, int],
    number: int,
    group_count: int,
    palette: Palette,
) -> None:
    share = rows["share"].to_numpy()
    group = text_of(rows["group"].iloc[0])
    spread = (number - (group_count - 1) / 2) * 0.7 / group_count
    colour = palette.lines[number]
    figure.add_scatter(
        x=share,
        y=rows["cause"].astype(str).map(place_of).to_numpy(dtype=float) - spread,
        error_x={
            "type": "data",
            "symmetric": False,
            "array": rows["high"].to_numpy() - share,
            "arrayminus": share - rows["low"].to_numpy(),
            "color": colour,
            "thickness": 2.5,
            "width": 5,
        },
        customdata=np.column_stack(
            [rows["low"], rows["high"], [text_of(cause) for cause in rows["cause"]]]
        ),
        mode="markers",
        marker={
            "symbol": SYMBOLS[number],
            "size": 12,
            "color": colour,
            "line": {"color": palette.background, "width": 1.5},
        },
        name=group,
        hovertemplate=(
            "<b>%{customdata[2]}</b>"
            + (f", {group}" if group_count > 1 else "")
            + "<br>%{x:.1%} back, likely %{customdata[0]:.1%} to %{customdata[1]:.1%}"
            + "<extra></extra>"
        ),
    )


def draw_stack(causes: CauseCurves, group: str, palette: Palette) -> go.Figure:
    """Draw one group's root causes as layers that add up to the share back.

    Parameters
    ----------
    causes
        The five largest causes are drawn, the others as one layer.
    group
        One of its groups.
    palette
        Colours.
    """
    rows = causes.table[causes.table["group"] == group]
    figure = blank(palette, STACK_HEIGHT)
    if rows.empty:
        return say_nothing_drawn(figure, palette, NOTHING)
    days = np.unique(rows["day"].to_numpy(dtype=float))
    layers = _layers(rows, days)
    below = np.zeros(len(days))
    for place, (cause, share) in enumerate(layers):
        _layer(figure, cause, days, below, below + share, place, palette)
        below = below + share
    last_day = float(days[-1])
    highest = float(below[-1])
    figure.update_layout(
        legend={"traceorder": "normal"},
        xaxis=axis(
            palette,
            "days since hand-back",
            range=[0, last_day * 1.01],
            tickvals=day_ticks(last_day),
            showgrid=False,
            showline=True,
        ),
        yaxis=axis(
            palette,
            "share back",
            range=[0, highest * 1.08 or 1.0],
            tickformat=share_format(highest),
        ),
    )
    return figure


def _layers(rows: pd.DataFrame, days: np.ndarray) -> list[tuple[str, np.ndarray]]:
    """Read every cause on the same days, the largest first, the small ones together."""
    shares = {
        str(cause): value_on(
            steps["day"].to_numpy(dtype=float), steps["share"].to_numpy(dtype=float), days
        )
        for cause, steps in rows.groupby("cause", observed=True, sort=False)
    }
    ordered = sorted(shares.items(), key=lambda item: -item[1][-1])
    if len(ordered) <= MOST_GROUPS:
        return ordered
    kept, rest = ordered[: MOST_GROUPS - 1], ordered[MOST_GROUPS - 1 :]
    return [*kept, (REST, np.sum([share for _, share in rest], axis=0))]


def _layer(
    figure: go.Figure,
    cause: str,
    days: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    place: int,
    palette: Palette,
) -> None:
    colour = palette.lines[place]
    name = text_of(cause)
    figure.add_scatter(
        x=days,
        y=high,
        customdata=high - low,
        mode="lines",
        line={"shape": "hv", "width": 1.5, "color": colour},
        fill="tozeroy" if place == 0 else "tonexty",
        fillcolor=see_through(colour, 0.45),
        fillpattern={
            "shape": FILL_PATTERNS[place],
            "fgcolor": colour,
            "fillmode": "overlay",
            "size": 7,
            "solidity": 0.25,
        },
        name=name,
        hovertemplate=f"<b>{name}</b><br>day %{{x:.0f}}: %{{customdata:.1%}} back<extra></extra>",
    )
