"""A history written out as a file that reads back as the same history."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from pyarrow import csv

from insights.errors import RequestError
from insights.harmless import harmless_frame
from insights.history.schema import History, column

FORMS = ("csv", "parquet")


def form_of(file: str | Path) -> str:
    """Tell from a file's name how it is to be written.

    Raises
    ------
    RequestError
        The name ends in neither ``.csv`` nor ``.parquet``.
    """
    form = Path(file).suffix.lower().removeprefix(".")
    if form not in FORMS:
        raise RequestError(f"{file}: write the name with .csv or .parquet at its end.")
    return form


def write_history(history: History, file: str | Path, form: str = "csv") -> None:
    """Write a history under our headings, empty columns left out.

    Parameters
    ----------
    history
        To be written.
    file
        The file; what is there is replaced.
    form
        ``csv`` (UTF-8; cells that a spreadsheet would run as a formula stand behind an
        apostrophe, which reading takes off again) or ``parquet``.
    """
    jobs = history.jobs
    kept = jobs.loc[:, [name for name in jobs.columns if jobs[name].notna().any()]]
    kinds = {name: described.kind for name in kept if (described := column(str(name)))}
    written = kept.assign(
        **{name: kept[name].dt.date for name, kind in kinds.items() if kind == "date"},
        **{name: kept[name].astype("Int64") for name, kind in kinds.items() if kind == "whole"},
    )
    if form == "parquet":
        pq.write_table(pa.Table.from_pandas(written, preserve_index=False), file)
        return
    table = pa.Table.from_pandas(harmless_frame(written), preserve_index=False)
    csv.write_csv(table, file, csv.WriteOptions(quoting_style="needed"))
