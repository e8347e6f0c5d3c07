"""A report as one HTML file: no script, nothing loaded from elsewhere, fit to be printed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from html import escape
from typing import Literal

import pandas as pd

from insights.errors import RequestError
from insights.report.section import Chart, Section, Sheet
from insights.report.sources import SOURCES
from insights.wording import Finding

Paper = Literal["a4", "letter"]
PAPERS: dict[str, str] = {"a4": "A4", "letter": "letter"}
MOST_ROWS = 60
ROWS_KEPT_TOGETHER = 25
OFTEN = 4
"""From so many answers on, what to keep in mind stands once, before them all."""


@dataclass(frozen=True)
class Cover:
    """What stands at the head of a report.

    Parameters
    ----------
    workshop
        Its name; may be empty.
    period
        Which hand-backs it is about, in words.
    source
        Where the record came from.
    made
        When and by which version, in words.
    """

    workshop: str
    period: str
    source: str
    made: str


def page(cover: Cover, sections: Iterable[Section], cautions: Iterable[str], paper: Paper) -> str:
    """Put a report together.

    Parameters
    ----------
    cover
        Its head.
    sections
        The answers, in order.
    cautions
        What holds for the whole report, printed at the end of its first page.
    paper
        ``a4`` or ``letter``; either can be printed on the other.

    Returns
    -------
    str
        The file's text.

    Raises
    ------
    RequestError
        An unknown paper.
    """
    chosen = tuple(sections)
    shared = _said_often(chosen)
    contents = "\n".join(
        f'<li><a href="#{escape(part.mark)}">{escape(part.title)}</a></li>' for part in chosen
    )
    return PAGE.format(
        **_cover(cover, f"Comebacks: {cover.workshop or cover.source}", _style(paper)),
        contents=contents,
        cautions=_paragraphs(cautions),
        shared=_keep("Keep in mind with every answer", shared),
        sections="\n".join(_section(_without(part, shared)) for part in chosen),
        appendix=_appendix(chosen),
    )


def short_page(
    cover: Cover, sections: Iterable[Section], cautions: Iterable[str], paper: Paper
) -> str:
    """Put a summary together: no contents, no methods, what to keep in mind once, at its end.

    Parameters and errors are those of :func:`page`.
    """
    chosen = tuple(sections)
    caveats = dict.fromkeys(text for part in chosen for text in part.found.finding.caveats)
    return SHORT_PAGE.format(
        **_cover(
            cover, f"{cover.workshop or 'Comebacks'}: {cover.period}", _style(paper) + SHORT_STYLE
        ),
        cautions=_paragraphs(cautions),
        sections="\n".join(_section(_bare(part)) for part in chosen),
        caveats="".join(f"<li>{escape(text)}</li>" for text in caveats),
    )


def _style(paper: Paper) -> str:
    if paper not in PAPERS:
        raise RequestError(f"The paper is '{paper}'. Choose one of: {', '.join(PAPERS)}.")
    return STYLE.replace("PAPER", PAPERS[paper])


def _cover(cover: Cover, title: str, style: str) -> dict[str, str]:
    return {
        "head": HEAD.format(title=escape(title), style=style),
        "workshop": escape(cover.workshop or "Comebacks, practices and warranties"),
        "period": escape(cover.period),
        "made": escape(f"{cover.made} From {cover.source}."),
    }


def _paragraphs(texts: Iterable[str]) -> str:
    return "\n".join(f"<p>{escape(text)}</p>" for text in texts)


def _said_often(parts: Iterable[Section]) -> tuple[str, ...]:
    """List what many answers would have kept in mind: said once, it is read."""
    told = Counter(text for part in parts for text in dict.fromkeys(part.found.finding.caveats))
    return tuple(text for text, times in told.items() if times >= OFTEN)


def _without(part: Section, said: Iterable[str]) -> Section:
    kept = [text for text in part.found.finding.caveats if text not in said]
    finding = Finding(part.found.finding.sentence, tuple(kept))
    return replace(part, found=replace(part.found, finding=finding))


def _bare(part: Section) -> Section:
    """Leave out what to keep in mind: a summary says it once, for all its answers."""
    return _without(part, part.found.finding.caveats)


def _keep(heading: str, texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f'<div class="keep"><h3>{heading}</h3><ul>{items}</ul></div>' if items else ""


def _section(part: Section) -> str:
    inside = [
        f'<section id="{escape(part.mark)}">',
        f"<h2>{escape(part.title)}</h2>",
        f'<p class="answer">{escape(part.found.finding.sentence)}</p>',
        *(_chart(chart) for chart in part.found.charts),
        *(_sheet(sheet) for sheet in part.found.sheets),
    ]
    inside.append(_keep("Keep in mind", part.found.finding.caveats))
    return "\n".join([*inside, "</section>"])


def _chart(chart: Chart) -> str:
    return f'<figure role="img" aria-label="{escape(chart.says)}">{chart.svg}</figure>'


def _sheet(sheet: Sheet) -> str:
    shown = _without_empty(sheet.table.head(MOST_ROWS))
    if shown.empty:
        return ""
    kept = ' class="whole"' if len(shown) <= ROWS_KEPT_TOGETHER else ""
    head = "".join(f'<th scope="col">{escape(str(name))}</th>' for name in shown.columns)
    rows = "\n".join(
        "<tr>" + "".join(f"<td>{escape(_cell(value))}</td>" for value in row) + "</tr>"
        for row in shown.itertuples(index=False)
    )
    more = len(sheet.table) - len(shown)
    rest = f"<p>... and {more} more rows, on the screen and in the downloads.</p>" if more else ""
    return (
        f"<table{kept}><caption>{escape(sheet.heading)}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>{rest}"
    )


def _without_empty(table: pd.DataFrame) -> pd.DataFrame:
    """Leave out columns in which nothing stands."""
    filled = [name for name in table if (table[name].astype(str) != "").any()]
    return table[filled]


def _cell(value: object) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return "–"
    return str(value)


def _appendix(parts: tuple[Section, ...]) -> str:
    titles: dict[str, list[str]] = {}
    for part in parts:
        if part.found.method:
            titles.setdefault(part.found.method, []).append(part.title)
    methods = "\n".join(
        f"<dt>{escape('; '.join(asked))}</dt><dd>{escape(method)}</dd>"
        for method, asked in titles.items()
    )
    sources = "\n".join(
        f"<li><b>{escape(source.subject)}</b> {escape(source.reference)}</li>" for source in SOURCES
    )
    return f"<dl>{methods}</dl>\n<h3>Sources</h3>\n<ul>{sources}</ul>"


STYLE = """
@page { size: PAPER; margin: 18mm 16mm 20mm; }
body { font: 10.5pt/1.5 Georgia, 'Times New Roman', serif; color: #111; background: #fff;
  max-width: 46rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.9em; line-height: 1.2; margin: 0 0 .3em; }
