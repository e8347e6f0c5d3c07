"""One history and more of it: what is there already changes nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from insights.errors import FormatQuestion
from insights.history.schema import BY_NAME, REFUSAL_COLUMNS, History, to_schema
from insights.notes import Note

_REMEDY = "correct the job in its place, or give this one its own number"


def merge(history: History, more: History) -> History:
    """Add the jobs of another history.

    A job number that is there already with the same content changes nothing; with other content
    the newcomer is refused with the columns that differ. Merging the same history any number of
    times gives the same jobs.

    Parameters
    ----------
    history
        What is there.
    more
        What comes on top.

    Returns
    -------
    History
        With the refused rows of both and of the merging itself; ``row`` is empty for jobs
        refused here, as they were sound in their own source.

    Raises
    ------
    FormatQuestion
        The two state different currencies.
    """
    if history.currency and more.currency and history.currency != more.currency:
        raise FormatQuestion(
            f"One history is in {history.currency}, the other in {more.currency}. "
            "Convert one of them first."
        )
    old, new = _aligned(history.jobs, more.jobs)
    place = pd.Index(old["job_id"]).get_indexer(pd.Index(new["job_id"]))
    known = np.flatnonzero(place >= 0)
    before, after = old.iloc[place[known]], new.iloc[known]
    differs = pd.DataFrame(
        {name: _differs(before[name], after[name]) for name in new.columns}, index=known
    )
    clash = differs[differs.any(axis=1)]
    jobs = old if (place >= 0).all() else pd.concat([_loose(old), _loose(new[place < 0])])
    refused, rows = _refused(old, new, place, clash)
    return replace(
        history,
        jobs=to_schema(jobs),
        refused=_joined(history.refused, more.refused, refused),
        refused_rows=_joined(history.refused_rows, more.refused_rows, rows),
        currency=history.currency or more.currency,
        source=" + ".join(dict.fromkeys(s for s in (history.source, more.source) if s)),
        notes=_notes(history, more, len(known) - len(clash)),
    )


def _notes(history: History, more: History, same: int) -> tuple[Note, ...]:
    notes = list(dict.fromkeys([*history.notes, *more.notes]))
    if same:
        notes = [note for note in notes if note.code != "jobs_known"]
        known = (
            "1 job was there already and is"
            if same == 1
            else f"{same} jobs were there already and are"
        )
        notes.append(Note("jobs_known", f"{known} unchanged.", same))
    return tuple(notes)


def _aligned(old: pd.DataFrame, new: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    extra = [str(n) for n in dict.fromkeys([*old.columns, *new.columns]) if n not in BY_NAME]
    names = [*BY_NAME, *extra]
    return to_schema(old.reindex(columns=names)), to_schema(new.reindex(columns=names))


def _loose(jobs: pd.DataFrame) -> pd.DataFrame:
    """Free categories, so that two sets of them can be put together."""
    coded = jobs.columns[jobs.dtypes == "category"]
    return jobs.astype(dict.fromkeys(coded, "string[pyarrow]"))


def _differs(before: pd.Series, after: pd.Series) -> np.ndarray:
    """Tell where two columns of one kind differ; missing on both sides is no difference."""
    missing, gone = after.isna().to_numpy(), before.isna().to_numpy()
    if after.dtype == "category":
        place = before.cat.categories.get_indexer(after.cat.categories)
        unequal = np.append(place, -1)[after.cat.codes] != before.cat.codes.to_numpy()
    elif after.dtype == "string":
        unequal = before.array != after.array
        unequal = np.asarray(unequal.fillna(True), dtype=bool)
    else:
        unequal = before.to_numpy() != after.to_numpy()
    return (missing != gone) | (unequal & ~missing)


def _refused(
    old: pd.DataFrame, new: pd.DataFrame, place: np.ndarray, clash: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    lines = []
    problems = []
    for row, differing in clash.iterrows():
        mine = [
            _line(name, new["job_id"].iloc[row], old[name].iloc[place[row]], new[name].iloc[row])
            for name in clash.columns[differing]
        ]
        problems.append("; ".join(f"{line['column']}: {line['problem']}" for line in mine))
        lines += mine
    rows = _loose(new.iloc[clash.index.to_numpy(dtype=int)]).astype(object)
    rows.insert(0, "row", pd.NA)
    rows.insert(1, "problem", problems)
    rows.insert(2, "remedy", _REMEDY)
    return pd.DataFrame(lines, columns=list(REFUSAL_COLUMNS)), rows


def _line(name: str, job_id: str, was: object, now: object) -> dict[str, object]:
    return {
        "row": pd.NA,
        "job_id": job_id,
        "column": name,
        "value": _shown(now),
        "problem": f"the job is there already with {_shown(was) or 'nothing'} here",
        "remedy": _REMEDY,
    }


def _shown(value: object) -> str:
    if pd.isna(value):
        return ""
    return f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else str(value)


def _joined(*frames: pd.DataFrame) -> pd.DataFrame:
    filled = [frame.astype(object) for frame in frames if len(frame)]
    if not filled:
        return frames[0]
    return pd.concat(filled, ignore_index=True).drop_duplicates(ignore_index=True)
