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
