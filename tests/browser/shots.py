"""Take the README's pictures: ``python tests/browser/shots.py``.

The invented workshop with its job book: pages in light and dark, on a screen, a tablet and a phone,
and the first sheet of the printed report, into ``dashboards/pictures/``.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chromium import browsing, serving, settle, visit
from PIL import Image
from playwright.sync_api import Page
from whole_shop import Shop, whole_shop

import dashboards
from insights.command import main as command

PICTURES = Path(dashboards.__file__).with_name("pictures")
JOBS = 12_000
WIDTHS = {"wide": 1280, "tablet": 820, "narrow": 390}
LEAST_HEIGHT, MOST_HEIGHT = 800, 1500
SHEET = (794, 1123)
"""An A4 sheet in CSS pixels."""
MOST_BYTES = 200_000


@dataclass(frozen=True)
class Shot:
    """One picture.

    Parameters
    ----------
    name, path
        What it is called, and the page's address.
    shape, scheme
        One of :data:`WIDTHS`; light or dark.
    before
        What is done on the page first.
    """

    name: str
    path: str
    shape: str = "wide"
    scheme: str = "light"
    before: Callable[[Page], None] = settle

    @property
    def file(self) -> Path:
        """Where it is kept."""
        return PICTURES / f"{self.name}-{self.shape}-{self.scheme}.png"


def shots(shop: Shop) -> tuple[Shot, ...]:
    """List the pictures of pages."""

    def known_unit(page: Page) -> None:
        page.get_by_label("Serial number").fill(shop.serial)
        page.keyboard.press("Enter")
        page.get_by_text("This unit was here before").wait_for()

    def readings(page: Page) -> None:
        page.get_by_role("radiogroup", name="Step").get_by_text("Readings").click()
        page.get_by_role("button", name="Save these readings").wait_for()

    def comeback(page: Page) -> None:
        page.get_by_text("The queue", exact=True).click()
        settle(page)
        chosen = page.get_by_label("Comeback", exact=True)
        chosen.click()
        chosen.press_sequentially(shop.comeback)
        page.get_by_role("option", name=shop.comeback, exact=True).click()
        page.get_by_role("heading", name=f"{shop.comeback}, judged against").wait_for()

    return (
        Shot("take-in", "take-in", "tablet", before=known_unit),
        Shot("readings", f"bench?job={shop.held_back}", "tablet", before=readings),
        Shot("comeback-to-decide", "decide", "tablet", before=comeback),
        Shot("first-steps", "first-steps"),
        Shot("where-we-stand", ""),
        Shot("coming-back", "comebacks"),
        Shot("coming-back", "comebacks", "narrow"),
        Shot("root-causes", "causes", scheme="dark"),
        Shot("does-it-work", "practice"),
        Shot("better-or-worse", "review"),
        Shot("trouble-early", "watch"),
        Shot("call-in", "call-in"),
        Shot("warranties", "warranties"),
        Shot("the-record", "record"),
        Shot("how-this-was-checked", "checked"),
        Shot("words", "words"),
        Shot("second-opinion", "second", "tablet"),
        Shot("same-unit", "same-unit", "tablet"),
        Shot("bench-lists", "lists", "tablet"),
        Shot("add-a-file", "add-file", "tablet"),
        Shot("who-may-do-what", "people", "tablet"),
    )


def take(page: Page, shot: Shot) -> None:
    """Take a picture of a page from its head, to its foot where that is not far."""
    shot.before(page)
    settle(page)
    whole = page.get_by_test_id("stMain").evaluate(
        "main => document.querySelector('.foot').getBoundingClientRect().bottom + main.scrollTop"
    )
    height = min(max(LEAST_HEIGHT, int(whole) + 40), MOST_HEIGHT)
    page.set_viewport_size({"width": WIDTHS[shot.shape], "height": height})
    page.wait_for_timeout(1000)
    # Out of the last field: a lit frame around it would be all one sees.
    page.evaluate("document.activeElement.blur()")
    keep(page.screenshot(), shot.file)


def keep(png: bytes, path: Path) -> None:
    """Keep a picture in 256 colours, which is a third of its size and looks the same."""
    # This way of choosing keeps a colour that few pixels have: a mark in a figure.
    whole = Image.open(io.BytesIO(png)).convert("RGB")
    few = whole.quantize(256, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(path, optimize=True)
    size = path.stat().st_size
    print(f"{path.name}: {few.width} x {few.height}, {size / 1000:.0f} kB")
    assert size < MOST_BYTES, path


def main() -> None:
    """Take all of them."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, browsing() as browser:
        shop = whole_shop(Path(folder) / "three benches.db", JOBS)
        report = Path(folder) / "report.html"
        assert command(["report", shop.book.name, "--to", str(report)]) == 0
        page = browser.new_page(viewport={"width": SHEET[0], "height": SHEET[1]})
        page.goto(report.as_uri())
        keep(page.screenshot(), PICTURES / "report-first-sheet.png")
        with serving(Path(shop.book.name), Path(folder)) as address:
            for shot in shots(shop):
                context = browser.new_context(
                    viewport={"width": WIDTHS[shot.shape], "height": LEAST_HEIGHT},
                    color_scheme=shot.scheme,
                )
                page = context.new_page()
                page.goto(f"{address}/take-in")
                page.get_by_label("Your name").fill("Ada")
                page.keyboard.press("Enter")
                page.get_by_label("Serial number").wait_for()
                settle(page)
                visit(page, f"{address}/{shot.path}")
                take(page, shot)
                context.close()


if __name__ == "__main__":
    main()
