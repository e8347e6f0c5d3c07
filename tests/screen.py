"""What stands on a page of the dashboard, for tests without a browser."""

from __future__ import annotations

import html
import json
import re

from streamlit.testing.v1 import AppTest


def turn_to(app: AppTest, page: str) -> AppTest:
    """Choose a page by its title: pages are functions, which AppTest can't switch to by file."""
    app._page_hash = _links(app)[page].page_script_hash
    return app.run()


def carried(app: AppTest, page: str) -> str:
    """The address's query that the link to a page carries along."""
    return str(_links(app)[page].query_string)


def _links(app: AppTest) -> dict:
    return {link.proto.label: link.proto for link in app.get("page_link")}


def answers(app: AppTest) -> list[str]:
    """The sentences that answer, in order."""
    texts = [element.proto.body for element in app.get("html")]
    found = [re.findall(r'<p class="answer">(.*?)</p>', text) for text in texts]
    return [html.unescape(sentence) for sentences in found for sentence in sentences]


def page_text(app: AppTest) -> str:
    """All that is written on a page, one piece a line."""
    pieces = [element.proto.body for element in app.get("html")]
    for kind in (app.markdown, app.error, app.warning, app.header, app.title):
        pieces += [element.value for element in kind]
    # A style's text is not read by anyone.
    return html.unescape(re.sub("<style>.*?</style>", "", "\n".join(pieces), flags=re.DOTALL))


def charts(app: AppTest) -> dict[str, dict]:
    """Each figure's specification by its file name, with ``alt`` and ``config``."""
    found = {}
    for element in app.get("plotly_chart"):
        config = json.loads(element.proto.config)
        name = config["toImageButtonOptions"]["filename"]
        spec = json.loads(element.proto.spec)
        found[name] = {**spec, "alt": element.proto.alt, "config": config}
    return found
