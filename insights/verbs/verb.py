"""What a verb of the program is."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

from insights.verbs.answer import Answer


@dataclass(frozen=True)
class Verb:
    """One analysis: its name, the question it answers, its options and its answer."""

    name: str
    answers: str
    options: Callable[[argparse.ArgumentParser], object]
    answer: Callable[[argparse.Namespace], Answer]
