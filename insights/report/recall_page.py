"""Units to call in, as a page to print and tick off at the telephone."""

from __future__ import annotations

from html import escape

import pandas as pd

from insights import wording
from insights.printing import bullets, day_words, page, paragraph
from insights.reviewing.recall import Recall
from insights.tables import watch as tables_watch
from insights.wording import watch as wording_watch

BOXES = ("called", "answered", "inspected")
COLUMNS = ("Job", "Customer", "Phone", "Model", "Serial", "Handed back", "Term left", "Status")


def recall_page(recall: Recall, data_date: pd.Timestamp) -> str:
    """Print a recall list.

    Parameters
    ----------
    recall
        The units.
    data_date
        The day up to which the record is complete.

    Returns
    -------
    str
        HTML of its own: no script, nothing loaded from elsewhere.
    """
    found = wording_watch.of_recall(recall)
    return page(
        f"Units to call in: {wording_watch.name_of(recall.chart)}",
        [
            paragraph(f"As recorded up to {day_words(data_date)}."),
            paragraph(found.sentence),
            _table(recall),
            bullets("Keep in mind", (*found.caveats, wording.SAFETY, wording.STATUTORY)),
        ],
    )


def _table(recall: Recall) -> str:
    rows = tables_watch.of_recall(recall)
    if rows.empty:
        return ""
    heads = "".join(f"<th scope='col'>{escape(name)}</th>" for name in (*COLUMNS, *BOXES))
    body = "\n".join(
        "<tr>"
        + "".join(f"<td>{escape(str(cell))}</td>" for cell in row)
        + "".join("<td>☐</td>" for _ in BOXES)
        + "</tr>"
        for row in rows[list(COLUMNS)].itertuples(index=False, name=None)
    )
    return f"<table style='font-size:.8em'>\n<tr>{heads}</tr>\n{body}\n</table>"
