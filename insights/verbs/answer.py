"""What a verb has to say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from insights.wording import Finding


@dataclass(frozen=True)
class Answer:
    """What a verb has to say.

    Parameters
    ----------
    data
        The JSON object.
    finding
        The sentence and its caveats.
    tables
        Tables for people, each with its heading.
    """

    data: dict[str, Any]
    finding: Finding
    tables: tuple[tuple[str, pd.DataFrame], ...] = ()
