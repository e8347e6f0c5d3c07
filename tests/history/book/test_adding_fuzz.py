"""Whatever is added to a book: every row is accounted for, or one error of ours."""

from __future__ import annotations

import csv
import gzip
import io
import random
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from insights.errors import StaysfixedError
from insights.history.book.adding import Added, add_file
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.book.refused import mend, refused_rows
from insights.history.declared import Declared
from insights.history.files import read_raw
from insights.history.schema import COLUMNS

ADA = Person("Ada")
TODAY = date(2026, 6, 30)
DAYS = (
    *("2026-03-02", "2026-02-30", "02/03/2026", "3.2.26", "20260302", "2026-3-2", "March 2, 2026"),
    *("2026-03-02T10:00:00Z", "0000-00-00", "1899-12-31", "9999-12-31", "46083", "46083.5", "-1"),
    *(
        "2026-W10",
        "2026-061",
        "yesterday",
        "2026-03-02 25:61",
        "١٢/٣/٢٠٢٦",
        "２０２６-03-02",
        "NaT",
    ),
)
AMOUNTS = ("12.5", "12,50", "1.234,56", "1 234.56", "12.345", "-3", "1e400", "1e-9", "€ 5", "NaN")
TEXTS = (
    *("", " ", "=1+1", "'=1", '"', '""', "a\nb", "a\r\nb", "a;b", "a,b", "\t", "NULL", "⁠"),
    *("ÄÖÜ", "\ud83d\ude00".encode("utf-16", "surrogatepass").decode("utf-16"), "x" * 40_000),
)
DECLARED = (
    *(None,) * 5,
    Declared(date_format="%d/%m/%Y", decimal=",", currency="EUR"),
    Declared(date_format="%Y%m%d"),
    Declared(currency="GBP"),
    Declared(headings={"notes": "model", "model": ""}),
    Declared(sheet="Sheet"),
)
ENCODINGS = (
    *("utf-8",) * 12,
    *("utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1", "utf-32", "cp037"),
)


def account(book: Book, name: str, data: bytes, declared: Declared | None = None) -> Added | None:
    """Add bytes; check that nothing is lost and that adding them again does nothing."""
    before = book.revision()
    try:
        added = add_file(book, (name, data), declared, by=ADA, today=TODAY)
    except StaysfixedError as error:
        assert str(error)  # noqa: PT017
        assert book.revision() == before
        return None
    told = added.added + added.known + added.differing + added.refused + added.repeated
    assert told == added.given == read_raw((name, data), declared).table.num_rows
    assert min(added.added, added.known, added.differing, added.refused, added.repeated) >= 0
    assert added.kept <= added.refused
    assert bool(len(added.table)) == bool(added.refused + added.differing)
    revision = book.revision()
    again = add_file(book, (name, data), declared, by=ADA, today=TODAY)
    assert (again.added, again.kept, again.mended) == (0, 0, 0)
    assert again.known == added.known + added.added
    assert book.revision() == revision
    return added


def written(rows: list[list[str]], random_: random.Random) -> bytes:
    """Write rows as text, in one of the ways that programs write it, or nearly."""
    out = io.StringIO()
    quoting = random_.choice((csv.QUOTE_ALL, csv.QUOTE_MINIMAL))
    delimiter = random_.choice(",,,;;;\t|:~ ")
    end = random_.choice(("\n", "\r\n", "\r"))
    csv.writer(out, delimiter=delimiter, quoting=quoting, lineterminator=end).writerows(rows)
    return out.getvalue().encode(random_.choice(ENCODINGS), errors="replace")


