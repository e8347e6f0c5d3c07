"""The gate on a real server, asked by a real browser and by hand-made requests."""

from __future__ import annotations

import http.client
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from chromium import serving, settle

from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.book.users import add_user

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ADA = Person("Ada")
GOOD = "three kettles on a shelf"
WAIT = 60_000


@pytest.fixture(scope="module")
def book(tmp_path_factory) -> str:
    made = create_book(tmp_path_factory.mktemp("book") / "book.db", Settings(), ADA)
    add_user(made, "Ada", "owner", GOOD, by=ADA)
    add_user(made, "Eve", "reader", GOOD, by=ADA)
    for day in (1, 2, 3):
        card = {"received": f"2024-03-0{day}", "handed_back": f"2024-03-0{day}", "model": "grill"}
        made.receive({**card, "unit_serial": f"G-{day}", "term_days": 90}, by=ADA)
    return made.name


@pytest.fixture(scope="module")
def gated(book, browser, tmp_path_factory):
    with serving(Path(book), tmp_path_factory.mktemp("home"), "--sign-in") as found:
        yield found


@pytest.fixture
def visit(browser):
    opened = browser.new_context(viewport={"width": 1280, "height": 900})
    yield opened
    opened.close()


def sign_in(page, gated: str, name: str) -> None:
    page.goto(gated)
    assert page.url == f"{gated}/sign-in"
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Password").fill(GOOD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_selector(".foot", timeout=WAIT)
    settle(page)


def ask(gated: str, method: str, path: str, **headers: str) -> int:
    """Send a request of which every header is ours to choose."""
    server = urlsplit(gated)
    line = http.client.HTTPConnection(server.hostname, server.port, timeout=20)
    line.putrequest(method, path, skip_host=True)
    for name, value in {"Host": server.netloc, **headers}.items():
        line.putheader(name.replace("_", "-"), value)
    line.endheaders()
    status = line.getresponse().status
    line.close()
    return status


def upgrade(gated: str, **headers: str) -> int:
    asked = {
        "Upgrade": "websocket",
        "Connection": "Upgrade",
        "Sec_WebSocket_Version": "13",
        "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ==",  # RFC 6455's own example
        "Origin": gated,
        **headers,
    }
    return ask(gated, "GET", "/_stcore/stream", **asked)


def test_sign_in_work_and_sign_out(gated, visit):
    page = visit.new_page()
    outside = []
    page.on("request", lambda sent: outside.append(sent.url))
    sign_in(page, gated, "Eve")
    assert page.get_by_text("Signed in: Eve, reads only").is_visible()
    (cookie,) = [one for one in visit.cookies() if one["name"] == "staysfixed_session"]
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    stolen = f"staysfixed_session={cookie['value']}"
    assert cookie["value"] not in page.evaluate("document.cookie")
    assert upgrade(gated, Cookie=stolen) == 101
    other = visit.new_page()
    other.goto(f"{gated}/comebacks")
    other.wait_for_selector(".foot", timeout=WAIT)
    settle(other)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{gated}/sign-in")
    # The other window's line is closed with its next message, and the cookie is worth nothing.
    before = other.locator("h1").first.inner_text()
    other.get_by_role("link", name="Root causes").click()
    other.wait_for_timeout(1500)
    assert other.locator("h1").first.inner_text() == before
    assert ask(gated, "GET", "/", Cookie=stolen) == 401
    assert upgrade(gated, Cookie=stolen) == 403
    assert all(url.startswith(gated) for url in outside)


def test_other_names_and_other_sites_are_refused(gated, visit):
    page = visit.new_page()
    sign_in(page, gated, "Ada")
    (cookie,) = [one for one in visit.cookies() if one["name"] == "staysfixed_session"]
    given = {"Cookie": f"staysfixed_session={cookie['value']}"}
    assert ask(gated, "GET", "/", **given) == 200
    assert ask(gated, "GET", "/", Host="evil.example", **given) == 403
    assert ask(gated, "POST", "/sign-out", Origin="http://evil.example", **given) == 403
    assert ask(gated, "GET", "/_stcore/metrics", **given) == 404
    assert upgrade(gated, **{**given, "Origin": "http://evil.example"}) == 403
    assert upgrade(gated, Host="evil.example", **{**given, "Origin": "http://evil.example"}) == 403
    assert upgrade(gated) == 403
    assert upgrade(gated, **given) == 101


def test_a_reader_s_clicks_store_nothing(gated, book, visit):
    page = visit.new_page()
    sign_in(page, gated, "Eve")
    page.get_by_role("link", name="Take in").click()
    page.get_by_text("Your role may read the book, not write in it.").wait_for(timeout=WAIT)
    page.get_by_label("Model").first.press_sequentially("grill")
    page.keyboard.press("Tab")
    settle(page)
    saving = page.locator(".st-key-save-bar button").first
    assert saving.is_disabled()
    # What the browser forbids is only paint: let the button be pressed all the same.
    saving.evaluate("button => { button.disabled = false; button.click(); }")
    page.wait_for_timeout(1500)
    with closing(sqlite3.connect(book)) as raw:
        assert raw.execute("SELECT count(*) FROM versions").fetchone() == (3,)
        assert raw.execute("SELECT count(*) FROM drafts").fetchone() == (0,)
