"""Take the README's pictures: ``python tests/browser/shots.py``.

Pages of the invented workshop, in light and dark, wide and narrow, into ``dashboards/pictures/``.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from chromium import browsing, serving, visit

import dashboards

PICTURES = Path(dashboards.__file__).with_name("pictures")
PATHS = {
    "where-we-stand": "",
    "coming-back": "comebacks",
    "root-causes": "causes",
    "does-it-work": "practice",
    "warranties": "warranties",
    "the-record": "record",
}
TAKEN = (
    ("where-we-stand", "wide", "light"),
    ("coming-back", "wide", "light"),
    ("coming-back", "narrow", "light"),
    ("root-causes", "wide", "dark"),
    ("does-it-work", "wide", "light"),
    ("warranties", "wide", "light"),
    ("the-record", "wide", "light"),
)
WIDTHS = {"wide": 1280, "narrow": 390}
LEAST_HEIGHT = 800


def take(page, path: Path, width: int) -> None:
    """Take a picture of the whole page, however long it is."""
    whole = page.get_by_test_id("stMain").evaluate(
        "main => document.querySelector('.foot').getBoundingClientRect().bottom + main.scrollTop"
    )
    page.set_viewport_size({"width": width, "height": max(LEAST_HEIGHT, int(whole) + 40)})
    page.wait_for_timeout(1000)
    page.screenshot(path=path)


def main() -> None:
    """Take all of them."""
    PICTURES.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as home,
        serving(None, Path(home)) as address,
        browsing() as browser,
    ):
        for name, shape, scheme in TAKEN:
            width = WIDTHS[shape]
            context = browser.new_context(
                viewport={"width": width, "height": LEAST_HEIGHT}, color_scheme=scheme
            )
            page = context.new_page()
            visit(page, f"{address}/{PATHS[name]}")
            take(page, PICTURES / f"{name}-{shape}-{scheme}.png", width)
            context.close()


if __name__ == "__main__":
    main()
