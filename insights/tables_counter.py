"""What was changed on a job, as a table for people."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from insights.history.book.entries import BookJob, Settings
from insights.wording_counter import changed_fields

HEADINGS = ("When", "Who", "Step", "What", "Before", "After")


def of_saves(versions: Sequence[BookJob], settings: Settings) -> pd.DataFrame:
    """List every change of a job, the latest first.

    Parameters
    ----------
    versions
        Every version of the job, the first first.
    settings
        The book's, for its decimal mark.

    Returns
    -------
    pandas.DataFrame
        One row a field and save; the time is this machine's.
    """
    rows = []
    for number, job in enumerate(versions):
        earlier = versions[number - 1] if number else None
        when = f"{job.saved_at.astimezone():%Y-%m-%d %H:%M}"
        rows += [
            (when, job.saved_by, job.what, *change)
            for change in changed_fields(earlier, job, settings)
        ]
    return pd.DataFrame(rows[::-1], columns=list(HEADINGS))
