"""What became of a file added to the job book, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from insights.history.book.adding import Added
from insights.history.book.refused import RefusedRow
from insights.wording import Finding, counted, whole

NEVER_OVERWRITTEN = (
    "A job that differs stands in the book as it was: correct it there, or give the file's job a "
    "number of its own."
)
NOTHING_STORED = (
    "Nothing is stored yet. Look it through first: what is in the book stays in its history."
)
WAITING = "Refused rows wait in the book until they are mended, and are in no answer before."


def of_added(added: Added, *, tried: bool = False) -> Finding:
    """Say what became of a file's rows, or what would where it was only tried."""
    parts = [
        (added.added, "new to the book" if tried else "new and in the book now"),
        (added.known, "there already and unchanged"),
        (added.differing, "there with other content"),
        (added.refused, "refused"),
        (added.repeated, "a repetition of another row"),
    ]
    told = ", ".join(f"{whole(count)} {what}" for count, what in parts if count)
    caveats = [NOTHING_STORED] if tried else []
    if added.differing:
        caveats.append(NEVER_OVERWRITTEN)
    if added.refused:
        caveats.append(WAITING)
        before = added.refused - added.kept
        if before:
            caveats.append(
                f"{counted(before, 'refused row is', 'refused rows are')} known from an earlier "
                "time: waiting already, or mended or dropped since."
            )
    if added.mended and not tried:
        caveats.append(f"{_rows(added.mended)} refused earlier came mended.")
    caveats += [note.text for note in added.notes]
    return Finding(f"Of {_rows(added.given)} in {added.source}: {told}.", tuple(caveats))


def of_refused(waiting: Sequence[RefusedRow]) -> Finding:
    """Say how many refused rows wait."""
    if not waiting:
        return Finding("No refused row waits to be mended.")
    return Finding(f"{counted(len(waiting), 'row waits', 'rows wait')} to be mended.")


def of_written(waiting: Sequence[RefusedRow], files: Sequence[str]) -> Finding:
    """Say where refused rows were written to be mended."""
    caveats = ["Add the mended file with the same options as the file the rows came from."]
    if len(files) > 1:
        caveats.append("There are several, because the rows came under different headings.")
    return Finding(f"{_rows(len(waiting))} written to {', '.join(files)}.", tuple(caveats))


def of_dropped(dropped: Sequence[RefusedRow]) -> Finding:
    """Say which rows wait no more."""
    return Finding(f"{_rows(len(dropped))} dropped: not stored as a job, and waiting no more.")


def of_mended(row: RefusedRow, job_id: str) -> str:
    """Say that a row became a job."""
    place = "" if row.row is None else f"row {row.row} of "
    return f"Job {job_id} is in the book now, mended from {place}{row.source}."


def of_waiting(row: RefusedRow) -> str:
    """Name a waiting row in one line."""
    place = "" if row.row is None else f", row {row.row}"
    named = f"Job {row.job_id}" if row.job_id else "No job number"
    return f"{named}: {row.problem} ({row.source}{place})"


def _rows(count: int) -> str:
    return counted(count, "row")
