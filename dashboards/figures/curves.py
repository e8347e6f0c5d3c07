"""Share back by day: step curves, the range around each, numbers at risk below."""

from __future__ import annotations

from collections.abc import Iterable

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
)
from dashboards.theme import DASHES, MOST_GROUPS, Palette, see_through
from insights.grouping import NOT_RECORDED
from insights.survival.curves import Curves

PLOT_HEIGHT = 380
ROW_HEIGHT = 22
TALLEST = 2.5
MOST_NUMBERS = 8
NOTHING = "Too few jobs at risk to draw a curve."


def shown_groups(curves: Curves) -> tuple[str, ...]:
    """Name the groups that one picture can hold: the largest, in the table's order.

    Jobs without a record of the group are left to the table, where there is any other group.

    Parameters
    ----------
    curves
        Any number of groups.
    """
    drawn = curves.groups[curves.groups["group"].isin(curves.table["group"])]
    recorded = drawn[drawn["group"] != NOT_RECORDED]
    drawn = drawn if recorded.empty else recorded
    largest = drawn.nlargest(MOST_GROUPS, "jobs")["group"]
    return tuple(str(group) for group in drawn["group"] if group in set(largest))


def left_out(curves: Curves) -> str:
    """Say which groups stand in the table only; empty where all are drawn."""
    drawn = shown_groups(curves)
    others = [str(group) for group in curves.groups["group"] if group not in drawn]
    if not others or not drawn:
        return ""
    return f"In the table only: {', '.join(others)}."


def draw(curves: Curves, palette: Palette) -> go.Figure:
    """Draw the share back by day since hand-back.

    Parameters
    ----------
    curves
        At most :data:`dashboards.theme.MOST_GROUPS` groups are drawn, the largest.
    palette
        Colours.

    Returns
    -------
    plotly.graph_objects.Figure
        Per group three traces: upper bound, lower bound (filled up to the upper one) and the
        curve, all stepping at the day of a comeback; below, the numbers at risk.
    """
    groups = shown_groups(curves)
    if not groups:
        return say_nothing_drawn(blank(palette, ROW_HEIGHT * 6), palette, NOTHING)
    rows = len(groups) if len(groups) == 1 else 2 * len(groups)
    below = ROW_HEIGHT * (rows + 1)
    height = PLOT_HEIGHT + below
    figure = blank(palette, height)
    steps = {group: _thinned(curves.table[curves.table["group"] == group]) for group in groups}
    for place, group in enumerate(groups):
        _curve(figure, steps[group], place, palette, named=len(groups) > 1)
    last_day = max(float(step["day"].max()) for step in steps.values())
    highest = _highest(steps.values())
    split = below / height
    ticks = day_ticks(last_day)
    figure.update_layout(
        hovermode="closest",
        showlegend=len(groups) > 1,
        xaxis=axis(
            palette,
            "days since hand-back",
            range=[0, last_day * 1.03],
            tickvals=ticks,
            anchor="y",
            showgrid=False,
            showline=True,
        ),
        yaxis=axis(
            palette,
            "share back",
            domain=[min(split + 0.13, 0.6), 1],
            range=[0, min(1.0, highest * 1.06) or 1.0],
            tickformat=share_format(highest),
        ),
        yaxis2={
            "domain": [0, split],
            "range": [-rows - 0.5, 0.5],
            "visible": False,
            "anchor": "x",
            "fixedrange": True,
        },
    )
    _numbers_at_risk(figure, curves, groups, last_day, palette)
    return figure


def _highest(steps: Iterable[pd.DataFrame]) -> float:
    """Choose the top of the picture: a wide range on a small group may run out of it."""
    tops = [(float(step["high"].max()), float(step["share"].max())) for step in steps]
    high, share = (max(column) for column in zip(*tops, strict=True))
    return min(high, TALLEST * share) if share > 0 else high


def _thinned(steps: pd.DataFrame) -> pd.DataFrame:
    """Drop the days on which nothing drawn changes; the last one stays."""
    drawn = steps[["share", "low", "high"]].to_numpy()
    changes = np.ones(len(steps), dtype=bool)
    changes[1:-1] = (drawn[1:-1] != drawn[:-2]).any(axis=1)
    return steps[changes]


def _curve(
    figure: go.Figure, steps: pd.DataFrame, place: int, palette: Palette, *, named: bool
) -> None:
    group = text_of(steps["group"].iloc[0])
    colour = palette.lines[place]
    bounded = steps[np.isfinite(steps["high"]) & np.isfinite(steps["low"])]
    band = {
        "x": bounded["day"].to_numpy(),
        "mode": "lines",
        "legendgroup": group,
        "showlegend": False,
        "hoverinfo": "skip",
    }
    line = {"shape": "hv", "width": 0, "color": colour}
    figure.add_scatter(y=bounded["high"].to_numpy(), line=line, name=f"{group}: high", **band)
    figure.add_scatter(
        y=bounded["low"].to_numpy(),
        line=line,
        name=f"{group}: low",
        fill="tonexty",
        fillcolor=see_through(colour, palette.band_opacity),
        **band,
    )
    figure.add_scatter(
        x=steps["day"].to_numpy(),
        y=steps["share"].to_numpy(),
        customdata=steps[["low", "high", "at_risk"]].to_numpy(),
        mode="lines",
        line={"shape": "hv", "width": 2.5, "color": colour, "dash": DASHES[place]},
        name=group,
        legendgroup=group,
        hovertemplate=(
            (f"<b>{group}</b><br>" if named else "")
            + "day %{x:.0f}: %{y:.1%} back<br>"
            + "likely %{customdata[0]:.1%} to %{customdata[1]:.1%}<br>"
            + "%{customdata[2]:,.0f} at risk<extra></extra>"
        ),
    )


def _numbers_at_risk(
    figure: go.Figure, curves: Curves, groups: tuple[str, ...], last_day: float, palette: Palette
) -> None:
    texts: list[tuple[float, float, str, str, str]] = [
        (0, 0, "<b>At risk</b>", palette.faint, "middle right")
    ]
    row = 0
    for place, group in enumerate(groups):
        colour = palette.lines[place]
        if len(groups) > 1:
            row -= 1
            texts.append((0, row, f"<b>{text_of(group)}</b>", colour, "middle right"))
        row -= 1
        for day, at_risk in _at_risk(curves, group, last_day):
            texts.append((day, row, f"{at_risk:,.0f}", palette.ink, "middle center"))
    figure.add_scatter(
        x=[text[0] for text in texts],
        y=[text[1] for text in texts],
        text=[text[2] for text in texts],
        textfont={"color": [text[3] for text in texts], "size": FONT_SIZE - 2},
        textposition=[text[4] for text in texts],
        mode="text",
        yaxis="y2",
        hoverinfo="skip",
        showlegend=False,
        cliponaxis=False,
        name="at risk",
    )


def _at_risk(curves: Curves, group: str, last_day: float) -> list[tuple[float, float]]:
    """Read the numbers at risk on days far enough apart for the numbers not to touch."""
    jobs = float(curves.groups.loc[curves.groups["group"] == group, "jobs"].iloc[0])
    at = curves.at[(curves.at["group"] == group) & (curves.at["day"] <= last_day)]
    shown = [(0.0, jobs)]
    for row in at.dropna(subset=["share"]).itertuples(index=False):
        if row.day - shown[-1][0] >= last_day / MOST_NUMBERS:
            shown.append((float(row.day), float(row.at_risk)))
    return shown
