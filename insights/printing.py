"""A printable page: HTML of its own, no script, nothing loaded from elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

import pandas as pd


def day_words(day: pd.Timestamp) -> str:
    """Write a day as on paper, such as 9 March 2026."""
    return f"{day.day} {day:%B %Y}"


def fact_rows(facts: Mapping[str, str]) -> str:
    """Print facts as rows of a table, name beside text; empty ones are left out."""
    rows = "\n".join(
        f"<tr><th scope='row'>{escape(name)}</th><td>{escape(text)}</td></tr>"
        for name, text in facts.items()
        if text
    )
    return f"<table>\n{rows}\n</table>" if rows else ""


def bullets(heading: str, lines: Iterable[str]) -> str:
    """Print lines as a list under a heading; nothing without lines."""
    items = "\n".join(f"<li>{escape(line)}</li>" for line in lines if line)
    return f"<h2>{escape(heading)}</h2>\n<ul>\n{items}\n</ul>" if items else ""


def paragraph(text: str) -> str:
    """Print a paragraph; nothing without text."""
    return f"<p>{escape(text)}</p>" if text else ""


def boxed(*texts: str) -> str:
    """Print cautions in a box."""
    return '<div class="caution">\n' + "\n".join(paragraph(text) for text in texts) + "\n</div>"


def page(title: str, parts: Iterable[str]) -> str:
    """Print a page from parts that are HTML already (made by the functions above)."""
    body = "\n".join(part for part in parts if part)
    return PAGE.format(title=escape(title), body=body)


PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
body {{ font: 11pt/1.5 Georgia, serif; color: #111; max-width: 42em; margin: 2em auto;
  padding: 0 1em; }}
h1 {{ font-size: 1.6em; margin: 0 0 .2em; }}
h2 {{ font-size: 1.1em; margin: 1.4em 0 .3em; }}
table {{ border-collapse: collapse; width: 100%; margin: 1em 0; }}
th, td {{ text-align: left; vertical-align: top; padding: .35em .6em .35em 0;
  border-bottom: 1px solid #bbb; overflow-wrap: anywhere; }}
th {{ width: 14em; font-weight: normal; color: #444; }}
.caution {{ border: 1px solid #444; padding: .6em .9em; margin-top: 1.6em; }}
@media print {{ body {{ margin: 0; max-width: none; }} @page {{ margin: 20mm; }} }}
</style>
</head>
<body>
<h1>{title}</h1>
{body}
</body>
</html>
"""
