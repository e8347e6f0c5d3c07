"""What can go wrong, one class for each thing a caller would do differently."""

from __future__ import annotations


class StaysfixedError(Exception):
    """Root of every error this package raises on purpose.

    The text says what is wrong, where, what was found and what to do.
    """


class SourceError(StaysfixedError):
    """The source can't be read as a job history at all: give another file."""


class HeadingsError(StaysfixedError):
    """Required columns were not found under any heading: give or confirm a mapping."""


class FormatQuestion(StaysfixedError):
    """The file can be read in more than one way: declare which one is meant."""


class RequestError(StaysfixedError):
    """The question names a column, level, day or cost that can't be used: ask differently."""


class EvidenceError(StaysfixedError):
    """The record holds too little to answer: wait for more jobs, or ask a smaller question."""


class BookError(StaysfixedError):
    """The job book can't be opened, read or written: mend what the text names, then try again."""


class EntryError(StaysfixedError):
    """What was entered can't be stored as it is: correct the fields named and save again.

    Parameters
    ----------
    problems
        One ``(column, value, problem, remedy)`` for each field.
    """

    def __init__(self, problems: tuple[tuple[str, str, str, str], ...]) -> None:
        self.problems = problems
        super().__init__(
            "; ".join(
                f"{column}: {problem} (found '{value}'); {remedy}"
                for column, value, problem, remedy in problems
            )
        )


class ChangedMeanwhile(StaysfixedError):
    """Someone else saved the same thing since it was read: look at theirs, then save again."""


class MailError(StaysfixedError):
    """A mail can't be sent: mend what the text names, then send it again.

    Parameters
    ----------
    text
        What is wrong, and what to do.
    may_be_sent
        Whether the server may have taken the mail all the same.
    """

    def __init__(self, text: str, *, may_be_sent: bool = False) -> None:
        self.may_be_sent = may_be_sent
        super().__init__(text)


class NotAllowed(StaysfixedError):
    """A person's role does not allow it: ask someone whose role does."""
