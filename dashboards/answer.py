"""How a page lays out an answer: the sentence, the figure, the table behind it, the downloads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from html import escape

import pandas as pd
import plotly.graph_objects as go
import streamlit as st

from dashboards import narrow
from dashboards.markup import literal
from dashboards.theme import DARK, LIGHT, Palette
from insights import wording
from insights.errors import StaysfixedError
from insights.harmless import harmless_frame
from insights.meanings import MEANINGS
from insights.notes import Note

FEW_ROWS = 25
DAY = r"(?<![\w-])(\d{4})-(\d{2})-(\d{2})(?![\w-])"
STYLE = """
<style>
.answer {{border-left: .3rem solid {accent}; padding: .1rem 0 .1rem 1rem;
  margin: 0; max-width: 46rem; font-size: 1.3rem; line-height: 1.5; overflow-wrap: anywhere;}}
.aside {{border-left: .2rem solid {rule}; padding: 0 0 0 .8rem; margin: 0; max-width: 46rem;
  line-height: 1.5;}}
.keep {{max-width: 46rem; margin: 0; padding-left: 1.2rem; line-height: 1.5;}}
.keep li {{margin: 0 0 .25rem 0;}}
.foot {{border-top: 1px solid {rule}; margin: 1.5rem 0 0 0; padding-top: .8rem;
  max-width: 46rem; font-size: .9rem; line-height: 1.5;}}
dl.tally, dl.tally dd {{margin: 0 !important;}}
.tally {{display: grid; grid-template-columns: repeat(auto-fill, minmax(7.2rem, 1fr));
  gap: .8rem .9rem; padding: 0 !important; max-width: 64rem;}}
.tally div {{display: flex; flex-direction: column; justify-content: space-between;
  border-top: 2px solid {rule}; padding-top: .35rem;}}
.tally dt {{margin: 0; font-weight: 400; line-height: 1.3;}}
.tally dd {{font-size: 1.9rem; font-weight: 600; line-height: 1.25;
  font-variant-numeric: tabular-nums;}}
[data-testid="stMain"] [data-testid="stPageLink-NavLink"] p {{text-decoration: underline;}}
[data-testid="stSidebar"] h2 {{font-size: 1.15rem;}}
[data-testid^="stBaseButton-primary"]:not(:disabled) p {{color: {paper};}}
</style>
"""
TOOLBAR = {
    "displaylogo": False,
    "showSendToCloud": False,
    "modeBarButtons": [["toImage"]],
    "displayModeBar": True,
}


def palette() -> Palette:
    """Choose the colours of the theme in force."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def title(text: str, lead: str) -> None:
    """Head a page: its name, and the question it answers."""
    colours = palette()
    st.html(STYLE.format(accent=colours.lines[0], rule=colours.rule, paper=colours.background))
    st.html(narrow.STYLE)
    st.title(text, anchor=False)
    st.markdown(lead)


def say(finding: wording.Finding) -> None:
    """Say the answer in one sentence; its limits follow under :func:`keep_in_mind`."""
    st.html(f'<p class="answer">{escape(finding.sentence)}</p>')


def job_number(number: str, words: str) -> None:
    """Show a job's number to be read from a step away."""
    st.html(f'<p class="job-number">{escape(number)}<small>{escape(words)}</small></p>')


def saved(words: str) -> None:
    """Say that something was saved; nothing where nothing was."""
    if words:
        st.success(literal(words))


def aside(words: str) -> None:
    """Say something beside a field, which it does not fill."""
    st.html(f'<p class="aside">{escape(words)}</p>')


def keep_in_mind(finding: wording.Finding) -> None:
    """List the limits of an answer, the most important first."""
    if finding.caveats:
        st.header("Keep in mind", anchor=False)
        bullets(finding.caveats)


def remarks(notes: Iterable[Note]) -> None:
    """List what was remarked on the way; a remark on no job says nothing."""
    bullets(note.text for note in notes if note.jobs != 0)


def bullets(texts: Iterable[str]) -> None:
    """List sentences, each once."""
    items = "".join(f"<li>{escape(text)}</li>" for text in dict.fromkeys(texts))
    st.html(f'<ul class="keep">{items}</ul>')


