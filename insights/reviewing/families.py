"""Which charts there are: one for each lot, technician, model, root cause and practice level."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.followup import UNKNOWN, Followup
from insights.reviewing.baseline import Family
from insights.reviewing.facets import groups

ALL = "all"
EVERYONE = "all jobs"
CAUSE = "cause"
NOT_CHARTED_COLUMNS = ("chart", "kind", "why")


def families(followup: Followup, causes: pd.Series) -> tuple[tuple[Family, ...], list[tuple]]:
    """List the charts over a follow-up, and what is not charted with the reason.

    Parameters
    ----------
    followup
        The hand-backs.
    causes
        Root cause of every counted comeback that is known, missing where none.
    """
    history = followup.history
    wanted = [
        *(("lot", f"lot_{part}") for part in history.lots),
        ("technician", "technician"),
        ("model", "model"),
        *(("practice", f"practice_{name}") for name in history.practices),
    ]
    everyone = np.zeros(followup.job_count, dtype=np.int64)
    found = [Family(ALL, "", (EVERYONE,), everyone)]
    aside: list[tuple] = []
    for kind, column in wanted:
        values = groups(followup, column).cat.remove_unused_categories().cat
        names = tuple(map(str, values.categories))
        if len(names) < 2:
            why = f"every job has {column} = {names[0]}" if names else f"no {column} is recorded"
            aside.append((column, kind, f"{why}: the chart of {EVERYONE} serves for it"))
            continue
        found.append(Family(kind, column, names, values.codes.to_numpy().astype(np.int64)))
    named = causes.cat.remove_unused_categories().cat
    names = tuple(str(name) for name in named.categories if name != UNKNOWN)
    if names:
        place = {name: number for number, name in enumerate(names)}
        code = np.array([place.get(str(name), -1) for name in named.categories], dtype=np.int64)
        # Looked up by the comeback's own cause; -1, no comeback, finds the last entry.
        found.append(Family(CAUSE, CAUSE, names, np.append(code, -1)[named.codes.to_numpy()]))
    return tuple(found), aside
