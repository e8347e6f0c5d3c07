"""The job book in plain sentences: what was made, kept, checked."""

from __future__ import annotations

from datetime import date

from insights.history.book.backup import Copied
from insights.history.book.condition import Condition
from insights.history.book.exporting import Exported
from insights.wording import Finding, counted

ANOTHER_DISK = (
    "Keep a backup on another disk: `staysfixed book backup` writes one while work goes on."
)
PERSONAL = (
    "It holds what customers told you, names and telephone numbers included. Keep it as you keep "
    "the book."
)
NO_PASSWORDS = "People and their passwords are not in it; a backup holds them."


def of_new(name: str) -> Finding:
    """Say that a book was made, and what comes next."""
    return Finding(f"{name} is a new, empty job book.", (ANOTHER_DISK,))


def of_condition(found: Condition) -> Finding:
    """Say what a book holds."""
    last = "" if found.last_saved_at is None else f", the last on {found.last_saved_at:%-d %B %Y}"
    return Finding(
        f"{found.name} is whole: {counted(found.jobs, 'job')} in "
        f"{counted(found.saves, 'save')}{last}; "
        f"{counted(found.on_bench, 'is', 'are')} on the bench.",
        (ANOTHER_DISK,),
    )


def of_backup(copied: Copied) -> Finding:
    """Say that a backup was written and is equal to the book."""
    return Finding(
        f"{copied.name} holds the whole book, {_held(copied.counts)}, and was compared with it "
        "cell by cell.",
        (
            "A backup on the same disk is lost with it. Carry it to another one.",
            PERSONAL,
        ),
    )


def not_noted(error: Exception) -> str:
    """Say that a backup was made although the book could not write down who took it."""
    return f"The book's list of who took customers' data does not hold this backup: {error}"


def of_restore(copied: Copied) -> Finding:
    """Say that a book was brought back and is equal to the backup."""
    return Finding(
        f"{copied.name} is a job book again, {_held(copied.counts)}, equal to the backup cell by "
        "cell."
    )


def of_export(exported: Exported, folder: str) -> Finding:
    """Say what the folder holds."""
    return Finding(
        f"{folder} holds everything in the book, {_held(exported.counts)}, one file a table; "
        f"history.{exported.form} is the jobs as they stand.",
        (NO_PASSWORDS, PERSONAL),
    )


def of_rebuild(exported: Exported, book: str) -> Finding:
    """Say that a book was made from an export and is equal to it."""
    return Finding(
        f"{book} is a job book again, {_held(exported.counts)}, equal to the export cell by cell.",
        (NO_PASSWORDS,),
    )


def of_jobs_written(jobs: int, file: str, as_of: date | None) -> Finding:
    """Say what the table holds."""
    then = "as they stand" if as_of is None else f"as they were known on {as_of:%-d %B %Y}"
    return Finding(f"{file} holds {counted(jobs, 'job')}, {then}.", (PERSONAL,))


def _held(counts: dict[str, int]) -> str:
    jobs, saves = counts.get("heads", 0), counts.get("versions", 0)
    return f"{counted(jobs, 'job')} in {counted(saves, 'save')}"
