"""Tables of what became of a file added to the book, in words."""

from __future__ import annotations

import pandas as pd

from insights.history.book.adding import Added


def of_problems(added: Added) -> pd.DataFrame:
    """List what is wrong with each refused row, and where a job differs from the book's."""
    lines = added.table.astype(object)
    return pd.DataFrame(
        {
            "row": ["" if pd.isna(row) else str(row) for row in lines["row"]],
            "job": lines["job_id"],
            "column": lines["column"],
            "found": lines["value"],
            "what is wrong": lines["problem"],
            "what to do": lines["remedy"],
        }
    )