h2 { font-size: 1.35em; margin: 2.2em 0 .4em; border-top: 2px solid #111; padding-top: .5em;
  break-after: avoid; }
h3 { font-size: 1.05em; margin: 1.2em 0 .3em; break-after: avoid; }
.answer { font-size: 1.12em; break-inside: avoid; break-after: avoid; }
figure { margin: 1em 0; break-inside: avoid; }
svg { width: 100%; height: auto; }
table { border-collapse: collapse; width: 100%; margin: 1em 0; font-size: .88em;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: bold; padding-bottom: .3em; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: .25em .7em .25em 0;
  border-bottom: 1px solid #bbb; overflow-wrap: break-word; }
table.whole { break-inside: avoid; }
.keep { font-size: .93em; break-inside: avoid; }
.keep ul, #methods ul { padding-left: 1.2em; }
.caution { border: 1px solid #444; padding: .2em .9em; margin-top: 1.6em; font-size: .93em; }
#methods { font-size: .9em; break-before: page; }
#methods dt { font-weight: bold; margin-top: .7em; }
#methods dd { margin: 0; }
nav ol { padding-left: 1.4em; }
a { color: inherit; }
@media print { body { margin: 0; max-width: none; padding: 0; } a { text-decoration: none; } }
"""

SHORT_STYLE = """
@page { margin: 13mm 14mm 14mm; }
body { font-size: 9.5pt; line-height: 1.4; }
h1 { font-size: 1.6em; } h2 { font-size: 1.15em; margin: 1.1em 0 .2em; padding-top: .3em;
  border-top-width: 1px; }
p { margin: .35em 0; } table { margin: .5em 0; } .answer { font-size: 1em; }
th, td { padding: .1em .6em .1em 0; } .keep { font-size: .82em; break-inside: auto; }
.keep ul { margin: .2em 0; } .caution { margin-top: .8em; font-size: .85em; }
"""

HEAD = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
"""

PAGE = """{head}<header>
<h1>{workshop}</h1>
<p>{period}</p>
<p>{made}</p>
</header>
<nav aria-label="Contents"><ol>
{contents}
<li><a href="#methods">Methods, assumptions and sources</a></li>
</ol></nav>
<div class="caution">
{cautions}
</div>
{shared}
<main>
{sections}
<section id="methods">
<h2>Methods, assumptions and sources</h2>
{appendix}
</section>
</main>
</body>
</html>
"""

SHORT_PAGE = """{head}<header>
<h1>{workshop}: {period}</h1>
<p>{made}</p>
</header>
<main>
{sections}
<section id="keep" class="keep"><h2>Keep in mind</h2><ul>{caveats}</ul></section>
</main>
<div class="caution">
{cautions}
</div>
</body>
</html>
"""
