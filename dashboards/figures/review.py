"""How comebacks went: this year beside last, months as they age, groups like for like, costs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboards.figures.canvas import (
    axis,
    blank,
    range_bars,
    say_nothing_drawn,
    share_format,
    text_of,
)
from dashboards.theme import DASHES, Palette, see_through
from insights.reviewing.cohorts import Cohorts, YearOnYear
from insights.reviewing.dearest import CostsByCause
from insights.reviewing.rates import BETTER, UNSURE, WORSE, Review
from insights.wording import in_currency
from insights.wording.review import group_of, name_of

HEIGHT = 360
ROW_HEIGHT = 24
MARGIN_HEIGHT = 90
MONTH_HEIGHT = 17
MOST_MONTHS = 36
MOST_ROWS = 40
LEAST_EXPECTED = 0.5
SYMBOLS = {WORSE: "triangle-up", UNSURE: "circle-open", BETTER: "triangle-down"}
PLACES = {WORSE: 1, UNSURE: 2, BETTER: 0}


def draw_year(year: YearOnYear, palette: Palette) -> go.Figure:
    """Draw the share back by day of the last 12 months' hand-backs and of those before.

    Parameters
    ----------
    year
        A year without enough jobs is left out.
    palette
        Colours.
    """
    figure = blank(palette, HEIGHT)
    if year.curves.empty:
        return say_nothing_drawn(figure, palette, "Too few jobs in the last two years.")
    for place, (name, steps) in enumerate(year.curves.groupby("year", sort=False)):
        colour = palette.lines[place]
        band = {"x": steps["day"], "mode": "lines", "showlegend": False, "hoverinfo": "skip"}
        edge = {"shape": "hv", "width": 0, "color": colour}
        figure.add_scatter(y=steps["high"], line=edge, name=f"{name}: high", **band)
        figure.add_scatter(
            y=steps["low"],
            line=edge,
            name=f"{name}: low",
            fill="tonexty",
            fillcolor=see_through(colour, palette.band_opacity),
            **band,
        )
        figure.add_scatter(
            x=steps["day"],
            y=steps["share"],
            customdata=steps[["low", "high"]].to_numpy(),
            mode="lines",
            line={"shape": "hv", "width": 2.5, "color": colour, "dash": DASHES[place]},
            name=str(name),
            hovertemplate=(
                f"<b>{name}</b><br>day %{{x:.0f}}: %{{y:.1%}} back<br>likely "
                "%{customdata[0]:.1%} to %{customdata[1]:.1%}<extra></extra>"
            ),
        )
    top = 1.6 * float(year.curves["share"].max())
    figure.update_layout(
        xaxis=axis(palette, "days since hand-back", rangemode="tozero", showgrid=False),
        yaxis=axis(
            palette,
            "share back",
            tickformat=share_format(top),
            range=[0, min(top, 1.0) or 1.0],
        ),
    )
    return figure


def draw_cohorts(cohorts: Cohorts, palette: Palette) -> go.Figure:
    """Draw months of hand-back by their age, darker where more came back.

    Parameters
    ----------
    cohorts
        The latest :data:`MOST_MONTHS` months are drawn, the latest on top; blank where too few
        jobs are so old.
    palette
        Colours.
    """
    months = cohorts.months["month"].tail(MOST_MONTHS)
    rows = cohorts.table[cohorts.table["month"].isin(months)]
    wide = rows.pivot_table(index="month", columns="day", values="share", dropna=False)
    risk = rows.pivot_table(index="month", columns="day", values="at_risk", dropna=False)
    wide, risk = wide.reindex(months), risk.reindex(months)
    figure = blank(palette, MARGIN_HEIGHT + MONTH_HEIGHT * len(wide))
    if not wide.notna().to_numpy().any():
        return say_nothing_drawn(figure, palette, "No month has enough jobs to draw.")
    figure.add_heatmap(
        x=[f"{day:.0f}" for day in wide.columns],
        y=wide.index.astype(str).tolist(),
        z=wide.to_numpy(dtype=float),
        customdata=risk.to_numpy(dtype=float),
        colorscale=[[0, see_through(palette.lines[1], 0.06)], [1, palette.lines[1]]],
        zmin=0,
        xgap=2,
        ygap=2,
        hoverongaps=False,
        colorbar={
            "title": {"text": "share back", "side": "right"},
            "tickformat": share_format(float(np.nanmax(wide.to_numpy(dtype=float)))),
            "thickness": 12,
            "outlinewidth": 0,
        },
        hovertemplate=(
            "<b>handed back in %{y}</b><br>by day %{x}: %{z:.1%} back<br>"
            "%{customdata:,.0f} jobs so old<extra></extra>"
        ),
    )
    figure.update_layout(
        xaxis=axis(palette, "days since hand-back", type="category", showgrid=False),
        yaxis=axis(palette, "", type="category", showgrid=False),
    )
    return figure


def draw_ratios(review: Review, by: str, day: int, palette: Palette) -> go.Figure:
    """Draw each group's comebacks for each expected, with its range: by name or by time.

    Parameters
    ----------
    review
        Of more than :data:`MOST_ROWS` groups the last are drawn: months are in order of time.
    by, day
        Which groups, by when.
    palette
        Colours.
    """
    rows = _rows(review, by, day).dropna(subset=["ratio"]).tail(MOST_ROWS)
    # Categories rise from below: names read from the top, and the latest month stands there.
    rows = rows if by == "month" else rows.iloc[::-1]
    figure = blank(palette, MARGIN_HEIGHT + ROW_HEIGHT * max(len(rows), 4))
    if rows.empty:
        return say_nothing_drawn(figure, palette, "There is nothing to compare these with.")
    for verdict in (WORSE, UNSURE, BETTER):
        mine = rows[rows["verdict"] == verdict]
        colour = palette.lines[PLACES[verdict]]
        ratio, low, high = (mine[name].to_numpy(dtype=float) for name in ("ratio", "low", "high"))
        figure.add_scatter(
            x=ratio,
            y=[text_of(group_of(by, group)) for group in mine["group"]],
            mode="markers",
            marker={"size": 11, "color": colour, "symbol": SYMBOLS[verdict]},
            error_x=range_bars(ratio, low, high, palette.faint),
            customdata=_told(mine),
            hovertemplate=_HOVER.replace("GROUP", "%{y}"),
            name=verdict,
            showlegend=bool(len(mine)),
        )
    figure.add_vline(x=1, line={"color": palette.faint, "width": 1.5, "dash": "dot"})
    names = [text_of(group_of(by, group)) for group in rows["group"]]
    figure.update_layout(
        xaxis=axis(palette, "comebacks for each expected", rangemode="tozero"),
        yaxis=axis(
            palette,
            "",
            type="category",
            categoryorder="array",
            categoryarray=names,
            tickmode="linear",
            showgrid=False,
        ),
    )
    return figure


def draw_funnel(review: Review, by: str, day: int, palette: Palette) -> go.Figure:
    """Draw each group as it is, with how far chance alone takes a group of its size.

    Parameters
    ----------
    review
        Groups with less than :data:`LEAST_EXPECTED` comebacks expected and none seen are left out.
    by, day
        Which groups, by when.
    palette
        Colours.
    """
    rows = _rows(review, by, day).dropna(subset=["raw_ratio"]).sort_values("expected")
    large = rows["expected"] >= LEAST_EXPECTED
    limits, rows = rows[large], rows[large | (rows["returns"] > 0)]
    figure = blank(palette, HEIGHT)
    if rows.empty:
        return say_nothing_drawn(figure, palette, "There is nothing to compare these with.")
    for place, (name, label) in enumerate(
        (("warning", "19 in 20 by chance"), ("action", "998 in 1,000 by chance"))
    ):
        for side in ("low", "high"):
            figure.add_scatter(
                x=limits["expected"],
                y=limits[f"{name}_{side}"],
                mode="lines",
                line={"color": palette.faint, "width": 1.5, "dash": ("dot", "solid")[place]},
                name=label,
                legendgroup=name,
                showlegend=side == "high",
                hoverinfo="skip",
            )
    for verdict in (WORSE, UNSURE, BETTER):
        mine = rows[rows["verdict"] == verdict]
        figure.add_scatter(
            x=mine["expected"],
            y=mine["raw_ratio"],
            mode="markers",
            marker={
                "size": 9,
                "color": palette.lines[PLACES[verdict]],
                "symbol": SYMBOLS[verdict],
            },
            text=[text_of(group_of(by, group)) for group in mine["group"]],
            customdata=_told(mine),
            hovertemplate=_HOVER.replace("GROUP", "%{text}"),
            name=verdict,
            showlegend=bool(len(mine)),
        )
    figure.add_hline(y=1, line={"color": palette.faint, "width": 1})
    highest = float(rows["raw_ratio"].max())
    figure.update_layout(
        xaxis=axis(
            palette, f"comebacks expected, by {text_of(name_of(by))}", type="log", dtick="D2"
        ),
        yaxis=axis(palette, "comebacks for each expected", range=[0, max(1.15 * highest, 2.5)]),
    )
    return figure


def draw_costs(costs: CostsByCause, palette: Palette) -> go.Figure:
    """Draw what comebacks cost by root cause, the dearest first, and the share they add up to.

    Parameters
    ----------
    costs
        Causes without a cost are left out.
    palette
        Colours.
    """
    rows = costs.table[costs.table["cost"] > 0]
    figure = blank(palette, HEIGHT)
    if rows.empty:
        return say_nothing_drawn(figure, palette, "No comeback has a cost on record.")
    names = [text_of(cause) for cause in rows["cause"]]
    figure.add_bar(
        x=names,
        y=rows["cost"],
        marker={
            "color": see_through(palette.lines[0], 0.75),
            "line": {"color": palette.lines[0], "width": 1},
        },
        customdata=rows[["comebacks", "mean_cost"]].to_numpy(dtype=float),
        hovertemplate=(
            "<b>%{x}</b><br>%{y:,.0f} in all<br>%{customdata[0]:,.0f} comebacks, "
            "%{customdata[1]:,.2f} each<extra></extra>"
        ),
        name="cost",
    )
    figure.add_scatter(
        x=names,
        y=rows["cumulative_share"],
        yaxis="y2",
        mode="lines+markers",
        line={"color": palette.lines[1], "width": 2, "dash": "dash"},
        marker={"size": 7, "symbol": "square"},
        hovertemplate="up to %{x}: %{y:.0%} of the whole<extra></extra>",
        name="share of the whole, added up",
    )
    figure.update_layout(
        xaxis=axis(palette, "", showgrid=False, type="category"),
        yaxis=axis(palette, in_currency("cost on record", costs.currency), rangemode="tozero"),
        yaxis2=axis(
            palette,
            "",
            overlaying="y",
            side="right",
            range=[0, 1.05],
            tickformat=".0%",
            showgrid=False,
        ),
    )
    return figure


_HOVER = (
    "<b>GROUP</b><br>%{customdata[0]:,.0f} back, %{customdata[1]:.1f} expected<br>"
    "%{customdata[2]:.2f} for one, likely %{customdata[3]:.2f} to %{customdata[4]:.2f}"
    "<extra></extra>"
)


def _told(rows: pd.DataFrame) -> np.ndarray:
    return rows[["returns", "expected", "ratio", "low", "high"]].to_numpy(dtype=float)


def _rows(review: Review, by: str, day: int) -> pd.DataFrame:
    return review.table[(review.table["by"] == by) & (review.table["day"] == day)]
