"""Writing down in a job book, before it happens, that customers' data leave it by a verb."""

from __future__ import annotations

from insights.history.book.address import is_book
from insights.verbs.book import name_or_user


def note_leaving(source: str, by: str | None, what: str, *, option: str = "--by") -> None:
    """Write down what leaves a book, and who took it; nothing where the source is no book.

    Parameters
    ----------
    source
        What the verb works on.
    by, option
        Who takes it, None: this machine's user; and with what word it is said.
    what
        How much of what, and where to; never a customer.

    Raises
    ------
    RequestError
        This machine knows no name for its user.
    BookError
        It can't be written down: then nothing may leave.
    """
    if not is_book(source):
        return
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.access_log import EXPORTED, log_access
    from insights.history.book.opening import open_book
    from insights.history.book.people import Person

    person = Person(name_or_user(by, option))
    book = open_book(source, as_it_is=True)
    try:
        log_access(book, person, EXPORTED, what)
    finally:
        book.engine.dispose()
