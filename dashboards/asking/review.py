"""Widgets that ask what to look back on: which groups, by when, and what owners answered."""

from __future__ import annotations

import streamlit as st

from insights.reviewing.call_back import ANSWERS, SAMPLE
from insights.reviewing.rates import Review
from insights.wording.review import headline_day, name_of


def groups_and_day(review: Review) -> tuple[str, int]:
    """Draw the choice of what to review by, and of the day.

    Parameters
    ----------
    review
        What is offered.
    """
    left, right = st.columns([3, 2])
    by = left.selectbox("Review by", review.by, format_func=_capital_name, key="review-by")
    day = right.selectbox(
        "Comebacks within",
        review.days,
        index=review.days.index(headline_day(review)),
        format_func=lambda days: f"{days} days",
        key="review-day",
    )
    return by, day


def calls() -> tuple[int, int]:
    """Draw how many owners to call, and which draw."""
    left, right = st.columns(2)
    with left:
        size = how_many_calls()
    seed = right.number_input(
        "Draw number",
        min_value=1,
        value=1,
        key="review-draw",
        help="The same number gives the same owners again.",
    )
    return size, int(seed)


def how_many_calls() -> int:
    """Draw how many owners to call."""
    return int(st.slider("Owners to call", 10, 200, SAMPLE, 10, key="review-calls"))


def answers() -> bytes | None:
    """Draw where the answered list is given; None until it is."""
    given = st.file_uploader(
        "The list, answered (CSV)",
        type="csv",
        key="review-answers",
        help="; ".join(f"{word}: {meaning}" for word, meaning in ANSWERS.items()),
    )
    return None if given is None else given.getvalue()


def _capital_name(by: str) -> str:
    name = name_of(by)
    return name[:1].upper() + name[1:]
