"""Writers to a book that can be killed: each notes what it tries and what was acknowledged."""

from __future__ import annotations

import multiprocessing
import os
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.context import ForkServerContext
from multiprocessing.process import BaseProcess
from pathlib import Path
from unittest.mock import patch

from insights.errors import BookError
from insights.history.book.book import Book
from insights.history.book.entries import new_token
from insights.history.book.opening import open_book
from insights.history.book.people import Person

TRIED, STORED = "tried", "stored"


def write_until_killed(place: str, log: str, name: str) -> None:
    """Record jobs, one after the other; what was in hand when it was killed is sent once more."""
    person = Person(name, "bench")
    book = None
    while book is None:
        book = _opened(place)
    with Path(log).open("a+", encoding="utf-8", buffering=1) as notes:
        notes.seek(0)
        tried, stored = _told(notes.read())
        waiting = [line for line in tried if line not in stored]
        number = len(tried)
        while True:
            if waiting:
                token, said = waiting.pop()
            else:
                token, said = new_token(), f"{name}-{number}"
                number += 1
                notes.write(f"{TRIED} {token} {said}\n")
            while not _store(book, token, said, person):
                time.sleep(0.05)  # the server is down: the same save is sent again
            notes.write(f"{STORED} {token} {said}\n")


def _opened(place: str) -> Book | None:
    try:
        return open_book(place)
    except BookError:
        time.sleep(0.05)
        return None


def _store(book: Book, token: str, said: str, person: Person) -> bool:
    arrival = {"received": "2026-03-02", "model": "boiler", "notes": said}
    try:
        job = book.receive(arrival, by=person, token=token)
        if job.number == 1:
            book.save(
                job.job_id,
                {"root_cause": "contact"},
                expected=1,
                by=person,
                what="findings",
                token=f"{token}-2",
            )
    except BookError:
        return False
    return True


def _told(text: str) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Read a log: what was tried and what was acknowledged; a torn last line was neither."""
    whole = text[: text.rfind("\n") + 1].splitlines()
    lines = [line.split(" ") for line in whole]
    return (
        [(token, said) for kind, token, said in lines if kind == TRIED],
        [(token, said) for kind, token, said in lines if kind == STORED],
    )


@dataclass
class Killed:
    """Writers to one book, killed and started again.

    Parameters
    ----------
    place
        The book.
    folder
        Where they keep their notes.
    names
        Who writes.
    """

    place: str
    folder: Path
    names: tuple[str, ...] = ("Ada", "Bo", "Cy")
    running: list[BaseProcess] = field(default_factory=list)

    def start(self) -> None:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload([__name__, "insights.history.units"])
        # Children repeat the main module, which a test of a page may have replaced by the page.
        with patch.dict(sys.modules, {"__main__": sys.modules[__name__]}):
            self._start_each(context)

    def _start_each(self, context: ForkServerContext) -> None:
        for name in self.names:
            words = (self.place, str(self.folder / f"{name}.log"), name)
            process = context.Process(target=write_until_killed, args=words, daemon=True)
            process.start()
            self.running.append(process)

    def kill(self) -> None:
        for process in self.running:
            process.kill()
        for process in self.running:
            process.join()
        self.running.clear()

    def rounds(
        self, kills: int, seconds: float, disturb: Callable[[], None] | None = None
    ) -> list[tuple[str, str]]:
        """Let them write and kill them at random moments; gives what was acknowledged."""
        chance = random.Random(os.urandom(8))
        for _ in range(kills):
            before = len(self.acknowledged())
            self.start()
            deadline = time.monotonic() + 60
            while len(self.acknowledged()) < before + len(self.names):
                assert time.monotonic() < deadline, "the writers store nothing"
                time.sleep(0.02)
            time.sleep(chance.uniform(0, seconds))
            if disturb is not None:
                disturb()
            self.kill()
        return self.acknowledged()

    def acknowledged(self) -> list[tuple[str, str]]:
        logs = [self.folder / f"{name}.log" for name in self.names]
        return [line for log in logs if log.is_file() for line in _told(log.read_text("utf-8"))[1]]
