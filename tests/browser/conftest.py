"""One browser and one server for all tests here."""

from __future__ import annotations

import pytest
from chromium import browsing, chromium_path, serving


@pytest.fixture(scope="session")
def browser():
    if chromium_path() is None:
        pytest.skip("no chromium here: install the distribution's package `chromium`")
    with browsing() as started:
        yield started


@pytest.fixture(scope="session")
def address(tmp_path_factory, browser):
    with serving(None, tmp_path_factory.mktemp("home")) as found:
        yield found


@pytest.fixture(scope="session")
def context(browser):
    # Shared, so that the page's own code is fetched once; each page is a visit of its own.
    opened = browser.new_context(viewport={"width": 1280, "height": 900})
    yield opened
    opened.close()


@pytest.fixture
def page(context):
    opened = context.new_page()
    yield opened
    opened.close()
