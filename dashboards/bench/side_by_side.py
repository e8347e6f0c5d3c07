"""A comeback beside the job it is judged against, without money and without what is to be coded."""

from __future__ import annotations

from collections.abc import Collection

from dashboards import answer, looking
from dashboards.bench.workplace import Place
from insights.history.book.as_typed import all_typed
from insights.history.book.entries import BookJob
from insights.tables import bench as tables_bench

KEPT_BACK = frozenset(
    (
        *("job_id", "decision", "relation", "price", "parts_cost", "claim_cost", "term_days"),
        *("customer", "postcode", "phone"),
    )
)
"""What is not shown while the evidence is weighed: money, the decision, and who the customer is."""


def show(place: Place, index: BookJob, job: BookJob, hidden: Collection[str] = ()) -> None:
    """Draw both visits as a table.

    Parameters
    ----------
    place
        Where someone works.
    index, job
        The earlier job, and the comeback.
    hidden
        Columns of the comeback that are not shown besides.
    """

    def typed(one: BookJob, kept_back: Collection[str]) -> dict[str, str]:
        names = [name for name in one.values if name not in kept_back]
        return all_typed(one.values, names, place.settings)

    looking.looked_at(place.book, place.person, job.job_id, index.job_id)
    answer.table(
        tables_bench.of_visits(typed(index, KEPT_BACK), typed(job, KEPT_BACK.union(hidden))),
        key=f"{index.job_id}-and-{job.job_id}",
        alt="The earlier job and this visit, side by side",
    )
