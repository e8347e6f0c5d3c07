"""Whatever a file holds: rows that add up, or one error of ours."""

import csv
import io
import random
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from insights.errors import StaysfixedError
from insights.history.intake import Declared, merge, read_history, write_refused
from insights.history.schema import COLUMNS

TODAY = date(2026, 6, 30)
NAMES = [column.name for column in COLUMNS] + ["practice_pair", "lot_relay", "reading_plate_c"]

LONG = "(a cell too long)"
ODD = """1;001;2026-03-02;2026-03-05;2026-02-30;03/04/2026;2099-01-01;12.50;12,50;-1;1e400;yes;
Same fault;here;NA;grill;'=1;=1+1;−5;１２;٣;a "b";46000;; ;two\nlines""".replace("\\n", "\n")
CELLS = st.one_of(
    st.sampled_from([*ODD.split(";"), LONG]),
    st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=8),
)
# Mostly sound where a row can't do without, so that sound rows come about as well.
OFTEN = {
    "job_id": st.one_of(st.sampled_from("12345678"), CELLS),
    "received": st.one_of(st.sampled_from(["2026-03-02", "2026-03-04", "02/03/2026"]), CELLS),
    "model": st.one_of(st.sampled_from(["grill", "boiler"]), CELLS),
}
DECLARED = st.sampled_from(
    [
        Declared(),
        Declared(date_format="%d/%m/%Y", decimal=",", currency="EUR"),
        Declared(headings={"notes": "model", "model": ""}),
    ]
)


@st.composite
def sheets(draw):
    names = draw(st.lists(st.sampled_from(NAMES), max_size=6, unique=True))
    names = list(dict.fromkeys(["job_id", "received", "model", *names]))
    row = st.tuples(*(OFTEN.get(name, CELLS) for name in names))
    rows = draw(st.lists(row, min_size=1, max_size=6))
    rows += draw(st.lists(st.sampled_from(rows), max_size=2))
    return [names, *rows]


def filled(row):
    return any(cell != "" for cell in row)


def skipped(history):
    return sum(note.jobs for note in history.notes if note.code == "identical_rows")


def check_rows_add_up(rows, declared):
    rows = [["x" * 40_000 if cell == LONG else cell for cell in row] for row in rows]
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL).writerows(rows)
    data = out.getvalue().encode()
    try:
        history = read_history(("jobs.csv", data), declared, today=TODAY)
    except StaysfixedError as error:
        assert "\n" not in str(error)  # noqa: PT017
        return
    given_rows = sum(filled(row) for row in rows[1:])
    assert len(history.jobs) + history.refused_count + skipped(history) == given_rows
    assert set(history.refused["row"]) == set(history.refused_rows["row"])
    assert history.jobs["job_id"].is_unique
    assert (history.jobs["received"] <= "2026-06-30").all()
    again = merge(history, history)
    assert again.jobs.equals(history.jobs)


common = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}


@settings(max_examples=60, derandomize=True, **common)
@given(sheets(), DECLARED)
def test_accepted_refused_and_skipped_rows_are_all_rows(rows, declared):
    check_rows_add_up(rows, declared)


@pytest.mark.slow
@settings(max_examples=3000, **common)
@given(sheets(), DECLARED)
def test_accepted_refused_and_skipped_rows_are_all_rows_at_length(rows, declared):
    check_rows_add_up(rows, declared)


SOUND = (
    "job_id;received;handed_back;model;price;notes\r\n"
    + "".join(
        f'{n:03};2026-03-{n % 28 + 1:02};2026-04-01;grill;{n}.50;"kept ""hot"" n° {n}"\r\n'
        for n in range(12)
    )
).encode()


def mutated(rng):
    data = bytearray(SOUND)
    for _ in range(rng.randint(1, 6)):
        place = rng.randrange(len(data))
        kind = rng.randrange(4)
        if kind == 0:
            data[place] = rng.randrange(256)
        elif kind == 1:
            data[place:place] = rng.choice([b'"', b";", b"\r", b"\n", b"\t", b"\0", b"\xff", b","])
        elif kind == 2:
            del data[place : place + rng.randint(1, 40)]
        else:
            other = rng.randrange(len(data))
            data[place:place] = data[other : other + rng.randint(1, 200)]
        if not data:
            break
    return bytes(data)


def check_mutations(seed, count, path):
    rng = random.Random(seed)
    for _ in range(count):
        try:
            history = read_history(("jobs.csv", mutated(rng)), today=TODAY)
            write_refused(history, path)
        except StaysfixedError as error:
            assert str(error)  # noqa: PT017


def test_a_spoiled_file_gives_rows_or_one_error_of_ours(tmp_path):
    check_mutations(20260302, 150, tmp_path / "refused.csv")


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(5))
def test_a_spoiled_file_gives_rows_or_one_error_of_ours_at_length(seed, tmp_path):
    check_mutations(seed, 1000, tmp_path / "refused.csv")
