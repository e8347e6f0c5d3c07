"""People, roles and customers' data in plain sentences."""

from __future__ import annotations

from insights.history.book.erasing import Erased
from insights.wording import Finding, whole

ROLES = {
    "bench": "records jobs",
    "owner": "may do everything",
    "reader": "only reads",
}
OUT_OF_REACH = (
    "Backups and files exported earlier still hold the data: delete them, or keep them no longer "
    "than you may."
)
NOT_ADVICE = "How long you must or may keep what is your local law's to say; this is no advice."
NOT_CLEAN = (
    "Someone was reading while it was wiped, so the file beside the book still holds old pages. "
    "Close every program that has the book open, and run this again."
)


def of_users(names: list[tuple[str, str]]) -> Finding:
    """Say who may sign in."""
    if not names:
        return Finding("Nobody may sign in: the book is opened on this machine only.")
    said = "; ".join(f"{name} ({role}: {ROLES[role]})" for name, role in names)
    return Finding(f"Who may sign in: {said}.")


def of_change(name: str, action: str, role: str | None) -> Finding:
    """Say what became of a user."""
    sentences = {
        "add": f"{name} may sign in now, as {role}.",
        "role": f"{name} is {role} from the next click on.",
        "password": f"{name} has a new password, and is signed out wherever they were signed in.",
        "remove": f"{name} can't sign in any more. What they recorded keeps their name.",
    }
    return Finding(sentences[action])


def of_erased(erased: Erased) -> Finding:
    """Say what was wiped, and what is out of reach."""
    if not erased.customers:
        return Finding("Nobody's data are beyond the limit: nothing was wiped.")
    kept = f" {erased.links_kept} decisions keep their jobs the same units." * bool(
        erased.links_kept
    )
    sentence = (
        f"Wiped: {_counted(erased.customers, 'customer')} on {_counted(erased.jobs, 'job')}, in "
        f"{_counted(erased.versions, 'version')}, {_counted(erased.records, 'record')} and "
        f"{_counted(erased.drafts, 'draft')}. Every count and curve stays as it was.{kept}"
    )
    caveats = (OUT_OF_REACH,) if erased.files_clean else (NOT_CLEAN, OUT_OF_REACH)
    return Finding(sentence, caveats)


def of_retention(days: int | None, beyond: int) -> Finding:
    """Say what the limit is, and how many are beyond it."""
    if days is None:
        return Finding("Customers' data are kept without a limit.", (NOT_ADVICE,))
    return Finding(
        f"Customers' data are kept for {whole(days)} days after their last hand-back, or after the "
        f"end of its warranty; {_counted(beyond, 'customer')} "
        f"{'is' if beyond == 1 else 'are'} beyond that.",
        (NOT_ADVICE,),
    )


def of_accesses(count: int) -> Finding:
    """Say how many accesses are listed."""
    return Finding(f"{_counted(count, 'access', 'accesses')} on record, the newest first.")


def _counted(number: int, one: str, many: str | None = None) -> str:
    return f"{whole(number)} {one if number == 1 else many or one + 's'}"
