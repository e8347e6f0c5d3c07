"""How the program was checked, read once like all of :mod:`dashboards.data`."""

from __future__ import annotations

import streamlit as st

from insights.checked import Checked, read_checked


@st.cache_resource(show_spinner=False)
def checked() -> Checked:
    """Read what the tests found when they were last run."""
    return read_checked()
