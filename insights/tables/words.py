"""The table of words."""

from __future__ import annotations

import pandas as pd

from insights.glossary import TERMS


def of_terms(kind: str) -> pd.DataFrame:
    """List the words of one kind: ``trade`` or ``statistics``."""
    chosen = [term for term in TERMS if term.kind == kind]
    return pd.DataFrame(
        {
            "Word": [term.name for term in chosen],
            "Plainly": [term.plainly for term in chosen],
            "It says": [term.means for term in chosen],
            "It does not say": [term.not_that for term in chosen],
        }
    )
