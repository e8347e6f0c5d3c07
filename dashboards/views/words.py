"""Words: what the trade's words and those of statistics mean here, and what they don't."""

from __future__ import annotations

import streamlit as st

from dashboards import answer
from insights.tables import of_terms


def show() -> None:
    """Draw the page."""
    answer.title("Words", "What the words in the answers mean, and what they don't.")
    st.header("Of the trade", anchor=False)
    answer.table(
        of_terms("trade"),
        key="words-trade",
        alt="Words of the trade and their meaning",
        whole=True,
    )
    st.header("Of statistics", anchor=False)
    answer.table(
        of_terms("statistics"),
        key="words-statistics",
        alt="Words of statistics, each in everyday words, and what it does not say",
        whole=True,
    )
