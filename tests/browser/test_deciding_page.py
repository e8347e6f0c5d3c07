"""Comebacks and doubtful pairs in a real browser: double clicks, a reload, narrow screens."""

from __future__ import annotations

import pytest
from chromium import serving, settle

from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person

pytestmark = [pytest.mark.browser, pytest.mark.slow]

BO = Person("Bo")
VISITS = (
    {
        "unit_serial": "WB-4471",
        "received": "2026-01-02",
        "handed_back": "2026-01-05",
        "root_cause": "contact",
        "term_days": "180",
    },
    {"unit_serial": "WB-4471", "received": "2026-02-18", "notified": "2026-02-15"},
    {
        "unit_serial": "GR-447100",
        "received": "2026-03-01",
        "handed_back": "2026-03-02",
        "customer": "Cafe Nine",
        "unit_age_years": "3",
    },
    {
        "unit_serial": "GR-441700",
        "received": "2026-04-01",
        "customer": "Cafe Ten",
        "unit_age_years": "3",
    },
)
PAGES = {
    "Comebacks to decide": "decide",
    "A second opinion": "second",
    "Same unit?": "same-unit",
    "Bench lists": "lists",
}


@pytest.fixture(scope="module")
def shop(tmp_path_factory, browser):
    folder = tmp_path_factory.mktemp("claims")
    book = create_book(folder / "book.db", Settings(workshop="Three Benches"), Person("Ada"))
    for visit in VISITS:
        book.receive({"model": "boiler", **visit}, by=BO)
    with serving(folder / "book.db", folder / "home") as address:
        yield book, address


@pytest.fixture
def page(browser, shop):
    """A visit of Ada's."""
    context = browser.new_context(viewport={"width": 1100, "height": 1100})
    opened = context.new_page()
    opened.goto(f"{shop[1]}/decide")
    opened.get_by_label("Your name").fill("Ada")
    opened.keyboard.press("Enter")
    opened.locator(".answer").first.wait_for()
    settle(opened)
    yield opened
    context.close()


def turn(page, shop, path: str) -> None:
    page.goto(f"{shop[1]}/{path}")
    page.locator(".foot").wait_for()
    settle(page)


def choose(page, question: str, answer: str) -> None:
    page.get_by_role("radiogroup", name=question).get_by_text(answer, exact=True).click()
    page.wait_for_timeout(150)
    settle(page)


def test_evidence_survives_a_reload_and_each_step_is_stored_once(page, shop):
    book, _ = shop
    choose(page, "Seal and photographs show the unit", "as we left it")
    choose(page, "Did a part or lot that we fitted fail?", "yes")
    page.reload()
    page.get_by_text("What you had entered and not saved is here again.").wait_for()
    settle(page)
    choose(page, "Does the fault sit where we worked?", "unknown")
    page.get_by_role("button", name="Save the evidence").dblclick()
    page.get_by_text("Saved: the evidence.").wait_for(state="attached")
    settle(page)
    choose(page, "Relation to the earlier job", "workmanship")
    page.get_by_role("button", name="Save cause and relation").dblclick()
    page.get_by_text("Proposed: covered.").wait_for()
    settle(page)
    choose(page, "Decided", "covered")
    page.get_by_role("button", name="Save the decision").dblclick()
    page.get_by_text("No comeback waits for a decision.").wait_for()
    assert [version.what for version in book.versions_of("J000002")] == [
        "received",
        "evidence",
        "relation",
        "decision",
    ]


def test_a_double_click_decides_one_pair_once(page, shop):
    book, _ = shop
    turn(page, shop, PAGES["Same unit?"])
    choose(page, "Are these two jobs the same unit?", "two different units")
    page.get_by_role("button", name="Save the decision").dblclick()
    page.get_by_text("No pair of jobs is in doubt.").wait_for()
    (record,) = book.all_of("same_unit").values()
    assert (record.number, record.body["same"]) == (1, False)


def test_nothing_overflows(page, shop):
    for name, path in PAGES.items():
        page.set_viewport_size({"width": 1100, "height": 1100})
        turn(page, shop, path)
        assert page.get_by_role("heading", name=name, level=1).is_visible()
        assert page.get_by_test_id("stException").count() == 0
        for width in (1100, 390):
            page.set_viewport_size({"width": width, "height": 1100})
            main = page.get_by_test_id("stMain")
            assert main.evaluate("found => found.scrollWidth <= found.clientWidth")
