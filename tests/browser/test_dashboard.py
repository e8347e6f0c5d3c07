"""The dashboard in a real browser: what no test without one can see."""

from __future__ import annotations

import re
import socket
from urllib.parse import parse_qs, urlsplit

import pytest
from chromium import settle, visit

from dashboards.theme import DARK, LIGHT

pytestmark = pytest.mark.browser

PATHS = {
    "Where we stand": "",
    "Coming back": "comebacks",
    "Root causes": "causes",
    "Does it work?": "practice",
    "Better or worse": "review",
    "Trouble early": "watch",
    "Call in": "call-in",
    "Warranties": "warranties",
    "The record": "record",
    "How this was checked": "checked",
}
WIDEST = ("Better or worse",)
"""With the most tables and figures."""


def answer(page) -> str:
    return page.locator(".answer").first.inner_text()


def query(page) -> dict[str, list[str]]:
    return parse_qs(urlsplit(page.url).query)


def turn_to(page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, level=1).wait_for()
    settle(page)


def choose(page, words: str) -> None:
    """Choose a rule and wait for the address to carry it."""
    before = page.url
    page.get_by_text(words, exact=True).click()
    page.wait_for_function("before => location.href !== before", arg=before)
    settle(page)


@pytest.mark.parametrize(
    "paths",
    [
        pytest.param({name: PATHS[name] for name in WIDEST}, id="the widest"),
        pytest.param(PATHS, id="every page", marks=pytest.mark.slow),
    ],
)
def test_no_page_raises_overflows_or_asks_another_machine(page, address, paths):
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("websocket", lambda opened: asked.append(opened.url))
    for name, path in paths.items():
        page.set_viewport_size({"width": 1280, "height": 900})
        visit(page, f"{address}/{path}")
        assert page.get_by_role("heading", name=name, level=1).is_visible()
        assert page.get_by_test_id("stException").count() == 0
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 900})
            # A figure is drawn anew a moment after the window has changed.
            page.wait_for_function(
                "() => {const main = document.querySelector('[data-testid=stMain]');"
                " return main.scrollWidth <= main.clientWidth}"
            )
    hosts = {urlsplit(url).hostname for url in asked if not url.startswith(("data:", "blob:"))}
    assert hosts == {"127.0.0.1"}


def test_only_this_machine_is_answered(address):
    port = urlsplit(address).port
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # Names the address that others would reach this machine at; nothing is sent.
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            pytest.skip("this machine has no other address to try")
        own = probe.getsockname()[0]
    if own.startswith("127."):
        pytest.skip("this machine has no other address to try")
    with socket.socket() as other:
        other.settimeout(3)
        assert other.connect_ex((own, port)) != 0


@pytest.mark.slow
def test_curves_step_and_never_slope(page, address):
    visit(page, f"{address}/comebacks")
    paths = page.locator(".scatterlayer path.js-line").evaluate_all(
        "lines => lines.map(line => line.getAttribute('d'))"
    )
    curves = [path for path in paths if path]
    assert len(curves) >= 2
    for path in curves:
        assert re.fullmatch(r"M[-\d.,]+(?:[HV][-\d.]+)+", path), path


@pytest.mark.slow
def test_the_choice_survives_pages_and_the_back_button(page, address):
    visit(page, f"{address}/?technician=Ada")
    chosen = answer(page)
    choose(page, "every return")
    assert query(page) == {"technician": ["Ada"], "count": ["all"]}
    turn_to(page, "Root causes")
    assert query(page) == {"technician": ["Ada"], "count": ["all"]}
    assert "Ada" in page.get_by_test_id("stSidebar").inner_text()
    turn_to(page, "The record")
    turn_to(page, "Where we stand")
    assert query(page) == {"technician": ["Ada"], "count": ["all"]}
    assert answer(page) != chosen
    for path in ("/record", "/causes", "/"):
        page.go_back()
        page.wait_for_function("path => location.pathname === path", arg=path)
        settle(page)
        assert query(page) == {"technician": ["Ada"], "count": ["all"]}
    page.go_back()
    page.wait_for_function("() => !location.search.includes('count')")
    page.wait_for_function(
        "chosen => document.querySelector('.answer').innerText === chosen", arg=chosen
    )
    assert query(page) == {"technician": ["Ada"]}


