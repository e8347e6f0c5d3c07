"""The comebacks of a record, each beside the job it is judged against, and what is undecided."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.bench.claims import Visits
from insights.history.book.entries import BookJob
from insights.history.schema import History
from insights.history.units import Links

UNSETTLED = "pending"
COLUMNS = (
    "job_id",
    "index_job_id",
    "model",
    "received",
    "on_bench",
    "waiting_days",
    "relation",
    "root_cause",
    "decision",
)


def comebacks(history: History, links: Links, today: pd.Timestamp) -> pd.DataFrame:
    """List every visit of a unit after its first.

    Parameters
    ----------
    history, links
        The jobs, and which of them are the same unit.
    today
        The day on which to say how long each has waited.

    Returns
    -------
    pandas.DataFrame
        One row a comeback, in order of arrival: ``job_id``, ``index_job_id`` (the unit's visit
        before it), ``model``, ``received``, ``on_bench`` (not handed back yet),
        ``waiting_days`` (whole days since it arrived), ``relation``, ``root_cause``,
        ``decision`` (missing where not recorded).
    """
    jobs = history.jobs
    unit = np.asarray(links.unit_of_job)
    # As the clock lines up a unit's visits: an empty hand-back comes last on its day.
    received, handed_back = jobs["received"].to_numpy(), jobs["handed_back"].to_numpy()
    order = np.lexsort((np.arange(len(jobs)), handed_back, received, unit))
    again = np.flatnonzero(unit[order][1:] == unit[order][:-1]) + 1
    rows, before = order[again], order[again - 1]
    visits = jobs.take(rows).reset_index(drop=True)
    left_service = visits["ended_on"].notna()
    found = pd.DataFrame(
        {
            "job_id": visits["job_id"],
            "index_job_id": jobs["job_id"].take(before).reset_index(drop=True),
            "model": visits["model"],
            "received": visits["received"],
            "on_bench": visits["handed_back"].isna() & ~left_service,
            "waiting_days": (today - visits["received"]).dt.days,
            "relation": visits["relation"].astype(object),
            "root_cause": visits["root_cause"].astype(object),
            "decision": visits["decision"].astype(object),
        }
    )
    return found.sort_values(["received", "job_id"]).reset_index(drop=True)[list(COLUMNS)]


def undecided(found: pd.DataFrame) -> pd.DataFrame:
    """Keep the comebacks on which nobody has decided who pays: on the bench first, then by age.

    Parameters
    ----------
    found
        Of :func:`comebacks`.
    """
    waiting = found[found["decision"].isna() | (found["decision"] == UNSETTLED)]
    ordered = waiting.sort_values(
        ["on_bench", "waiting_days", "job_id"], ascending=[False] * 2 + [True]
    )
    return ordered.reset_index(drop=True)


def visits_of(job: BookJob, index: BookJob) -> Visits:
    """Put a comeback beside its index job, as far as term and cause go."""
    return Visits(
        handed_back=index.values.get("handed_back"),
        term_days=index.values.get("term_days"),
        received=job.values["received"],
        notified=job.values.get("notified"),
        index_cause=index.values.get("root_cause"),
        cause=job.values.get("root_cause"),
    )
