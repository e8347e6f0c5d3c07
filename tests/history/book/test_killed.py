"""What was acknowledged is there, once, whatever was killed, full or closed meanwhile."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import text
from writers import Killed

from insights.errors import BookError
from insights.history.book.backup import backup
from insights.history.book.book import Book
from insights.history.book.condition import condition
from insights.history.book.engines import reading
from insights.history.book.entries import Settings
from insights.history.book.exporting import export_book
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person

resource = pytest.importorskip("resource", reason="limits on a file's size are POSIX")
ADA = Person("Ada")
ARRIVAL = {"received": "2026-03-02", "model": "boiler", "complaint": "no heat " * 400}
NOBODY = 65534


def check_after(place: str, acknowledged: list[tuple[str, str]]) -> None:
    """All that was acknowledged is there once with both its saves; the book is whole."""
    book = open_book(place)
    found = condition(book)
    with reading(book.engine, book.name) as connection:
        tokens = set(connection.execute(text("SELECT token FROM versions")).scalars())
        loose = text("SELECT job_id FROM versions WHERE job_id NOT IN (SELECT job_id FROM heads)")
        assert connection.execute(loose).all() == []
    jobs = book.history().jobs
    said = Counter(jobs["notes"])
    missing = [name for token, name in acknowledged if token not in tokens or name not in said]
    assert missing == []
    assert max(said.values()) == 1
    assert {f"{token}-2" for token, _ in acknowledged} <= tokens
    assert jobs["job_id"].is_unique
    assert found.jobs == len(jobs)
    book.receive({"received": "2026-03-02", "model": "boiler"}, by=ADA)
    book.engine.dispose()


def test_what_was_acknowledged_outlives_its_writers(book, tmp_path):
    place = address_of(book)
    acknowledged = Killed(place, tmp_path).rounds(kills=2, seconds=0.3)
    check_after(place, acknowledged)


@pytest.mark.slow
def test_three_writers_killed_ten_times(book, tmp_path):
    place = address_of(book)
    acknowledged = Killed(place, tmp_path).rounds(kills=10, seconds=12)
    print(f"{len(acknowledged)} jobs acknowledged, two saves each")
    assert len(acknowledged) > 300
    check_after(place, acknowledged)


def address_of(book: Book) -> str:
    return book.engine.url.render_as_string(hide_password=False)


@pytest.mark.parametrize("each", [8, pytest.param(30, marks=pytest.mark.slow)])
def test_eight_at_once_store_everything(book, each):
    """Eight benches that receive and save as fast as they can: all is stored and numbered once."""
    failed: list[Exception] = []

    def work(name: str) -> None:
        try:
            for number in range(each):
                job = book.receive({"received": "2026-03-02", "model": name}, by=Person(name))
                book.save(
                    job.job_id, {"price": f"{number}"}, expected=1, by=Person(name), what="price"
                )
        except BookError as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(f"bench {number}",)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    jobs = book.history().jobs
    assert sorted(jobs["job_id"]) == [f"J{number:06d}" for number in range(1, 8 * each + 1)]
    assert jobs["model"].value_counts().tolist() == [each] * 8
    assert condition(book).saves == 16 * each


@contextmanager
def small_files(limit: int) -> Iterator[None]:
    """Let no file of this process grow past a size, as on a disk that is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()} - {"home"}


def test_a_full_disk_is_told_and_nothing_is_half_written(tmp_path):
    place = tmp_path / "book.db"
    book = create_book(place, Settings(), ADA)
    kept = book.receive(ARRIVAL, by=ADA)
    stored = 1
    told = None
    with small_files(200_000):
        while told is None:
            try:
                book.receive(ARRIVAL, by=ADA)
                stored += 1
            except BookError as error:
                told = str(error)
    assert "Nothing was stored" in told
    assert "Make room" in told or "free space" in told
    book.engine.dispose()
    again = open_book(place)
    assert condition(again).jobs == condition(again).saves == stored
    assert again.job(kept.job_id) == kept
    again.receive(ARRIVAL, by=ADA)


def test_nothing_half_made_is_left_on_a_full_disk(tmp_path):
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    for _ in range(30):
        book.receive(ARRIVAL, by=ADA)
    before = files(tmp_path)
    for write in (
        lambda: create_book(tmp_path / "new.db", Settings(), ADA),
        lambda: backup(book, tmp_path / "kept.backup"),
        lambda: export_book(book, tmp_path / "tables"),
    ):
        with small_files(20_000), pytest.raises(BookError, match=r"full|written"):
            write()
        assert files(tmp_path) == before


@contextmanager
def as_nobody() -> Iterator[None]:
    """Root may write everywhere, so be someone else for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everyone may enter: pytest's own are closed to others."""
    folder = Path(tempfile.gettempdir()) / f"staysfixed-closed-{os.getpid()}"
    folder.mkdir(mode=0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_closed_folder_is_told(open_folder):
    place = open_folder / "book.db"
    book = create_book(place, Settings(), ADA)
    job = book.receive(ARRIVAL, by=ADA)
    backup(book, open_folder / "kept.backup")
    book.engine.dispose()
    for path in (place, open_folder / "kept.backup"):
        path.chmod(0o444)
    open_folder.chmod(0o555)
    before = files(open_folder)
    with as_nobody():
        with pytest.raises(BookError, match=r"its folder|needs a folder"):
            open_book(place)
        with pytest.raises(BookError, match=r"can't be written|can't be opened"):
            create_book(open_folder / "new.db", Settings(), ADA)
        kept = open_book(open_folder / "kept.backup", read_only=True)
        assert kept.job(job.job_id) == job
        kept.engine.dispose()
    assert files(open_folder) == before


def test_a_read_only_file_is_told_and_can_be_read(open_folder):
    place = open_folder / "book.db"
    book = create_book(place, Settings(), ADA)
    job = book.receive(ARRIVAL, by=ADA)
    book.engine.dispose()
    place.chmod(0o444)
    open_folder.chmod(0o777)
    with as_nobody():
        closed = open_book(place)
        with pytest.raises(BookError, match=r"read-only\. Nothing was stored\. Allow writing"):
            closed.receive(ARRIVAL, by=ADA)
        assert closed.job(job.job_id) == job
        closed.engine.dispose()
