"""Text of the record's own, shown as it is."""

from __future__ import annotations

SIGNS = frozenset("\\`*_{}[]()#!|<>$~:&")


def literal(text: str) -> str:
    """Write a text so that no sign in it is read as markup.

    Parameters
    ----------
    text
        A file's name, a heading, a value, or a sentence that holds one.
    """
    return "".join(f"\\{sign}" if sign in SIGNS else sign for sign in text)
