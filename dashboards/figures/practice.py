"""A practice compared: every estimate with its range, and how alike the groups are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dashboards.figures.canvas import axis, blank, range_bars, text_of
from dashboards.theme import Palette, see_through
from insights.evidence.result import PracticeEvidence
from insights.wording import spoken
from insights.wording.practice import whose

ROW_HEIGHT = 44
MARGIN_HEIGHT = 70
MOST_FACTS = 14
LIKE_ENOUGH = 0.1
"""Standardised differences under this are taken as balance (common practice)."""


def draw_estimates(evidence: PracticeEvidence, palette: Palette) -> go.Figure:
    """Draw every way of estimating the difference, each with its range.

    Parameters
    ----------
    evidence
        Estimators that can't be given are left out.
    palette
        Colours.
    """
    rows = evidence.table.dropna(subset=["difference", "low", "high"]).iloc[::-1]
    # On two lines: beside one long line a phone has no room for the picture.
    names = [
        f"{text_of(row.estimator)},<br>{text_of(whose(row.population))}"
        for row in rows.itertuples()
    ]
    plain = (rows["estimator"] == "plain").to_numpy()
    colour = np.where(plain, palette.lines[1], palette.lines[0])
    middle, low, high = (rows[name].to_numpy(dtype=float) for name in ("difference", "low", "high"))
    figure = blank(palette, MARGIN_HEIGHT + ROW_HEIGHT * len(rows))
    figure.add_scatter(
        x=middle,
        y=names,
        mode="markers",
        marker={
            "size": 11,
            "color": list(colour),
            "symbol": list(np.where(plain, "square", "circle")),
        },
        error_x=range_bars(middle, low, high, palette.faint),
        customdata=np.column_stack([low, high]),
        hovertemplate=(
            "<b>%{y}</b><br>%{x:+.2%}, likely %{customdata[0]:+.2%} to %{customdata[1]:+.2%}"
            "<extra></extra>"
        ),
        showlegend=False,
    )
    figure.add_vline(x=0, line={"color": palette.faint, "width": 1.5, "dash": "dot"})
    what = f"share back with {evidence.level} less share back with {evidence.against}"
    figure.update_layout(
        xaxis=axis(palette, text_of(what), tickformat="+.1%"),
        yaxis=axis(palette, "", showgrid=False),
    )
    return figure


def draw_balance(evidence: PracticeEvidence, palette: Palette) -> go.Figure:
    """Draw how different the two groups are in each fact, as done and after weighting.

    Parameters
    ----------
    evidence
        The facts that differ most are drawn; the table has them all.
    palette
        Colours.
    """
    rows = most_different(evidence.balance).iloc[::-1]
    facts = zip(rows["covariate"], rows["value"], strict=True)
    names = [text_of(f"{spoken(covariate)}: {value}") for covariate, value in facts]
    figure = blank(palette, MARGIN_HEIGHT + 28 + 26 * len(rows))
    for column, name, symbol, colour in (
        ("before", "as done", "square-open", palette.lines[1]),
        ("after", "made alike", "circle", palette.lines[0]),
    ):
        figure.add_scatter(
            x=rows[column].abs().to_numpy(dtype=float),
            y=names,
            mode="markers",
            marker={"size": 10, "color": colour, "symbol": symbol},
            name=name,
            hovertemplate="<b>%{y}</b><br>%{x:.2f}<extra></extra>",
        )
    figure.add_vline(x=LIKE_ENOUGH, line={"color": palette.faint, "width": 1.5, "dash": "dot"})
    figure.update_layout(
        xaxis=axis(palette, "difference, in standard deviations", rangemode="tozero"),
        yaxis=axis(palette, "", tickmode="linear"),
    )
    return figure


def most_different(balance: pd.DataFrame) -> pd.DataFrame:
    """Pick the facts in which the groups differed most as done, the largest first."""
    order = balance["before"].abs().sort_values(ascending=False, kind="stable").index
    return balance.loc[order[:MOST_FACTS]]


def draw_overlap(evidence: PracticeEvidence, palette: Palette) -> go.Figure:
    """Draw how likely each group's jobs were to be done the way asked about.

    Parameters
    ----------
    evidence
        Jobs without a counterpart at the same height tell little.
    palette
        Colours.
    """
    rows = evidence.propensity
    low, high = (rows[name].to_numpy(dtype=float) for name in ("low", "high"))
    bands = [f"{start:.0%} to {end:.0%}" for start, end in zip(low, high, strict=True)]
    figure = blank(palette, 320)
    for place, (column, level) in enumerate(
        (("jobs_level", evidence.level), ("jobs_against", evidence.against))
    ):
        figure.add_bar(
            x=(low + high) / 2,
            customdata=bands,
            y=rows[column].to_numpy(dtype=float),
            name=text_of(f"done {level}"),
            marker={
                "color": see_through(palette.lines[place], 0.75),
                "line": {"color": palette.lines[place], "width": 1},
                "pattern": {"shape": ("", "/")[place], "fgcolor": palette.background},
            },
            hovertemplate="%{customdata}<br>%{y:,.0f} jobs<extra></extra>",
        )
    what = f"chance that such a job is done {evidence.level}, by what was known before"
    figure.update_layout(
        barmode="group",
        bargap=0.15,
        xaxis=axis(palette, text_of(what), showgrid=False, range=[0, 1], tickformat=".0%"),
        yaxis=axis(palette, "jobs"),
    )
    return figure
