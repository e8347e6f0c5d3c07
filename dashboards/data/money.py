"""What the page about warranties shows, kept between clicks like all of :mod:`dashboards.data`."""

from __future__ import annotations

import streamlit as st

from dashboards.data import Source, followup
from dashboards.selection import Selection
from insights.money.assumptions import USUAL_TERMS, Assumptions
from insights.money.backtest import Backtest, backtest
from insights.money.claims import Claims, claims_curve
from insights.money.quote import Quote, quote_warranty
from insights.money.reserve import Reserve, reserve


def quote(source: Source, selection: Selection, assumptions: Assumptions) -> Quote:
    """Quote every usual term; only the claims behind it are kept, prices are worked out anew."""
    claims = _claims(source, source.revision, selection)
    return quote_warranty(claims, USUAL_TERMS, assumptions=assumptions)


def held(source: Source, selection: Selection, claim_cost: float | None) -> Reserve:
    """Work out the money to hold."""
    return _held(source, source.revision, selection, claim_cost)


def score(source: Source, selection: Selection) -> Backtest:
    """Score earlier quotes and reserves."""
    return _score(source, source.revision, selection)


def warm(source: Source) -> None:
    """Answer what the page asks at first."""
    _claims(source, source.revision, Selection())
    held(source, Selection(), None)
    score(source, Selection())


@st.cache_resource(max_entries=8, show_spinner=False)
def _claims(_source: Source, revision: str, selection: Selection) -> Claims:
    return claims_curve(followup(_source, selection))


@st.cache_resource(max_entries=16, show_spinner=False)
def _held(
    _source: Source, revision: str, selection: Selection, claim_cost: float | None
) -> Reserve:
    return reserve(followup(_source, selection), claim_cost=claim_cost)


@st.cache_resource(max_entries=4, show_spinner=False)
def _score(_source: Source, revision: str, selection: Selection) -> Backtest:
    return backtest(followup(_source, selection))
