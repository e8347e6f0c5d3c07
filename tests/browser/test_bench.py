"""The bench in a real browser: the keyboard alone, double clicks, reloads, two at one job."""

from __future__ import annotations

from datetime import date

import pytest
from bench_shop import OWNER, bench_book
from chromium import serving, settle

from insights.history.book.opening import open_book

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def shop(tmp_path_factory, browser):
    """A book, and the dashboard open on it."""
    folder = tmp_path_factory.mktemp("bench")
    bench_book(folder / "book.db")
    with serving(folder / "book.db", folder / "home") as address:
        yield open_book(folder / "book.db"), address


@pytest.fixture
def at_bench(browser, shop):
    """Open a page at the bench as a person, each in a browser of their own."""
    opened = []

    def visit(path: str, person: str, width: int = 820):
        context = browser.new_context(viewport={"width": width, "height": 1180})
        opened.append(context)
        page = context.new_page()
        page.goto(f"{shop[1]}/{path}")
        page.get_by_label("Your name").fill(person)
        page.keyboard.press("Enter")
        page.locator(".st-key-save-bar, .st-key-bench-find").first.wait_for()
        ready(page)
        return page

    yield visit
    for context in opened:
        context.close()


def ready(page) -> None:
    """Wait for the script and for what it draws."""
    page.wait_for_timeout(150)
    settle(page)


def focused(page) -> str:
    return page.evaluate(
        "() => { const here = document.activeElement;"
        "const group = here.closest('[role=radiogroup]');"
        "return (group || here).getAttribute('aria-label') || here.innerText || here.tagName }"
    )


def step_to(page, label: str) -> None:
    """Go on with Tab until a field has the focus."""
    for _ in range(40):
        if focused(page) == label:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never comes to {label}, but stands on {focused(page)}")


def type_in(page, label: str, text: str) -> None:
    step_to(page, label)
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    ready(page)


def choose(page, label: str, downs: int) -> None:
    step_to(page, label)
    for _ in range(downs):
        page.keyboard.press("ArrowDown")
    ready(page)


def press(page, label: str) -> None:
    step_to(page, label)
    page.keyboard.press("Enter")
    ready(page)


def saved(page, words: str) -> None:
    page.get_by_text(words).first.wait_for()
    ready(page)


def test_a_job_from_the_counter_to_the_hand_back_with_the_keyboard_alone(at_bench, shop):
    book, _ = shop
    page = at_bench("take-in", "Ada")
    type_in(page, "Serial number", "CG4471")
    page.get_by_text("This unit was here before, once. It is inside its term.").wait_for()
    assert focused(page) == "Model"  # Enter moved on
    type_in(page, "Model", "contact grill")
    type_in(page, "Customer", "Cafe Nine")
    press(page, "Take it in")
    page.locator(".job-number").wait_for()
    job_id = book.jobs_on_bench()[-1].job_id
    assert job_id in page.locator(".job-number").inner_text()
    page.wait_for_function(
        "() => document.activeElement.getAttribute('aria-label') === 'Serial number'"
    )
    step_to(page, "Open it on the bench")
    page.keyboard.press("Enter")
    page.get_by_text("Root cause: what failed").wait_for()
    ready(page)
    type_in(page, "Root cause: what failed", "contact")
    type_in(page, "Upstream cause: what made it fail", "arcing switch")
    choose(page, "Was that put right?", 1)
    press(page, "Save what was found")
    saved(page, "Saved: findings.")

    def go(downs: int, first: str) -> None:
        page.wait_for_function("() => document.activeElement.closest('[role=radiogroup]')")
        choose(page, "Step", downs)
        page.get_by_text(first).first.wait_for()
        ready(page)

    go(1, "Contact pair")
    choose(page, "Contact pair", 1)
    choose(page, "Scale", 2)
    press(page, "Save what was done")
    saved(page, "Saved: practices.")
    go(1, "Its lot 1")
    type_in(page, "Part 1", "contact")
    type_in(page, "Its lot 1", "C018")
    type_in(page, "Minutes on the bench", "35")
    type_in(page, "Cost of the parts EUR", "4,50")
    press(page, "Save parts and minutes")
    saved(page, "Saved: parts.")
    go(1, "Insulation, MΩ")
    assert "can't be handed back" in page.locator(".answer").first.inner_text()
    type_in(page, "Measured with", "blue")
    type_in(page, "Insulation, MΩ", "0,2")
    type_in(page, "Plate, °C", "203")
    press(page, "Save these readings")
    saved(page, "Insulation 0.2 MΩ: out")
    go(1, "Our warranty, in days")
    type_in(page, "Price EUR", "60")
    type_in(page, "Our warranty, in days (0: none)", "180")
    press(page, "It leaves")
    page.get_by_text("can't be handed back for use: insulation out").first.wait_for()
    assert "handed_back" not in book.job(job_id).values
    ready(page)
    page.get_by_role("radiogroup", name="Step").get_by_role("radio", name="Leaves").focus()
    page.keyboard.press("ArrowUp")
    page.get_by_text("Insulation, MΩ").wait_for()
    ready(page)
    type_in(page, "Insulation, MΩ", "25")
    press(page, "Save these readings")
    saved(page, "Nothing measured holds this unit back.")
    go(1, "Our warranty, in days")
    assert page.get_by_label("Price EUR").input_value() == "60"  # the draft
    press(page, "It leaves")
    saved(page, "Saved: handed back.")
    values = book.job(job_id).values
    wanted = {
        "root_cause": "contact",
        "upstream_cause": "arcing switch",
        "cause_removed": "yes",
        "practice_contact_pair": "both",
        "practice_scale": "left",
        "lot_contact": "C018",
        "bench_minutes": 35,
        "parts_cost": 4.5,
        "reading_insulation_mohm": 25,
        "reading_plate_c": 203,
        "price": 60,
        "term_days": 180,
    }
    assert {name: values[name] for name in wanted} == wanted
    assert f"{values['handed_back']:%Y-%m-%d}" == date.today().isoformat()
    readings = book.job(job_id).bench["readings"]
    assert [reading["value"] for reading in readings] == [0.2, 203, 25]
    assert {reading["instrument"] for reading in readings} == {"blue meter"}
    with page.expect_download() as summary:
        page.get_by_role("button", name="Summary to print").click()
    text = summary.value.path().read_text("utf-8")
    assert "180 days" in text
    assert "statutory" in text