def test_an_address_opens_the_same_answer_in_another_visit(page, address, context):
    visit(page, f"{address}/comebacks")
    page.get_by_text("as long as we have a record", exact=True).click()
    page.wait_for_function("() => location.search.includes('follow=all')")
    settle(page)
    other = context.new_page()
    visit(other, page.url)
    assert answer(other) == answer(page)
    other.close()


@pytest.mark.parametrize(
    ("scheme", "palette"),
    [pytest.param("light", LIGHT, marks=pytest.mark.slow), ("dark", DARK)],
)
def test_light_and_dark_follow_the_readers_system(browser, address, scheme, palette):
    context = browser.new_context(color_scheme=scheme)
    page = context.new_page()
    visit(page, address)
    red, green, blue = (int(palette.background[i : i + 2], 16) for i in (1, 3, 5))
    ground = page.get_by_test_id("stApp").evaluate("app => getComputedStyle(app).backgroundColor")
    assert ground == f"rgb({red}, {green}, {blue})"
    line = page.locator(".scatterlayer path.js-line").last
    colour = line.evaluate("line => getComputedStyle(line).stroke")
    red, green, blue = (int(palette.lines[0][i : i + 2], 16) for i in (1, 3, 5))
    assert colour == f"rgb({red}, {green}, {blue})"
    context.close()


def test_it_can_be_used_with_the_keyboard_alone(page, address):
    visit(page, address)
    link = page.get_by_role("link", name="Coming back", exact=True)
    for _ in range(12):
        page.keyboard.press("Tab")
        if link.evaluate("link => link === document.activeElement"):
            break
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Coming back", level=1).wait_for()
    settle(page)
    page.get_by_role("radio", name="real faults").focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_function("() => location.search.includes('count=all')")


def test_figures_are_named_for_those_who_cannot_see_them(page, address):
    visit(page, f"{address}/causes")
    names = page.get_by_test_id("stPlotlyChart").evaluate_all(
        "charts => charts.map(chart => (chart.closest('[aria-label]') || "
        "chart.querySelector('[aria-label]') || chart).getAttribute('aria-label'))"
    )
    assert len(names) == 2
    assert all(name and len(name) > 20 for name in names)


@pytest.mark.slow
def test_numbers_and_figure_can_be_taken_away(page, address):
    visit(page, f"{address}/comebacks")
    with page.expect_download() as numbers:
        page.get_by_role("button", name="Numbers as CSV").click()
    text = numbers.value.path().read_text("utf-8")
    assert text.startswith("group,day,at_risk,returns,share,low,high")
    page.locator(".js-plotly-plot").first.hover()
    with page.expect_download() as figure:
        page.locator(".modebar-btn").first.click()
    assert figure.value.suggested_filename == "coming-back.svg"
    drawn = figure.value.path().read_text("utf-8")
    assert drawn.startswith("<svg")
    assert "days since hand-back" in drawn


def test_a_sheet_can_be_brought_along(page, address, tmp_path):
    sheet = tmp_path / "mine.csv"
    rows = [f"A{n},2025-01-{n % 28 + 1:02d},2025-02-01,kettle,K{n}" for n in range(60)]
    sheet.write_text("job_id,received,handed_back,model,unit_serial\n" + "\n".join(rows))
    visit(page, f"{address}/record")
    page.locator("input[type=file]").set_input_files(sheet)
    page.get_by_text("Open record: mine.csv").wait_for()
    settle(page)
    assert "60 hand-backs of 60 units" in answer(page)
    turn_to(page, "Coming back")
    assert "60 jobs" in answer(page)
