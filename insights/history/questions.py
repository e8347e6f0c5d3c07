"""What a source asks back before it can be read, with what is needed to answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from insights.errors import FormatQuestion, HeadingsError


class MissingColumns(HeadingsError):
    """Required columns stand under no heading known to us.

    Parameters
    ----------
    text
        What is wrong and what to do.
    missing
        Our names of the columns not found.
    suggestions
        The table of :func:`insights.history.headings.suggest_headings`.
    """

    def __init__(self, text: str, missing: Sequence[str], suggestions: pd.DataFrame) -> None:
        super().__init__(text)
        self.missing = tuple(missing)
        self.suggestions = suggestions


class SheetQuestion(FormatQuestion):
    """A workbook has several sheets that hold something.

    Parameters
    ----------
    text
        What is wrong and what to do.
    sheets
        The names to choose from.
    """

    def __init__(self, text: str, sheets: Sequence[str]) -> None:
        super().__init__(text)
        self.sheets = tuple(sheets)


class DateQuestion(FormatQuestion):
    """Columns hold dates that are not written year-month-day.

    Parameters
    ----------
    text
        What is wrong and what to do.
    examples
        A few values of each column, by heading.
    formats
        The formats, if any, that fit all values of all these columns, or nearly all.
    """

    def __init__(
        self, text: str, examples: Mapping[str, Sequence[str]], formats: Sequence[str]
    ) -> None:
        super().__init__(text)
        self.examples = {heading: tuple(values) for heading, values in examples.items()}
        self.formats = tuple(formats)
