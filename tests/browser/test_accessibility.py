"""Every page under the accessibility rules of axe-core, in light and dark, at three widths.

The rules are axe-core's own (Deque Systems, MPL 2.0, bundled with axe-playwright-python): WCAG 2
and common practice. Touch targets: 44 CSS pixels, WCAG 2.2 criterion 2.5.5.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from bench_shop import OWNER
from chromium import WAIT_SECONDS, serving, settle, visit
from whole_shop import Shop, whole_shop

from insights.bench.job_card import job_card_page
from insights.bench.summary import summary_page
from insights.command import main
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.users import add_user
from insights.money.statement import Statement, warranty_page
from insights.wording import STATUTORY
from insights.wording.summary import customer_summary

pytestmark = pytest.mark.browser

WIDTHS = (1280, 820, 390)
TARGET_PIXELS = 44
BENCH = ("take-in", "bench", "decide", "second", "same-unit", "lists", "add-file", "people")
RECORD = (
    *("", "comebacks", "causes", "practice", "review", "watch", "call-in", "warranties"),
    *("record", "first-steps", "words", "checked"),
)
STEPS = ("Done", "Parts", "Readings", "Leaves", "Arrived", "Changes")


@dataclass(frozen=True)
class Excused:
    """A finding that is Streamlit's own, which no page can mend.

    Parameters
    ----------
    rule
        Of axe-core.
    within
        Selector of the element that it is found in.
    reason
        Why it is not ours, and why it does no harm.
    """

    rule: str
    within: str
    reason: str


EXCUSED = (
    Excused(
        "color-contrast",
        '[data-testid="stSlider"]:has([data-disabled], :disabled)',
        "Streamlit pales the label of a field that is switched off, which WCAG 1.4.3 excepts.",
    ),
    Excused(
        "scrollable-region-focusable",
        '[data-testid="stTable"]',
        "st.table scrolls sideways where it must and can't be given a tabindex; Chromium (from "
        "130) and Firefox let the keyboard scroll it all the same.",
    ),
)
FIND = """
async excused => {
  const run = await axe.run(document, {resultTypes: ['violations']});
  const mine = (rule, target) => {
    const found = document.querySelector(target);
    return !excused.some(one => one.rule === rule && found && found.closest(one.within));
  };
  return run.violations.filter(one => ['serious', 'critical'].includes(one.impact)).flatMap(
    one => one.nodes.filter(node => mine(one.id, node.target.flat().join(' '))).map(
      node => `${one.id}: ${node.html.slice(0, 200)}`));
}
"""
UNFOLD = """
() => document.querySelectorAll('[data-testid="stMain"] details:not([open]) > summary').forEach(
  found => found.click())
"""
SMALL = """
least => [...document.querySelectorAll(
    '[data-testid="stMain"] :is(a, button, summary, [role="tab"], input, textarea,' +
    ' [data-testid="stRadioOption"])')].filter(found => {
  const box = found.getBoundingClientRect();
  const drawn = box.width > 1 && box.height > 1 && getComputedStyle(found).opacity !== '0';
  const part = ['radio', 'checkbox', 'file'].includes(found.type);  // its label is the target
  return drawn && !part && Math.min(box.width, box.height) < least;
}).map(found => found.outerHTML.slice(0, 120))
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Shop:
    return whole_shop(tmp_path_factory.mktemp("shop") / "book.db")


@pytest.fixture(scope="module")
def at(shop, browser, tmp_path_factory):
    with serving(Path(shop.book.name), tmp_path_factory.mktemp("home")) as found:
        yield found


@pytest.fixture
def blank(browser):
    context = browser.new_context()
    yield context.new_page()
    context.close()


@pytest.fixture(params=["light", "dark"])
def reader(request, browser, at):
    """A page of someone who has said their name."""
    context = browser.new_context(color_scheme=request.param)
    page = context.new_page()
    page.goto(f"{at}/take-in")
    page.get_by_label("Your name").fill("Ada")
    page.keyboard.press("Enter")
    page.get_by_label("Serial number").wait_for(timeout=WAIT_SECONDS * 1000)
    settle(page)
    yield page
    context.close()


