"""A form on one job at the bench: its columns as typed, what others saved since, its save."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from dashboards.bench.forms import Action, Form, Sent
from dashboards.bench.workplace import Place
from insights.errors import EntryError
from insights.history.book.as_typed import all_typed
from insights.history.book.entries import BookJob
from insights.wording.counter import of_saves

Changes = Callable[[Sent], Mapping[str, str | None]]


def job_form(
    place: Place,
    job: BookJob,
    step: str,
    columns: Sequence[str],
    more: Mapping[str, str] | None = None,
) -> Form:
    """Open a form on a job.

    Parameters
    ----------
    place
        Where someone works.
    job
        The job as it stands.
    step
        Which form it is.
    columns
        The history's columns it shows.
    more
        Other fields of the form's own, as they stand.
    """
    return Form(
        place.book,
        place.person,
        step,
        job.job_id,
        fields={**all_typed(job.values, columns, place.settings), **(more or {})},
        number=job.number,
        news=lambda since: _news(place, job.job_id, since),
    )


def saving(place: Place, job: BookJob, what: str, changes: Changes) -> Action:
    """Make the action that stores a form's changes as the job's next version.

    Parameters
    ----------
    place, job
        Where, and on which job.
    what
        The step, in a word or two.
    changes
        The history's columns to store, from what was entered.
    """

    def save(sent: Sent) -> str:
        if not sent.changes:
            return "Nothing was changed, so there was nothing to save."
        place.book.save(
            job.job_id,
            changes(sent),
            expected=sent.expected,
            by=place.person,
            what=what,
            token=sent.token,
        )
        return f"Saved: {what}."

    return save


def as_entered(sent: Sent) -> Mapping[str, str | None]:
    """Give what was entered where every field is a column of the history."""
    return dict(sent.changes)


@contextmanager
def marked_at(field_of: Mapping[str, str]) -> Iterator[None]:
    """Have a problem with a column marked at the field that it was entered in.

    Parameters
    ----------
    field_of
        Column -> the form's own field; the others are marked at their own.
    """
    try:
        yield
    except EntryError as error:
        moved = [
            (field_of.get(name, name), value, problem, remedy)
            for name, value, problem, remedy in error.problems
        ]
        raise EntryError(tuple(moved)) from error


def _news(place: Place, job_id: str, since: int) -> tuple[str, ...]:
    """Say what others saved; one's own saves from another form are no news."""
    versions = place.book.versions_of(job_id)
    return of_saves(versions, place.settings, since=since, but_not_by=place.person.name)
