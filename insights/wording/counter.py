"""What is said at the counter: was this unit here before, and what was done then."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from typing import Any

from insights.history.book.as_typed import as_typed
from insights.history.book.entries import BookJob, Settings
from insights.history.book.look_up import Found, SeenUnit, Visit
from insights.printing import day_words
from insights.wording import Finding
from insights.wording.bench import field_words, in_words, value_words

MOST_SHOWN = 3
CAUSES = ("root_cause", "upstream_cause")
FAMILIES = {"practice_": "", "lot_": "lot of "}


def of_found(found: Found) -> Finding:
    """Say whether an arriving unit was here before.

    Parameters
    ----------
    found
        What the book knows of it.
    """
    if not found.units:
        return Finding(_new(found))
    first = found.units[0]
    last = first.visits[0]
    return Finding(f"{of_likeness(first)} {_inside(last)}".strip(), _warnings(found))


def of_unit(unit: SeenUnit) -> tuple[str, ...]:
    """Say what was done on each earlier visit of a unit, the latest first."""
    return tuple(of_visit(visit) for visit in unit.visits[:MOST_SHOWN])


def of_visit(visit: Visit) -> str:
    """Say what was done on one visit, by whom, and how its term stands."""
    job = visit.job
    parts = [f"Job {job.job_id}, received {day_words(job.values['received'])}"]
    if visit.on_bench:
        parts.append("still on the bench by the book")
    elif "handed_back" in job.values:
        parts.append(f"handed back {day_words(job.values['handed_back'])}")
    if "technician" in job.values:
        parts.append(f"by {job.values['technician']}")
    done = "; ".join(_done(job)) or "nothing is recorded of what was done"
    return " ".join(part for part in (f"{', '.join(parts)}: {done}.", _term(visit)) if part)


def of_saves(
    versions: Sequence[BookJob], settings: Settings, *, since: int = 0, but_not_by: str = ""
) -> tuple[str, ...]:
    """Say who saved what on a job, and what stood there before: one sentence a save.

    Parameters
    ----------
    versions
        Every version of the job, the first first.
    settings
        The book's, for its decimal mark.
    since
        Only saves after this version.
    but_not_by
        Only saves of others than this person.
    """
    sentences = []
    for earlier, job in pairwise((None, *versions)):
        assert job is not None
        if job.number > since and job.saved_by != but_not_by:
            said = "; ".join(
                f"{what}: {now}" if not was else f"{what}: {was} → {now or 'taken out'}"
                for what, was, now in changed_fields(earlier, job, settings)
            )
            when = f"{job.saved_at.astimezone():%Y-%m-%d %H:%M}"
            sentences.append(f"{when} {job.saved_by}, {job.what}: {said or 'nothing changed'}.")
    return tuple(sentences)


def changed_fields(
    before: BookJob | None, after: BookJob, settings: Settings
) -> list[tuple[str, str, str]]:
    """List what differs between two versions of a job: name, before, after, as one types them."""
    was = {} if before is None else _in_words(before, settings)
    now = _in_words(after, settings)
    return [
        (field_words(name), was.get(name, ""), now.get(name, ""))
        for name in dict.fromkeys([*was, *now])
        if was.get(name) != now.get(name)
    ]


def of_job(job: BookJob, today: date) -> str:
    """Name a job for a list: number, unit, customer, how long it has been here."""
    known = job.values
    unit = ", ".join(str(known[name]) for name in ("model", "unit_serial") if name in known)
    days = (today - known["received"].date()).days
    here = {0: "since today", 1: "since yesterday"}.get(days, f"{days} days here")
    parts = (job.job_id, unit, str(known.get("customer", "")), _where(job, here))
    return " · ".join(part for part in parts if part)


def _where(job: BookJob, here: str) -> str:
    if "handed_back" in job.values:
        return f"handed back {job.values['handed_back']:%Y-%m-%d}"
    if "ended_on" in job.values:
        return f"left service {job.values['ended_on']:%Y-%m-%d}"
    return here


def _in_words(job: BookJob, settings: Settings) -> dict[str, str]:
    said = {
        name: value_words(name, as_typed(name, value, settings))
        for name, value in job.values.items()
    }
    return said | {name: _kept(fact) for name, fact in job.bench.items()}


def _kept(fact: Any) -> str:
    return f"{len(fact)} kept" if isinstance(fact, list | dict) else str(fact)


def _new(found: Found) -> str:
    if not found.jobs:
        return "The book is empty, so every unit is new to us."
    if found.needs_model:
        return "No job has this serial. Give the model, and the book looks further."
    if found.jobs == 1:
        return "New to us: the book's one job does not fit."
    return f"New to us: none of the book's {found.jobs:,} jobs fits."


def of_likeness(unit: SeenUnit) -> str:
    """Say how likely an arriving unit is one that was here before."""
    last = unit.visits[0]
    if unit.is_sure and last.on_bench:
        return (
            f"By the book this unit is on the bench now, as job {last.job.job_id}. Look there "
            "before you take it in twice."
        )
    times = "once" if len(unit.visits) == 1 else f"{len(unit.visits)} times"
    if unit.is_sure:
        return f"This unit was here before, {times}."
    if unit.impossible:
        return "This looks like a unit the book has on the bench, or out of service. Please check."
    return (
        f"Probably here before, {times}: {100 * unit.probability:.0f} of 100 such likenesses are "
        "the same unit. Please compare."
    )


def _inside(visit: Visit) -> str:
    if visit.inside_term is None:
        return ""
    return "It is inside its term." if visit.inside_term else "It is outside its term."


def _term(visit: Visit) -> str:
    if visit.days is None:
        return ""
    if visit.inside_term is None:
        return f"That is {visit.days:,} days ago; no term was recorded."
    term_days = visit.job.values["term_days"]
    if term_days == 0:
        return f"That is {visit.days:,} days ago; it had no warranty of ours."
    side = "inside" if visit.inside_term else "outside"
    return f"Day {visit.days:,} of {term_days:,}: {side} its term."


def _done(job: BookJob) -> list[str]:
    said = [in_words(str(job.values[name])) for name in CAUSES if job.values.get(name)]
    if job.values.get("cause_removed") in ("yes", "no"):
        removed = "put right" if job.values["cause_removed"] == "yes" else "left as it was"
        said.append(f"its cause was {removed}")
    return said + _families(job)


def _families(job: BookJob) -> list[str]:
    return [
        f"{words}{in_words(name.removeprefix(prefix))}: {value}"
        for prefix, words in FAMILIES.items()
        for name, value in job.values.items()
        if name.startswith(prefix)
    ]


def _warnings(found: Found) -> tuple[str, ...]:
    rivals = len(found.units) - 1
    if not rivals:
        return ()
    units = "one more unit" if rivals == 1 else f"{rivals} more units"
    return (f"{units.capitalize()} may be meant.",)
