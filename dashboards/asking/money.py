"""Widgets that ask about a warranty: what a claim costs, what it does, how many jobs."""

from __future__ import annotations

import streamlit as st

from insights.money.assumptions import Assumptions
from insights.money.renewal import Kind
from insights.wording import in_currency

KIND_WORDS: dict[Kind, str] = {
    "non_renewing": "does not lengthen the warranty",
    "minimal_repair": "leaves the unit as old as it was",
    "renewing": "starts the warranty again",
    "pro_rata": "is a refund that shrinks day by day",
}


def assumptions(currency: str) -> Assumptions:
    """Draw the assumptions of a quote; amounts are in the currency, where one is stated."""
    left, right = st.columns(2)
    recorded = left.checkbox("A claim costs what the record says", value=True, key="money-recorded")
    claim_cost = (
        None
        if recorded
        else float(
            left.slider(in_currency("A claim costs", currency), 1, 300, 50, key="money-claim-cost")
        )
    )
    kind = right.selectbox(
        "A repair under warranty",
        list(KIND_WORDS),
        format_func=lambda name: KIND_WORDS[name],
        key="money-kind",
    )
    price = float(
        right.slider(in_currency("Price of a job", currency), 10, 500, 90, key="money-price")
    )
    batch = left.slider("Range for the next so many jobs", 50, 2000, 1000, 50, key="money-batch")
    admin = right.slider(
        in_currency("Paperwork, each job", currency), 0.0, 10.0, 0.0, 0.1, key="money-admin"
    )
    chance = left.slider(
        f"How often the charge may fall short over {Assumptions().pool_jobs} jobs, %",
        1,
        50,
        10,
        key="money-short-pool",
    )
    return Assumptions(
        claim_cost=claim_cost,
        batch=int(batch),
        kind=kind,
        price=price,
        admin_cost=float(admin),
        short_pool_chance=chance / 100,
    )
