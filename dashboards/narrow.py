"""Tables on a narrow screen: a row becomes a few lines, each value under its own heading."""

from __future__ import annotations

import re

import pandas as pd
import streamlit as st

ONLY_WIDE, ONLY_NARROW, LINES = "only-wide-", "only-narrow-", "lines-"
"""How the keys of containers begin that are shown on one kind of screen, or change on it."""

MOST_COLUMNS = 4
MOST_SIGNS = 120
"""What a telephone shows side by side: so many columns, so many characters in the longest cells."""

NARROW = "@media (max-width: 40rem)"
NO_ROOM = "@container (max-width: 36rem)"
"""A telephone's screen; a place that is no wider, as on a tablet beside the menu."""

STYLE = f"""
<style>
@media (min-width: 40.01rem) {{ [class*="st-key-{ONLY_NARROW}"] {{display: none;}} }}
{NARROW} {{
  [class*="st-key-{ONLY_WIDE}"] {{display: none;}}
}}
[class*="st-key-{LINES}"] {{container-type: inline-size;}}
{NO_ROOM} {{
  [class*="st-key-{LINES}"] :is(table, tbody) {{display: block; width: 100%;}}
  [class*="st-key-{LINES}"] thead {{position: absolute; width: 1px; height: 1px;
    overflow: hidden; clip-path: inset(50%);}}
  [class*="st-key-{LINES}"] tr {{display: flex; flex-wrap: wrap; gap: .3rem 1.1rem;
    padding: .6rem 0; border-bottom: 1px solid rgba(128, 128, 128, .5);}}
  [class*="st-key-{LINES}"] td {{display: block; padding: 0 !important; border: 0;
    max-width: 100%; overflow-wrap: anywhere;}}
  [class*="st-key-{LINES}"] td:not(:has(p)) {{display: none;}}
  [class*="st-key-{LINES}"] td::before {{display: block; font-size: .8rem; line-height: 1.3;}}
}}
</style>
"""


def table(rows: pd.DataFrame, *, key: str, alt: str) -> None:
    """Show a short table; one too wide for a telephone stands there in lines.

    Parameters
    ----------
    rows
        Text for people.
    key
        Unique on the page.
    alt
        What it lists, for those who can't see it.
    """
    if not is_wide(rows):
        st.table(rows, hide_index=True, border="horizontal", alt=alt)
        return
    with st.container(key=f"{LINES}{key}"):
        st.html(_headings(rows, key))
        st.table(rows, hide_index=True, border="horizontal", alt=alt)


def is_wide(rows: pd.DataFrame) -> bool:
    """Whether a table would have to be moved sideways on a telephone."""
    longest = (max([len(str(name)), *rows[name].astype(str).str.len()]) for name in rows)
    return len(rows.columns) > MOST_COLUMNS or sum(longest) > MOST_SIGNS


def _headings(rows: pd.DataFrame, key: str) -> str:
    """Write each column's heading over its cells, which the head of a table no longer does."""
    place_of = re.sub(r"[^\w-]", "-", f"{LINES}{key}", flags=re.ASCII)  # as Streamlit names it
    rules = "".join(
        f".st-key-{place_of} td:nth-child({place})::before {{content: '{_quoted(str(name))}';}}"
        for place, name in enumerate(rows, start=1)
        if str(name)
    )
    return f"<style>{NO_ROOM} {{{rules}}}</style>"


def _quoted(text: str) -> str:
    """Write a text so that nothing in it ends the quotes or the style."""
    return "".join(
        sign if sign.isascii() and (sign.isalnum() or sign == " ") else f"\\{ord(sign):x} "
        for sign in text
    )
