"""Drawings for paper: dark lines told apart by their dashes, no colour needed."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, PercentFormatter

from insights.grouping import NOT_RECORDED
from insights.money.quote import Quote
from insights.money.reserve import Reserve
from insights.report.section import Chart
from insights.survival.causes import CauseCurves
from insights.survival.curves import Curves
from insights.wording import in_currency, of_causes, of_curves
from insights.wording.money import of_quote, of_reserve

WIDTH, HEIGHT = 6.7, 2.9
INKS = ("#0b6b5d", "#7a2e05", "#1d2f6f", "#444444", "#7c1140", "#3d5f10")
DASHES = ("-", "--", ":", "-.", (0, (8, 2)), (0, (8, 2, 1, 2, 1, 2)))
GREYS = ("#d9d9d9", "#a8a8a8", "#787878", "#4d4d4d", "#c4c4c4", "#8f8f8f")
HATCHES = ("", "///", "...", "xxx", "---", "+++")
MOST = len(DASHES)
_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",  # words stay words: they can be searched and read aloud
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def share_back(curves: Curves) -> Chart:
    """Draw the share back by day with its range, at most six groups, the largest."""
    groups = _largest(curves.groups)

    def draw(axes: Axes) -> None:
        for place, group in enumerate(groups):
            steps = curves.table[curves.table["group"] == group]
            day = steps["day"].to_numpy(dtype=float)
            axes.fill_between(
                day,
                steps["low"].to_numpy(dtype=float),
                steps["high"].to_numpy(dtype=float),
                step="post",
                color=INKS[place],
                alpha=0.15,
                linewidth=0,
            )
            axes.step(
                day,
                steps["share"].to_numpy(dtype=float),
                where="post",
                color=INKS[place],
                linestyle=DASHES[place],
                label=str(group),
            )
        _days_and_shares(axes)
        if len(groups) > 1:
            axes.legend(frameon=False)

    return _chart(draw, of_curves(curves).sentence)


def by_cause(causes: CauseCurves) -> Chart:
    """Draw the share back by day, split by root cause; the layers add up to the total."""
    group = causes.groups["group"].iloc[0]
    counts = causes.counts[causes.counts["group"] == group]
    names = [str(name) for name in counts.sort_values("returns", ascending=False)["cause"]]
    shown, rest = names[: MOST - 1], names[MOST - 1 :]
    layers = _layers(causes, group, shown, rest)

    def draw(axes: Axes) -> None:
        axes.stackplot(
            layers.index.to_numpy(dtype=float),
            *(layers[name].to_numpy(dtype=float) for name in layers),
            labels=[str(name) for name in layers],
            colors=GREYS[: layers.shape[1]],
            hatch=list(HATCHES[: layers.shape[1]]),
            edgecolor="white",
            linewidth=0.3,
            step="post",
        )
        _days_and_shares(axes)
        handles, labels = axes.get_legend_handles_labels()
        axes.legend(handles[::-1], labels[::-1], frameon=False, loc="upper left")

    return _chart(draw, of_causes(causes).sentence)


def _layers(causes: CauseCurves, group: Any, shown: list[str], rest: list[str]) -> pd.DataFrame:
    table = causes.table[causes.table["group"] == group].astype({"cause": object})
    wide = table.pivot_table(index="day", columns="cause", values="share", observed=True)
    wide = wide.sort_index().ffill().fillna(0.0)
    layers = wide[shown].copy()
    if rest:
        layers["all others"] = wide[rest].sum(axis=1)
    return layers


def terms(quote: Quote) -> Chart:
    """Draw claims per 100 jobs by term with their range."""
    table = quote.table[quote.table["supported"].astype(bool)]

    def draw(axes: Axes) -> None:
        middle = table["claims_per_100"].to_numpy(dtype=float)
        below = middle - table["low"].to_numpy(dtype=float)
        above = table["high"].to_numpy(dtype=float) - middle
        place = np.arange(len(table))
        axes.errorbar(
            place, middle, yerr=(below, above), fmt="o", color=INKS[0], capsize=4, markersize=5
        )
        axes.set_xticks(place, [f"{days:.0f} days" for days in table["term_days"]])
        axes.set_xlim(-0.5, max(len(table) - 0.5, 0.5))
        axes.set_ylim(bottom=0)
        axes.set_ylabel("Claims per 100 jobs")

    return _chart(draw, of_quote(quote).sentence)


def months(reserve: Reserve) -> Chart:
    """Draw the money that falls due by month."""

    def draw(axes: Axes) -> None:
        place = np.arange(len(reserve.months))
        axes.bar(
            place, reserve.months["expected"].to_numpy(float), color="#a8a8a8", edgecolor="#444"
        )
        axes.set_xticks(place, reserve.months["month"].astype(str), rotation=45, ha="right")
        axes.set_ylabel(in_currency("Expected cost", reserve.currency))

    return _chart(draw, of_reserve(reserve).sentence)


def _largest(groups: pd.DataFrame) -> list[Any]:
    recorded = groups[groups["group"].astype(str) != NOT_RECORDED]
    chosen = (groups if recorded.empty else recorded).nlargest(MOST, "jobs")["group"]
    return list(chosen)


def _days_and_shares(axes: Axes) -> None:
    axes.set_xlabel("Days since hand-back")
    axes.set_ylabel("Share back")
    axes.yaxis.set_major_formatter(PercentFormatter(1.0, decimals=None))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlim(left=0)
    axes.set_ylim(bottom=0)


def _chart(draw: Callable[[Axes], None], says: str) -> Chart:
    # Salted by what it says: the same drawing is the same text, and no two share a name inside.
    with mpl.rc_context({**_SETTINGS, "svg.hashsalt": says}):
        figure = Figure(figsize=(WIDTH, HEIGHT), layout="constrained")
        draw(figure.add_subplot())
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    return Chart(_inline(out.getvalue()), says)


def _inline(drawn: str) -> str:
    """Cut a drawing down to what stands inside an HTML page.

    No prologue, no addresses of vocabularies, and only the names that the drawing itself uses:
    names must be unique in a page, and every drawing gives its axes the same ones.
    """
    bare = re.sub(r"<metadata>.*?</metadata>", "", drawn, flags=re.DOTALL)
    bare = re.sub(r' xmlns(:xlink)?="[^"]*"', "", bare[bare.index("<svg") :])
    used = set(re.findall(r"#([\w-]+)", bare))
    return re.sub(r' id="([^"]*)"', lambda name: name[0] if name[1] in used else "", bare)
