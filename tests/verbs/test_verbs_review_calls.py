"""The verb review on a job book: the draw and the answers are kept there, and count from then."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from insights.command import main
from insights.followup import follow_up
from insights.history.book.access_log import accesses
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.reviewing.call_back import failed_share
from insights.reviewing.kept_calls import drawn_in
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate

ADA = Person("Ada")


@pytest.fixture
def book(tmp_path):
    made, _ = generate(cafe_workshop(jobs=500, seed=4))
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    book.add_history(made, by=ADA)
    return book


def test_a_list_drawn_answered_and_given_back_counts_from_then_on(book, tmp_path, capsys):
    path = str(tmp_path / "calls.csv")
    words = ["review", book.name, "--by", "model"]
    assert main([*words, "--call-list", path, "--calls", "12", "--called-by", "Bo"]) == 0
    assert drawn_in(book)["job_id"].tolist() == pd.read_csv(path, dtype=str)["job_id"].tolist()
    logged = accesses(book, by=ADA)
    assert ("Bo", "exported", f"owners to call: 12 units, to {path}") in set(
        zip(logged["who"], logged["did"], logged["what"], strict=True)
    )
    answered = pd.read_csv(path, dtype=str).assign(answer=["would_return", "would_not"] * 6)
    answered.to_csv(path, index=False)
    capsys.readouterr()
    assert main([*words, "--answers", path, "--called-by", "Bo", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)["call_back"]
    assert main([*words, "--json"]) == 0  # the book remembers
    assert json.loads(capsys.readouterr().out)["call_back"] == first
    expected = failed_share(follow_up(book.history()), drawn_in(book), 180)
    assert first["failed"] == pytest.approx(expected.failed)
    assert {record.saved_by for record in book.all_of("call_back").values()} == {"Bo"}


def test_an_answer_of_someone_not_drawn_is_refused(book, tmp_path, capsys):
    path = tmp_path / "calls.csv"
    path.write_text("job_id,answer\nJ0000001,would_return\n")
    assert main(["review", book.name, "--answers", str(path), "--called-by", "Bo"]) == 2
    assert "was not drawn" in capsys.readouterr().err
