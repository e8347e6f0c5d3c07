"""CSV, XLSX and Parquet files -> the job history, with the rows that can't be used and why."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa

from insights.history.dates import ask_about_dates
from insights.history.declared import Declared, recall
from insights.history.files import Source, read_raw
from insights.history.headings import Matched, match_headings, require
from insights.history.merging import merge
from insights.history.raw import Flaw, Raw
from insights.history.refusals import refusal_table, refused_rows, write_refused
from insights.history.repeats import find_repeats
from insights.history.schema import Column, History, column, to_schema
from insights.history.values import Parsed, cells_of, parse, trimmed
from insights.notes import Note

__all__ = ["Declared", "Source", "merge", "read_history", "write_refused"]


def read_history(
    source: Source, declared: Declared | None = None, *, today: date | None = None
) -> History:
    """Read a workshop's own file.

    Every cell is read as text first, so that ``001`` and ``NA`` stay what they are. All problems
    are gathered in one pass; a row with any is refused and the others load.

    Parameters
    ----------
    source
        A path to a CSV, XLSX or Parquet file, or a name with the file's bytes.
    declared
        How to read it; None: as remembered for these headings, or else in our own terms.
    today
        No date may lie after it; None: the day of this machine's clock.

    Returns
    -------
    History
        ``jobs + refused_rows`` and the identical rows skipped (note ``identical_rows``) are all
        rows that hold anything.

    Raises
    ------
    SourceError
        The file can't be read as a table.
    HeadingsError
        A required column was not found (:class:`insights.history.questions.MissingColumns`,
        with suggestions), or two headings mean the same column.
    FormatQuestion
        The sheet or the date format must be declared.
    """
    raw = read_raw(source, declared)
    notes = [Note(code, text) for code, text in raw.remarks]
    if declared is None and (remembered := recall(raw.headings)) is not None:
        declared = remembered
        raw = read_raw(source, declared)
        notes.append(Note("remembered", "Read as you confirmed earlier for these headings."))
    declared = declared or Declared()
    matched = match_headings(raw.headings, declared)
    require(matched, raw.head())
    notes += _heading_notes(matched)
    values, flaws = _parse_all(raw, matched, declared, today or date.today())
    repeats = find_repeats(raw, matched.theirs["job_id"])
    flaws += [*raw.flaws, *repeats.flaws, *_backwards(values, matched)]
    if repeats.skipped.any():
        count = int(repeats.skipped.sum())
        rows = "1 row repeats" if count == 1 else f"{count} rows repeat"
        notes.append(Note("identical_rows", f"{rows} another row exactly; skipped.", count))
    refused = np.zeros(raw.table.num_rows, dtype=bool)
    for flaw in flaws:
        refused[flaw.rows] = True
    refused &= ~repeats.skipped
    flaws = [flaw.where(refused) for flaw in flaws]
    jobs = _jobs(values, ~(refused | repeats.skipped))
    notes += _spelling_notes(jobs)
    table = refusal_table(raw, flaws, matched.theirs["job_id"])
    given = refused_rows(raw, refused, table)
    del raw, values
    # Arrow keeps what it was given; of millions of rows that is more than the history itself.
    pa.default_memory_pool().release_unused()
    return History(
        jobs=jobs,
        refused=table,
        refused_rows=given,
        source=_shown(source),
        currency=declared.currency,
        notes=tuple(notes),
    )


def _shown(source: Source) -> str:
    return str(source[0] if isinstance(source, tuple) else source)


def _parse_all(
    raw: Raw, matched: Matched, declared: Declared, today: date
) -> tuple[dict[str, pd.Series], list[Flaw]]:
    described: dict[str, tuple[str, Column]] = {}
    for ours, theirs in matched.theirs.items():
        found = column(ours)
        assert found is not None  # match_headings gives our names only
        described[ours] = (theirs, found)
    cells = {ours: trimmed(raw.table[theirs]) for ours, (theirs, _) in described.items()}
    if declared.date_format is None:
        ask_about_dates(
            {
                theirs: cells_of(cells[ours]).distinct
                for ours, (theirs, found) in described.items()
                if found.kind == "date"
            }
        )
    already = _already_flawed(raw)
    none = np.zeros(raw.table.num_rows, dtype=bool)
    values: dict[str, pd.Series] = {}
    flaws: list[Flaw] = []
    for ours, (theirs, found) in described.items():
        texts = cells_of(cells.pop(ours), each=found.kind == "text")
        parsed: Parsed = parse(found, theirs, texts, declared, today)
        values[ours] = parsed.values
        told = already.get("", none) | already.get(theirs, none)
        flaws += [flaw.where(~told) for flaw in parsed.flaws]
    return values, flaws


def _already_flawed(raw: Raw) -> dict[str, np.ndarray]:
    """Rows whose cell was found faulty on reading: one problem a cell is enough."""
    found: dict[str, np.ndarray] = {}
    for flaw in raw.flaws:
        rows = found.setdefault(flaw.heading, np.zeros(raw.table.num_rows, dtype=bool))
        rows[flaw.rows] = True
    return found


def _backwards(values: dict[str, pd.Series], matched: Matched) -> list[Flaw]:
    if "handed_back" not in values:
        return []
    rows = np.flatnonzero(values["handed_back"].to_numpy() < values["received"].to_numpy())
    heading = matched.theirs["handed_back"]
    problem = f"handed back before {matched.theirs['received']}"
    return [Flaw(rows, heading, problem, "correct one of the two dates")] if len(rows) else []


def _jobs(values: dict[str, pd.Series], accepted: np.ndarray) -> pd.DataFrame:
    frame = pd.DataFrame(values, copy=False)
    if not accepted.all():
        frame = frame[accepted]
        for name in frame.columns[frame.dtypes == "category"]:
            frame[name] = frame[name].cat.remove_unused_categories()
    return to_schema(frame)


def _heading_notes(matched: Matched) -> list[Note]:
    notes = []
    if matched.aside:
        notes.append(Note("columns_aside", f"Columns left aside: {', '.join(matched.aside)}."))
    if matched.absent:
        notes.append(
            Note("headings_absent", f"Declared but not there: {', '.join(matched.absent)}.")
        )
    return notes


def _spelling_notes(jobs: pd.DataFrame) -> list[Note]:
    """Point to levels that differ only in capitals, which are counted apart."""
    notes = []
    for name in jobs.columns[jobs.dtypes == "category"]:
        levels: Sequence[str] = list(jobs[name].cat.categories)
        groups: dict[str, list[str]] = {}
        for level in levels:
            groups.setdefault(level.casefold(), []).append(level)
        alike = [" / ".join(group) for group in groups.values() if len(group) > 1]
        if alike:
            text = f"{name}: {', '.join(alike[:5])} differ only in capitals and are counted apart."
            notes.append(Note("like_levels", text))
    return notes
