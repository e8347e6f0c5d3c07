"""What verbs write beside their answer: files, and how far they are."""

from __future__ import annotations

import sys
from pathlib import Path

from insights.errors import SourceError


def write(path: str | Path, text: str) -> None:
    """Write a file.

    Raises
    ------
    SourceError
        It can't be written.
    """
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise SourceError(f"{path} can't be written: {error.strerror}.") from error


def say(title: str) -> None:
    """Tell someone who waits at a terminal what is being worked out."""
    if sys.stderr.isatty():
        print(f"Working out: {title}", file=sys.stderr)
