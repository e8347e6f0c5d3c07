"""A history written to a file the way people keep one, and a list of everything spoiled in it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.history.schema import History, column
from synthetic.identity import mistype

Outcome = Literal["loads", "refused", "skipped"]

HEADINGS = {
    "job_id": "Job no.",
    "received": "Date in",
    "handed_back": "Date out",
    "model": "Machine type",
    "unit_serial": "Serial No",
    "customer": "Client",
    "postcode": "Post code",
    "phone": "Tel.",
    "unit_age_years": "Age (years)",
    "condition": "State 1-5",
    "earlier_repair": "Repaired before?",
    "complaint": "Fault reported",
    "notes": "Remarks",
    "root_cause": "Cause",
    "technician": "Done by",
    "bench_minutes": "Minutes",
    "parts_cost": "Parts",
    "price": "Charged",
    "term_days": "Warranty days",
}
REMARKS = ("café owner waits; ring twice", 'said "never again"', "two knobs\nloose", "très sale")


@dataclass(frozen=True)
class Style:
    """How the file is written.

    Parameters
    ----------
    delimiter, encoding
        Between the cells; ``utf-8-sig`` is UTF-8 with a byte order mark.
    date_format, decimal, currency_sign
        Of dates and amounts.
    headings
        Our heading -> theirs; a heading not named stays ours.
    row_share
        Share of the rows spoiled by each kind of mistake.
    blank_lines, footer
        Empty lines between the rows, and a line of totals at the end.
    """

    delimiter: str = ";"
    encoding: str = "cp1252"
    date_format: str = "%d.%m.%Y"
    decimal: str = ","
    currency_sign: str = "€"
    headings: tuple[tuple[str, str], ...] = tuple(HEADINGS.items())
    row_share: float = 0.01
    blank_lines: int = 5
    footer: bool = True


SEMICOLONS = Style()
COMMAS = Style(
    delimiter=",", encoding="utf-8-sig", date_format="%d/%m/%Y", decimal=".", currency_sign="£"
)
TABS = Style(delimiter="\t", encoding="utf-8", date_format="%d-%m-%Y", decimal=",")


@dataclass(frozen=True)
class Spoiled:
    """One thing done to the file.

    Parameters
    ----------
    job_id
        The job's number, empty where the line is no job.
    column
        Our heading, empty where the whole line is meant.
    what
        The kind of mistake.
    was, now
        The cell before and after, as written in the file.
    outcome
        What a careful reader does with the line: ``loads`` as it was meant, ``refused`` with a
        reason, ``skipped`` as a repetition.
    """

    job_id: str
    column: str
    what: str
    was: str
    now: str
    outcome: Outcome


@dataclass(frozen=True)
class MessyFile:
    """The file, what must be declared to read it, and what was done to it.

    Parameters
    ----------
    name, content
        The file.
    headings
        Their heading -> ours.
    date_format, decimal
        As declared to the reader.
    lines
        How many lines hold anything, the heading not counted.
    spoiled
        Everything done to single lines.
    """

    name: str
    content: bytes
    headings: dict[str, str]
    date_format: str
    decimal: str
    lines: int
    spoiled: tuple[Spoiled, ...]

    def count(self, outcome: Outcome) -> int:
        """How many lines a careful reader refuses, skips, or loads in spite of a mistake."""
        # Two lines under one number are both refused, and both are listed.
        return sum(one.outcome == outcome for one in self.spoiled)


def spoil(history: History, seed: int, style: Style = SEMICOLONS) -> MessyFile:
    """Write a history as people do.

    No line is spoiled twice, so that the outcomes of :attr:`MessyFile.spoiled` add up: lines are
    the jobs loaded, refused and skipped.

    Parameters
    ----------
    history
        A clean one.
    seed
        The same seed spoils the same cells.
    style
        How the file is written.

    Returns
    -------
    MessyFile
    """
    random = np.random.default_rng(seed)
    cells = _as_written(history, style)
    cells["notes"] = np.array(["", *REMARKS], dtype=object)[random.integers(0, 9, len(cells)) % 5]
    spoiled: list[Spoiled] = []
    free = random.permutation(len(cells))
    each = max(1, round(style.row_share * len(cells)))
    for mistake in MISTAKES:
        name, possible = mistake.column, cells[mistake.column].to_numpy(dtype=object) != ""
        rows = [row for row in free if possible[row]][:each]
        free = free[~np.isin(free, rows)]
        for row in rows:
            was = cells.at[row, name]
            now = mistake.change(cells.loc[row], style, random)
            cells.at[row, name] = now
            spoiled.append(
                Spoiled(
                    cells.at[row, "job_id"],
                    name,
                    mistake.what,
                    was,
                    now,
                    _outcome(mistake, was, now),
                )
            )
    spoiled += _reuse_numbers(cells, free[: 2 * each])
    lines = [list(row) for row in cells.itertuples(index=False, name=None)]
    spoiled += _repeat_lines(lines, cells, free[2 * each : 3 * each], random)
    if style.footer:
        lines.append(["Total", *[""] * (cells.shape[1] - 1)])
        spoiled.append(Spoiled("", "", "a line of totals", "", "Total", "refused"))
    theirs = dict(style.headings)
    headings = [theirs.get(name, name) for name in cells.columns]
    return MessyFile(
        name="jobs.csv",
        content=_bytes(headings, lines, style, random),
        headings=dict(zip(headings, cells.columns, strict=True)),
        date_format=style.date_format,
        decimal=style.decimal,
        lines=len(lines),
        spoiled=tuple(spoiled),
    )


@dataclass(frozen=True)
class _Mistake:
    """One kind of mistake: in which column, how, and what a careful reader does with it."""

    what: str
    column: str
    change: Callable[[pd.Series, Style, np.random.Generator], str]
    outcome: Outcome


def _swap_dates(row: pd.Series, style: Style, random: np.random.Generator) -> str:
    received = pd.to_datetime(row["received"], format=style.date_format)
    earlier = received - pd.Timedelta(days=int(random.integers(1, 60)))
    return str(earlier.strftime(style.date_format))


MISTAKES = (
    _Mistake("a currency sign", "price", lambda row, style, _: f"{style.currency_sign} {row.price}",
             "loads"),
    _Mistake("stray spaces", "model", lambda row, *_: f"  {row.model} ", "loads"),
    _Mistake("stray spaces", "technician", lambda row, *_: f"{row.technician}  ", "loads"),
    _Mistake("a mistyped serial", "unit_serial",
             lambda row, _, random: mistype(row.unit_serial.strip(), random), "loads"),
    _Mistake("negative money", "parts_cost", lambda row, *_: f"-{row.parts_cost}", "refused"),
    _Mistake("handed back before it arrived", "handed_back", _swap_dates, "refused"),
    _Mistake("no such day", "received", lambda _, style, __: _thirtieth_of_february(style),
             "refused"),
    _Mistake("words for a number", "bench_minutes", lambda *_: "about an hour", "refused"),
    _Mistake("a grade off the scale", "condition", lambda *_: "7", "refused"),
    _Mistake("no model", "model", lambda *_: "", "refused"),
)  # fmt: skip


def _outcome(mistake: _Mistake, was: str, now: str) -> Outcome:
    # Minus nothing is nothing: an amount of zero is not spoiled by its sign.
    nothing = mistake.what == "negative money" and not now.strip("-0,.")
    return "loads" if nothing else mistake.outcome


def _thirtieth_of_february(style: Style) -> str:
    return style.date_format.replace("%d", "30").replace("%m", "02").replace("%Y", "2021")


def _reuse_numbers(cells: pd.DataFrame, rows: np.ndarray) -> list[Spoiled]:
    """Give every second line the number of another job: both are refused."""
    spoiled = []
    for first, second in zip(rows[0::2], rows[1::2], strict=False):
        was, now = cells.at[second, "job_id"], cells.at[first, "job_id"]
        cells.at[second, "job_id"] = now
        for own in (now, was):
            spoiled.append(Spoiled(own, "job_id", "a number used twice", own, now, "refused"))
    return spoiled


def _repeat_lines(
    lines: list[list[str]], cells: pd.DataFrame, rows: np.ndarray, random: np.random.Generator
) -> list[Spoiled]:
    """Copy lines to other places."""
    spoiled = []
    for row in rows:
        copy = list(cells.loc[row])
        lines.insert(int(random.integers(len(lines) + 1)), copy)
        spoiled.append(Spoiled(copy[0], "", "the same line again", "", "", "skipped"))
    return spoiled


def _as_written(history: History, style: Style) -> pd.DataFrame:
    """Turn every cell into text, empty for unknown; columns without content are left out."""
    jobs = history.jobs
    columns: dict[str, np.ndarray] = {}
    for name in jobs.columns:
        if name == "notes" or jobs[name].notna().any():
            columns[name] = _texts(jobs[name], str(name), style)
    return pd.DataFrame(columns, dtype=object)


def _texts(values: pd.Series, name: str, style: Style) -> np.ndarray:
    described = column(name)
    assert described is not None  # a history holds our columns only
    if described.kind == "date":
        text = values.dt.strftime(style.date_format)
    elif described.kind in ("number", "whole"):
        text = values.map(lambda number: f"{number:.15g}".replace(".", style.decimal))
    else:
        text = values.astype(object)
    return text.where(values.notna(), "").to_numpy(dtype=object)


def _bytes(
    headings: list[str], lines: list[list[str]], style: Style, random: np.random.Generator
) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=style.delimiter, lineterminator="\r\n")
    writer.writerow(headings)
    blank = set(random.integers(1, len(lines) + 1, style.blank_lines).tolist())
    for number, line in enumerate(lines):
        if number in blank:
            text.write("\r\n")
        writer.writerow(line)
    return text.getvalue().encode(style.encoding)
