"""Widgets that ask about a practice: which one, at what cost, with how large a trial."""

from __future__ import annotations

import streamlit as st

from dashboards.question import USUAL_DAY, USUAL_POPULATION, Choices, PracticeQuestion, TrialSize
from dashboards.selection import label_of
from insights.evidence.result import PracticeEvidence
from insights.money.costs import ComebackCost, Costs
from insights.wording import amount_of, in_currency

DAYS = (90, 180, 365)
ALL_CAUSES = "all comebacks"
POPULATION_WORDS = {
    "not_yet": "jobs not yet done so",
    "all": "all jobs",
    "done": "jobs done so",
    "comparable": "comparable jobs only",
}
MOST_PER_HUNDRED = 10.0


def question(choices: Choices) -> PracticeQuestion | None:
    """Draw the choice of practice, levels, day and causes.

    Returns
    -------
    PracticeQuestion or None
        None where no practice was done in two ways.
    """
    if not choices.levels:
        return None
    left, middle, right = st.columns(3)
    practice = left.selectbox(
        "Practice", list(choices.levels), format_func=_name, key="practice-name"
    )
    levels = choices.levels[practice]
    level = middle.selectbox("Done this way", levels, key=f"practice-level-{practice}")
    others = [other for other in levels if other != level]
    against = right.selectbox("Against", others, key=f"practice-against-{practice}-{level}")
    day = left.selectbox("Back by day", DAYS, index=DAYS.index(USUAL_DAY), key="practice-day")
    population = middle.selectbox(
        "For whom",
        list(POPULATION_WORDS),
        index=list(POPULATION_WORDS).index(USUAL_POPULATION),
        format_func=lambda name: POPULATION_WORDS[name],
        key="practice-population",
    )
    cause = right.selectbox(
        "Coming back for", ["", *choices.causes], format_func=_cause, key="practice-cause"
    )
    controls = st.multiselect(
        "Root causes it can't touch",
        [name for name in choices.causes if name != cause],
        key=f"practice-controls-{cause}",
        placeholder="none named yet",
        help="If these differ between the groups too, the groups were different units.",
    )
    return PracticeQuestion(
        practice, level, against, day, population, cause or None, tuple(controls)
    )


def costs(recorded: ComebackCost | None, currency: str) -> Costs | None:
    """Draw the sliders of what a practice costs; None where it is safety work.

    Parameters
    ----------
    recorded
        What a comeback costs by the record, to start from; None: not recorded.
    currency
        Of every amount; empty: not stated.
    """
    if st.checkbox("This is safety work", key="practice-safety"):
        return None
    left, right = st.columns(2)
    part = left.slider(
        in_currency("Part, each job", currency), 0.0, 30.0, 2.0, 0.1, key="practice-part"
    )
    minutes = right.slider("Minutes, each job", 0, 60, 2, key="practice-minutes")
    rate = left.slider(
        in_currency("An hour at the bench", currency), 0, 150, 40, key="practice-rate"
    )
    extra = right.slider(
        in_currency("The customer pays more", currency), 0.0, 30.0, 0.0, 0.1, key="practice-extra"
    )
    known = recorded is not None and st.checkbox(
        f"A comeback costs {amount_of(recorded.mean, currency, 2)} on average "
        f"({recorded.comebacks} bills on record, {recorded.se:.2f} either way)",
        value=True,
        key="practice-recorded",
    )
    comeback = (
        recorded
        if known and recorded is not None
        else ComebackCost(
            float(
                st.slider(
                    in_currency("A comeback costs, all in", currency),
                    0,
                    300,
                    50,
                    key="practice-comeback",
                )
            )
        )
    )
    return Costs(part, float(minutes), float(rate), comeback, extra)


def part_causes(choices: Choices) -> tuple[str, ...]:
    """Draw the choice of the root causes that are the part's own."""
    return tuple(
        st.multiselect(
            "Root causes that are this part's failure",
            choices.causes,
            default=choices.causes[:1],
            key="practice-wear-causes",
        )
    )


def trial(evidence: PracticeEvidence) -> TrialSize | None:
    """Draw the size of a trial; None where the record shows no comebacks to avoid."""
    most = 100 * evidence.adjusted.risk_against
    if not most > 0.1:
        st.markdown("Without the practice hardly any job comes back: there is nothing to find.")
        return None
    usual = min(max(100 * abs(evidence.adjusted.difference), 0.1), most)
    left, middle, right = st.columns(3)
    difference = left.slider(
        "Fewer comebacks of 100 that would matter",
        0.1,
        round(min(most, MOST_PER_HUNDRED), 1),
        round(min(usual, MOST_PER_HUNDRED), 1),
        0.1,
        key="trial-difference",
    )
    looks = middle.slider("Looks, the end included", 1, 5, 3, key="trial-looks-wanted")
    seed = right.text_input("A word to draw the cards from", "bench", key="trial-seed")
    return TrialSize(min(difference / 100, evidence.adjusted.risk_against), looks, seed)


def wants_ratios() -> bool:
    """Draw the switch that fits the hazard ratios."""
    return st.toggle("Work them out", key="practice-hazards")


def wants_others() -> bool:
    """Draw the switch that starts the exploration, which takes some seconds."""
    return st.toggle("Look at them", key="practice-explore")


def _name(practice: str) -> str:
    return label_of(f"practice_{practice}").removeprefix("Practice: ").capitalize()


def _cause(name: str) -> str:
    return name or ALL_CAUSES
