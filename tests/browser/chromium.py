"""The dashboard on a real server in a real Chromium: the distribution's own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
WAIT_SECONDS = 60


def chromium_path() -> str | None:
    """Find the distribution's Chromium."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def browsing() -> Iterator[Browser]:
    """Start Chromium."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
        yield browser
        browser.close()


@contextmanager
def serving(source: Path | None, home: Path, *more: str) -> Iterator[str]:
    """Run the dashboard as its users do, with more words, and give its address."""
    port = free_port()
    words = [sys.executable, "-m", "dashboards", "--headless", "--port", str(port)]
    server = subprocess.Popen(
        [*words, *([str(source)] if source else []), *more],
        env={**os.environ, "STAYSFIXED_HOME": str(home)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=WAIT_SECONDS)


def settle(page: Page) -> None:
    """Wait until the script has run and the figures are drawn."""
    page.wait_for_selector('[data-test-script-state="notRunning"]', timeout=WAIT_SECONDS * 1000)
    page.wait_for_function(
        "() => [...document.querySelectorAll('[data-testid=stPlotlyChart]')]"
        ".every(chart => chart.querySelector('.main-svg'))",
        timeout=WAIT_SECONDS * 1000,
    )
    page.wait_for_timeout(300)


def visit(page: Page, address: str) -> None:
    """Open an address and wait for its page."""
    page.goto(address)
    # The foot is drawn last.
    page.wait_for_selector(".foot", timeout=WAIT_SECONDS * 1000)
    settle(page)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def _wait_for(address: str, server: subprocess.Popen) -> None:
    until = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < until:
        assert server.poll() is None, "the dashboard stopped before it answered"
        try:
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=1).close()
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            time.sleep(0.1)
        else:
            return
    raise AssertionError(f"no answer from {address} in {WAIT_SECONDS} s")