def findings(page) -> list[str]:
    page.evaluate(AXE_SCRIPT)
    excused = [{"rule": one.rule, "within": one.within} for one in EXCUSED]
    return page.evaluate(FIND, excused)


def problems(page, name: str, *, at_bench: bool) -> list[str]:
    """What is wrong with a page as it stands, at each width and with everything unfolded."""
    found = []
    page.evaluate(UNFOLD)
    settle(page)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 1000})
        settle(page)
        main_part = page.get_by_test_id("stMain")
        if main_part.evaluate("part => part.scrollWidth > part.clientWidth"):
            found.append(f"{name}, {width}: wider than the screen")
        if at_bench:
            small = page.evaluate(SMALL, TARGET_PIXELS - 0.5)
            found += [f"{name}, {width}: small target {one}" for one in small]
        found += [f"{name}, {width}: {one}" for one in findings(page)]
    return found


@pytest.mark.slow
def test_pages_of_the_record(reader, at):
    found = []
    for path in RECORD:
        visit(reader, f"{at}/{path}")
        found += problems(reader, path, at_bench=False)
    assert found == []


@pytest.mark.slow
def test_pages_at_the_bench(reader, at, shop):
    found = []
    for path in BENCH:
        visit(reader, f"{at}/{path}")
        found += problems(reader, path, at_bench=True)
    visit(reader, f"{at}/take-in")
    reader.get_by_label("Serial number").fill(shop.serial)
    reader.keyboard.press("Enter")
    reader.get_by_text("This unit was here before").wait_for()
    found += problems(reader, "a known unit", at_bench=True)
    visit(reader, f"{at}/bench?job={shop.held_back}")
    found += problems(reader, "Found", at_bench=True)
    for step in STEPS:
        reader.get_by_role("radiogroup", name="Step").get_by_text(step, exact=True).click()
        settle(reader)
        found += problems(reader, step, at_bench=True)
    assert found == []


@pytest.mark.slow
def test_pages_that_offer_to_make_a_book(browser, address):
    context = browser.new_context()
    page = context.new_page()
    visit(page, f"{address}/take-in")
    assert problems(page, "no book yet", at_bench=True) == []
    context.close()


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_sign_in_page(browser, tmp_path, scheme):
    book = create_book(tmp_path / "book.db", Settings(), OWNER)
    add_user(book, "Ada", "owner", "three kettles on a shelf", by=OWNER)
    with serving(Path(book.name), tmp_path / "home", "--sign-in") as gated:
        context = browser.new_context(color_scheme=scheme, viewport={"width": 390, "height": 800})
        page = context.new_page()
        page.goto(gated)
        page.get_by_label("Your name").fill("Ada")
        page.get_by_label("Password").fill("wrong")
        page.keyboard.press("Enter")
        page.get_by_role("alert").wait_for()
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        context.close()


@pytest.mark.slow
def test_the_report_and_the_page_of_units_to_call_in(blank, shop, tmp_path):
    report, units = tmp_path / "report.html", tmp_path / "units.html"
    assert main(["report", shop.book.name, "--to", str(report)]) == 0
    assert main(["watch", shop.book.name, "--recall", "technician=Bo", "--print", str(units)]) == 0
    for printed in (report, units):
        blank.goto(printed.as_uri())
        assert findings(blank) == []


def test_what_the_counter_prints(blank, shop):
    job = shop.book.job(shop.held_back)
    settings = shop.book.settings()
    law = {"workshop": "Three Benches, 2 Mill Lane", "jurisdiction": "the law of our own country"}
    pages = (
        job_card_page(job, settings, ["Day 40 of 180"]),
        summary_page(customer_summary(job, settings, **law)),
        warranty_page(
            Statement(
                repaired="Contact grill, contacts renewed",
                starts_on="2026-03-09",
                term_days=180,
                caution=STATUTORY,
                **law,
            )
        ),
    )
    for page in pages:
        blank.set_content(page)
        assert findings(blank) == []
