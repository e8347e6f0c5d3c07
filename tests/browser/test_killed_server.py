"""Three people take units in at once while the server is killed again and again."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from contextlib import suppress
from pathlib import Path

import pytest
from bench_shop import bench_book
from chromium import browsing, free_port, settle
from playwright.sync_api import Error, Page

from insights.history.book.condition import condition
from insights.history.book.opening import open_book

pytestmark = pytest.mark.browser

PEOPLE = ("Ada", "Bo", "Cy")
PATIENCE_SECONDS = 60


class Server:
    """The dashboard on a book, started again under the same address after it was killed."""

    def __init__(self, book: Path) -> None:
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.starts = 0
        self._words = ["--headless", "--port", str(self.port), str(book)]

    def start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "dashboards", *self._words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + 60
        while not self._answers():
            assert time.monotonic() < deadline, "the server does not start"
            time.sleep(0.2)
        self.starts += 1

    def kill(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()

    def _answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=2):
                return True
        except (urllib.error.URLError, OSError):
            return False


class Taker(threading.Thread):
    """One person at one browser, who sends an entry again while the form still shows it."""

    def __init__(self, name: str, server: Server) -> None:
        super().__init__(name=name)
        self.server = server
        self.begun, self.end = threading.Event(), threading.Event()
        self.sent: list[str] = []
        self.acknowledged: dict[str, str] = {}
        self.failed: BaseException | None = None

    def run(self) -> None:
        try:
            with browsing() as browser:
                page = browser.new_context().new_page()
                page.set_default_timeout(PATIENCE_SECONDS * 1000)
                self._open(page)
                self.begun.set()
                while not self.end.is_set():
                    serial = f"{self.name}-{len(self.sent):04d}"
                    self.sent.append(serial)
                    self._take_in(page, serial)
        except BaseException as error:  # noqa: BLE001 - told to the test, which raises it
            self.failed = error

    def _open(self, page: Page) -> None:
        until = time.monotonic() + 3 * PATIENCE_SECONDS
        while time.monotonic() < until:
            with suppress(Error):
                page.goto(f"{self.server.address}/take-in")
                name = page.get_by_label("Your name")
                serial = page.get_by_label("Serial number")
                name.or_(serial).first.wait_for()
                settle(page)
                if name.is_visible() and not name.input_value():
                    name.fill(self.name)
                    name.press("Enter")
                serial.wait_for()
                settle(page)
                return
            time.sleep(0.3)
        raise TimeoutError("the page does not open")

    def _take_in(self, page: Page, serial: str) -> None:
        again = False
        while not (again and self.end.is_set()):
            starts = self.server.starts
            try:
                before = self._number(page)
                field = page.get_by_label("Serial number")
                if again and field.input_value() != serial:
                    return  # it was stored and not told, or was lost unsent: either is looked at
                if not again:
                    field.fill(serial)
                    field.press("Enter")
                    settle(page)
                    page.get_by_label("Model").fill("contact grill")
                    page.get_by_label("Model").press("Enter")
                    settle(page)
                page.get_by_role("button", name="Take it in").click()
                told = self._told(page, before, starts)
                settle(page)
            except Error:
                told = None  # the server went while the page was waited for
            if told is not None:
                self.acknowledged[serial] = told
                return
            self._open(page)
            again = True

    def _told(self, page: Page, before: str, starts: int) -> str | None:
        """Wait for the job's number; None where the server was killed meanwhile."""
        until = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < until:
            number = self._number(page)
            if number not in ("", before):
                return number
            if self.server.starts != starts:
                return None
            time.sleep(0.1)
        return None

    def _number(self, page: Page) -> str:
        told = page.locator(".job-number")
        return told.first.inner_text() if told.count() else ""


@pytest.mark.parametrize(
    ("seconds", "kills"),
    [
        pytest.param(45, 2, marks=pytest.mark.slow),
        pytest.param(300, 10, marks=pytest.mark.study),
    ],
)
def test_every_acknowledged_arrival_is_there_once(tmp_path, seconds, kills):
    bench_book(tmp_path / "book.db").engine.dispose()
    server = Server(tmp_path / "book.db")
    server.start()
    chance = random.Random()
    people = [Taker(name, server) for name in PEOPLE]
    for person in people:
        person.start()
    for person in people:
        assert person.begun.wait(3 * PATIENCE_SECONDS)
    began = time.monotonic()
    for number in range(kills):
        moment = began + (number + chance.uniform(0.5, 1)) * seconds / (kills + 1)
        time.sleep(max(0.0, moment - time.monotonic()))
        server.kill()
        server.start()
    time.sleep(max(0.0, began + seconds - time.monotonic()))
    for person in people:
        person.end.set()
    for person in people:
        person.join()
    server.kill()
    for person in people:
        if person.failed is not None:
            raise person.failed
    book = open_book(tmp_path / "book.db")
    condition(book)
    jobs = book.history().jobs.set_index("job_id")["unit_serial"]
    stored = Counter(jobs)
    told = {serial: job for person in people for serial, job in person.acknowledged.items()}
    sent = sum(len(person.sent) for person in people)
    print(f"{kills} kills, {sent} sent, {len(told)} acknowledged, {len(jobs) - 1} stored")
    for serial, number in told.items():
        assert stored[serial] == 1
        assert any(job_id in number for job_id in jobs.index[jobs == serial])
    assert max(stored.values()) == 1
    assert all(person.acknowledged for person in people)