@pytest.mark.parametrize("apart_ms", [0, 60, 150, 300])
def test_a_double_click_stores_once_and_a_reload_keeps_what_was_typed(at_bench, shop, apart_ms):
    book, _ = shop
    page = at_bench("take-in", f"Cleo{apart_ms}")
    before = len(book.jobs_on_bench())
    serial = f"WB-{apart_ms}"
    page.get_by_label("Serial number").fill(serial)
    page.get_by_label("Model").fill("water boiler")
    page.keyboard.press("Enter")
    ready(page)
    page.reload()
    page.get_by_label("Serial number").wait_for()
    ready(page)
    assert page.get_by_label("Serial number").input_value() == serial
    assert page.get_by_label("Model").input_value() == "water boiler"
    page.get_by_text("here again").wait_for()
    button = page.get_by_role("button", name="Take it in")
    box = button.bounding_box()
    for _ in range(2):
        page.mouse.click(box["x"] + 40, box["y"] + box["height"] / 2)
        page.wait_for_timeout(apart_ms)
    page.locator(".job-number").wait_for()
    ready(page)
    assert len(book.jobs_on_bench()) == before + 1
    assert page.get_by_label("Serial number").input_value() == ""
    page.reload()
    page.get_by_label("Serial number").wait_for()
    ready(page)
    assert page.get_by_label("Serial number").input_value() == ""


def test_two_people_at_one_job_are_told_and_lose_nothing(at_bench, shop):
    book, _ = shop
    job = book.receive({"received": date.today(), "model": "contact grill"}, by=OWNER)
    pages = {name: at_bench(f"bench?job={job.job_id}", name) for name in ("Ada", "Bo")}
    for name, cause in (("Ada", "cord"), ("Bo", "thermostat")):
        page = pages[name]
        page.get_by_label("Root cause: what failed").fill(cause)
        page.keyboard.press("Enter")
        ready(page)
        page.get_by_label("Notes from the bench").fill(f"{name} looked")
        page.keyboard.press("Tab")
        ready(page)
    pages["Ada"].get_by_role("button", name="Save what was found").click()
    saved(pages["Ada"], "Saved: findings.")
    pages["Bo"].get_by_role("button", name="Save what was found").click()
    pages["Bo"].get_by_text("someone else saved this meanwhile").wait_for()
    ready(pages["Bo"])
    text = pages["Bo"].get_by_test_id("stMain").inner_text()
    assert "you entered 'thermostat', meanwhile 'cord' was saved" in text
    assert "Ada, findings" in text
    assert pages["Bo"].get_by_label("Notes from the bench").input_value() == "Bo looked"
    assert book.job(job.job_id).values["root_cause"] == "cord"
    pages["Bo"].get_by_role("button", name="Theirs stands").first.click()
    ready(pages["Bo"])
    pages["Bo"].get_by_role("button", name="Mine stands").click()
    ready(pages["Bo"])
    pages["Bo"].get_by_role("button", name="Save what was found").click()
    saved(pages["Bo"], "Saved: findings.")
    values = book.job(job.job_id).values
    assert (values["root_cause"], values["notes"]) == ("cord", "Bo looked")


@pytest.mark.parametrize("width", [390, 820])
def test_targets_are_large_and_nothing_overflows(at_bench, shop, width):
    book, _ = shop
    job = book.receive({"received": date.today(), "model": "contact grill"}, by=OWNER)
    page = at_bench("take-in", "Ada", width)
    check_layout(page)
    page.goto(f"{shop[1]}/bench?job={job.job_id}")
    page.locator(".st-key-save-bar").wait_for()
    for step in ("Found", "Done", "Parts", "Readings", "Leaves", "Changes"):
        steps = page.get_by_role("radiogroup", name="Step")
        steps.get_by_text(step, exact=True).click()
        ready(page)
        check_layout(page)


def check_layout(page) -> None:
    main = page.get_by_test_id("stMain")
    assert main.evaluate("found => found.scrollWidth <= found.clientWidth")
    small = page.evaluate(
        """() => [...document.querySelectorAll(`[data-testid=stMain] :is(
            [data-testid=stTextInputRootElement], [data-testid=stSelectbox] [role=group], textarea,
            [data-testid=stRadioOption], summary, [data-testid^=stBaseButton],
            [data-testid=stPageLink-NavLink])`)]
          .map(found => [found.innerText, found.getBoundingClientRect()])
          .filter(([_, box]) => box.width && Math.min(box.width, box.height) < 44)
          .map(([text, box]) => `${text}: ${box.width} x ${box.height}`)"""
    )
    assert small == []
