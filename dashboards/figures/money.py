"""What a warranty costs by term, what falls due by month, and how forecasts did."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboards.figures.canvas import axis, blank, range_bars, say_nothing_drawn
from dashboards.theme import Palette, see_through
from insights.money.backtest import Backtest
from insights.money.quote import Quote
from insights.money.reserve import Reserve
from insights.wording import in_currency

HEIGHT = 340
RESERVE = "reserve"


def draw_quote(quote: Quote, palette: Palette) -> go.Figure:
    """Draw claims of 100 jobs by term, with the range for the next batch.

    Parameters
    ----------
    quote
        Terms that are refused are left out.
    palette
        Colours.
    """
    rows = quote.table[quote.table["supported"]]
    figure = blank(palette, HEIGHT)
    if rows.empty:
        return say_nothing_drawn(figure, palette, "No term can be quoted on this record.")
    term, middle, low, high = (
        rows[name].to_numpy(dtype=float) for name in ("term_days", "claims_per_100", "low", "high")
    )
    names = [f"{days:g} days" for days in term]
    figure.add_scatter(
        x=names,
        y=middle,
        mode="markers",
        marker={"size": 12, "color": palette.lines[0]},
        error_y=range_bars(middle, low, high, palette.faint),
        customdata=np.column_stack([low, high]),
        hovertemplate=(
            "<b>%{x}</b><br>%{y:.1f} of 100, likely %{customdata[0]:.1f} to "
            "%{customdata[1]:.1f}<extra></extra>"
        ),
        showlegend=False,
    )
    figure.update_layout(
        xaxis=axis(palette, "term", showgrid=False),
        yaxis=axis(palette, "jobs of 100 with a claim", rangemode="tozero"),
    )
    return figure


def draw_months(reserve: Reserve, palette: Palette) -> go.Figure:
    """Draw what falls due in each month.

    Parameters
    ----------
    reserve
        Claims where no cost is known.
    palette
        Colours.
    """
    known = bool(reserve.months["expected"].notna().all())
    column, title = (
        ("expected", in_currency("money", reserve.currency)) if known else ("claims", "claims")
    )
    figure = blank(palette, HEIGHT)
    figure.add_bar(
        x=[str(month) for month in reserve.months["month"]],
        y=reserve.months[column].to_numpy(dtype=float),
        marker={
            "color": see_through(palette.lines[0], 0.75),
            "line": {"color": palette.lines[0], "width": 1},
        },
        hovertemplate="%{x}<br>%{y:,.1f}<extra></extra>",
        showlegend=False,
    )
    figure.update_layout(
        xaxis=axis(palette, "month of arrival", showgrid=False, type="category"),
        yaxis=axis(palette, title, rangemode="tozero"),
    )
    return figure


def draw_score(score: Backtest, palette: Palette) -> go.Figure:
    """Draw each past reserve's range and what came.

    Parameters
    ----------
    score
        Its reserves.
    palette
        Colours.
    """
    rows = score.table[score.table["what"] == RESERVE]
    figure = blank(palette, HEIGHT)
    if rows.empty:
        return say_nothing_drawn(figure, palette, "The record is too short to look back.")
    days = pd.to_datetime(rows["origin"]).dt.strftime("%Y-%m-%d").to_numpy()
    expected, low, high = (rows[name].to_numpy(dtype=float) for name in ("expected", "low", "high"))
    figure.add_scatter(
        x=days,
        y=expected,
        mode="markers",
        marker={"size": 7, "color": palette.lines[0], "symbol": "line-ew-open"},
        error_y=range_bars(expected, low, high, palette.lines[0], 3),
        name="range stated then",
        hovertemplate="%{x}<br>%{y:.1f} claims expected<extra></extra>",
    )
    inside = rows["inside"].to_numpy(dtype=bool)
    figure.add_scatter(
        x=days,
        y=rows["observed"].to_numpy(dtype=float),
        mode="markers",
        marker={
            "size": 9,
            "color": palette.lines[1],
            "symbol": list(np.where(inside, "circle", "x")),
        },
        name="claims that came (cross: outside)",
        hovertemplate="%{x}<br>%{y} claims came<extra></extra>",
    )
    figure.update_layout(
        xaxis=axis(palette, "stood on this day, looked a quarter ahead", showgrid=False),
        yaxis=axis(palette, "claims", rangemode="tozero"),
    )
    return figure
