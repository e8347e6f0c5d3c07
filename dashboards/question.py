"""What can be asked about a practice, and what was asked, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

USUAL_DAY = 180
USUAL_POPULATION = "not_yet"


@dataclass(frozen=True)
class Choices:
    """What a record offers to ask about.

    Parameters
    ----------
    levels
        For each practice done in at least two ways, its levels, the most common first.
    causes
        Root causes of counted comebacks.
    """

    levels: dict[str, tuple[str, ...]]
    causes: tuple[str, ...]

    @property
    def first(self) -> PracticeQuestion | None:
        """What is asked before the reader asks anything; None: no practice was done in two ways."""
        for practice, (level, against, *_) in self.levels.items():
            return PracticeQuestion(practice, level, against, USUAL_DAY, USUAL_POPULATION, None, ())
        return None


@dataclass(frozen=True)
class PracticeQuestion:
    """One question about a practice.

    Parameters
    ----------
    practice, level, against
        The practice and the two ways of working.
    day
        The day after hand-back.
    population
        Whose jobs.
    cause
        The root cause asked about; None: all comebacks.
    controls
        Root causes that the practice can't touch.
    """

    practice: str
    level: str
    against: str
    day: int
    population: str
    cause: str | None
    controls: tuple[str, ...]


@dataclass(frozen=True)
class TrialSize:
    """How large a trial is wanted.

    Parameters
    ----------
    difference
        The smallest share of comebacks avoided that would matter.
    looks
        How often to look, the end included.
    seed
        The word from which the cards are drawn.
    """

    difference: float
    looks: int
    seed: str