def tally(counts: Mapping[str, str]) -> None:
    """Show a few counts side by side, each with its name."""
    pairs = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(count)}</dd></div>"
        for name, count in counts.items()
    )
    st.html(f'<dl class="tally">{pairs}</dl>')


def figure(drawn: go.Figure, *, key: str, alt: str) -> None:
    """Show a figure; its toolbar saves it as an SVG file.

    Parameters
    ----------
    drawn
        The figure.
    key
        Unique on the page; also the file's name.
    alt
        What it shows, for those who can't see it.
    """
    config = {**TOOLBAR, "toImageButtonOptions": {"format": "svg", "filename": key}}
    st.plotly_chart(drawn, key=key, theme=None, config=config, alt=alt)
    _meaning(key)


def table(
    rows: pd.DataFrame,
    *,
    key: str,
    alt: str,
    numbers: pd.DataFrame | None = None,
    before: Callable[[], None] | None = None,
    whole: bool = False,
) -> None:
    """Show a table, with a download of what is behind it.

    Parameters
    ----------
    rows
        For people.
    key
        Unique on the page; also the file's name.
    alt
        What it lists, for those who can't see it.
    numbers
        For the download: the tidy frame, in full precision; ``rows`` where not given.
    before
        As for :func:`download`.
    whole
        Whether all of its rows stand on the page: for sentences, which a long table's cells cut.
    """
    if whole or len(rows) <= FEW_ROWS:
        narrow.table(_days_whole(rows), key=key, alt=alt)
    else:
        with st.container(key=f"{narrow.ONLY_WIDE}{key}"):
            st.dataframe(rows, hide_index=True, key=key, alt=alt, height=420)
        with st.container(key=f"{narrow.ONLY_NARROW}{key}"):
            narrow.table(_days_whole(rows.head(FEW_ROWS)), key=key, alt=alt)
            st.markdown(f"The first {FEW_ROWS} of {len(rows):,}. The file holds all of them.")
    with st.container(horizontal=True):
        if numbers is None:
            download(rows, key=key, label="List as CSV", before=before)
        else:
            download(numbers, key=key, label="Numbers as CSV", before=before)
        _meaning(key)


def _meaning(key: str) -> None:
    """Help beside the numbers, where there is some."""
    meaning = MEANINGS.get(key)
    if meaning is None:
        return
    with st.popover("What this says", key=f"{key}-meaning"):
        st.markdown(
            f"**It says:** {meaning.says}\n\n**Careful:** {meaning.not_that}\n\n"
            f"**Worked out:** {meaning.worked_out}"
        )


def _days_whole(rows: pd.DataFrame) -> pd.DataFrame:
    """Keep each day on one line in a narrow cell, by hyphens that do not break."""
    unbroken = {
        name: rows[name].replace(DAY, "\\1\u2011\\2\u2011\\3", regex=True)
        for name in rows.select_dtypes(["object", "string"])
    }
    return rows.assign(**unbroken)


def download(
    frame: pd.DataFrame, *, key: str, label: str, before: Callable[[], None] | None = None
) -> None:
    """Offer a frame as a CSV file.

    Parameters
    ----------
    frame
        What the file holds.
    key
        Unique on the page; also the file's name.
    label
        On the button.
    before
        Done first when it is asked for; where that fails, nothing is handed out.
    """

    # Written only when asked for: a long table should not slow the page.
    def written() -> bytes:
        if before is not None:
            before()
        return harmless_frame(frame).to_csv(index=False).encode("utf-8")

    st.download_button(
        label,
        data=written,
        file_name=f"{key}.csv",
        mime="text/csv",
        key=f"{key}-csv",
        on_click="ignore",
    )


def method(text: str, tests: pd.DataFrame) -> None:
    """Name the statistics, for the reader who wants to check them."""
    with st.expander("How this is worked out"):
        st.markdown(text)
        if not tests.empty:
            st.table(tests, hide_index=True, border="horizontal", alt="Tests between the groups")


def refuse(error: StaysfixedError) -> None:
    """Say what can't be answered, and why."""
    st.error(literal(str(error)))


def footer() -> None:
    """Close a page with what is owed to life and law."""
    st.html(f'<p class="foot">{escape(wording.SAFETY)}<br>{escape(wording.STATUTORY)}</p>')