def workbook(rows: list[list[str]], random_: random.Random) -> bytes:
    book = openpyxl.Workbook()
    book.active.append(rows[0])
    for row in rows[1:]:
        book.active.append([random_.choice((cell[:32_000],) * 8 + (12.5, None)) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def parquet(rows: list[list[str]], random_: random.Random) -> bytes:
    names = [f"{name}" for name in dict.fromkeys(rows[0])]
    table = pa.table({name: [row[i] for row in rows[1:]] for i, name in enumerate(names)})
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


FORMS = (written, written, written, workbook, parquet)


def rows_of(random_: random.Random) -> list[list[str]]:
    names = ["job_id", "received", "model"]
    others = [column.name for column in COLUMNS if column.name not in names]
    names += random_.sample([*others, "practice_pair", "reading_plate_c", "odd"], 4)
    random_.shuffle(names)
    odd = {
        name: {"date": DAYS, "number": AMOUNTS, "whole": AMOUNTS}.get(
            next((column.kind for column in COLUMNS if column.name == name), "text"), TEXTS
        )
        for name in names
    }
    sound = {"received": "2026-03-02", "model": "grill"}
    body = []
    for _ in range(random_.randint(1, 12)):
        sound["job_id"] = str(random_.randint(1, 400))
        body.append(
            [
                sound.get(name, "") if random_.random() < 0.85 else random_.choice(odd[name])
                for name in names
            ]
        )
    return [names, *body]


def spoiled(data: bytes, random_: random.Random) -> bytes:
    """Flip, cut, insert, double and cut off bytes, or leave them."""
    found = bytearray(data)
    for _ in range(random_.choice((0, 0, 0, 0, 1, 2, 6))):
        if not found:
            break
        place = random_.randrange(len(found))
        kind = random_.randrange(5)
        if kind == 0:
            found[place] ^= 1 << random_.randrange(8)
        elif kind == 1:
            found[place:place] = random_.choice(
                (b'"', b";", b"\r", b"\n", b"\0", b"\xff", b"=", b",")
            )
        elif kind == 2:
            del found[place : place + random_.randint(1, 60)]
        elif kind == 3:
            found[place:place] = found[random_.randrange(len(found)) :][:300]
        else:
            del found[place:]
    return bytes(found)


def try_many(seed: int, count: int, folder: Path) -> dict[str, int]:
    """Add spoiled files, a hundred to a book; count what became of them."""
    random_ = random.Random(seed)
    told = {"files": 0, "read": 0, "added": 0, "refused": 0, "differing": 0}
    for start in range(0, count, 100):
        path = folder / f"{seed}-{start}.db"
        book = create_book(path, Settings(currency="EUR"), ADA)
        for _ in range(min(100, count - start)):
            data = random_.choice(FORMS)(rows_of(random_), random_)
            name = random_.choice(("a.csv", "a.xlsx", "a.parquet", "a"))
            added = account(book, name, spoiled(data, random_), random_.choice(DECLARED))
            told["files"] += 1
            if added is not None:
                told["read"] += 1
                for what in ("added", "refused", "differing"):
                    told[what] += getattr(added, what)
        book.history()
        _mend_some(book, random_)
        book.engine.dispose()
    return told


def _mend_some(book: Book, random_: random.Random) -> None:
    """Mend waiting rows at random: a job more and a row less, or an error of ours."""
    for row in refused_rows(book)[:5]:
        heading = random_.choice(list(row.cells))
        cell = random_.choice((*DAYS, *AMOUNTS, *TEXTS))
        jobs, waiting = len(book.history().jobs), len(refused_rows(book))
        try:
            mend(book, row, {heading: cell}, by=ADA, today=TODAY)
            grown = 1
        except StaysfixedError:
            grown = 0
        assert len(book.history().jobs) == jobs + grown
        assert len(refused_rows(book)) == waiting - grown


def test_every_row_of_a_spoiled_file_is_accounted_for(tmp_path: Path) -> None:
    told = try_many(20260630, 18, tmp_path)
    assert told["read"] >= 6
    assert told["added"] > 10
    assert told["refused"] > 10


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_every_row_of_a_spoiled_file_is_accounted_for_at_length(seed: int, tmp_path: Path) -> None:
    told = try_many(seed, 500, tmp_path)
    print(told)
    assert told["files"] == 500
    assert told["read"] >= 105


CELLS = st.one_of(
    st.sampled_from((*DAYS, *AMOUNTS, *TEXTS)),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=6),
)
SHEETS = st.lists(
    st.tuples(
        st.one_of(st.sampled_from("123"), CELLS),
        st.one_of(st.just("2026-03-02"), CELLS),
        st.one_of(st.just("grill"), CELLS),
        CELLS,
        CELLS,
    ),
    min_size=1,
    max_size=6,
)


@pytest.fixture(scope="module")
def yen(tmp_path_factory) -> Book:
    """A book without minor units; what one sheet leaves in it is there for the next."""
    path = tmp_path_factory.mktemp("yen") / "book.db"
    return create_book(path, Settings(currency="JPY", minor_digits=0), ADA)


def add_sheet(book: Book, rows: list[tuple[str, ...]]) -> None:
    out = io.StringIO()
    heading = ("job_id", "received", "model", "price", "notes")
    csv.writer(out, quoting=csv.QUOTE_ALL).writerows([heading, *rows])
    account(book, "jobs.csv", out.getvalue().encode())


@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(rows=SHEETS)
def test_every_row_of_an_odd_sheet_is_accounted_for(yen: Book, rows) -> None:
    add_sheet(yen, rows)


@pytest.mark.slow
@settings(max_examples=500, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=SHEETS)
def test_every_row_of_an_odd_sheet_is_accounted_for_at_length(yen: Book, rows) -> None:
    add_sheet(yen, rows)


def bomb(member: str, size: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("[Content_Types].xml", "<Types/>")
        with parts.open(member, "w", force_zip64=True) as part:
            for _ in range(size >> 20):
                part.write(b"\0" * (1 << 20))
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (gzip.compress(b"job_id,received,model\n" * 99, mtime=0), "a compressed file"),
        (b"PK\x03\x04" + b"\0" * 200, "not a readable XLSX"),
        (b"PAR1" + b"\xff" * 300 + b"PAR1", "not a readable Parquet"),
        (b"\xff\xfe" + b"\xd8" * 51, "begins as UTF-16"),
        (b"", "empty"),
    ],
    ids=["gzip", "XLSX", "Parquet", "UTF-16", "empty"],
)
def test_what_is_no_table_is_refused_in_a_sentence(tmp_path: Path, data: bytes, told: str) -> None:
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    with pytest.raises(StaysfixedError, match=told):
        add_file(book, ("jobs.csv", data), by=ADA)


@pytest.mark.slow
def test_a_workbook_that_unpacks_without_end_is_refused_before_it_does(tmp_path: Path) -> None:
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    with pytest.raises(StaysfixedError, match="unpacks to more than 2 GB"):
        add_file(book, ("jobs.xlsx", bomb("xl/worksheets/sheet1.xml", 2100 << 20)), by=ADA)
