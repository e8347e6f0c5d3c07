"""Owners drawn and what they answered, kept in the book: who may, what counts, what is said."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from shop import fleet, followed
from statsmodels.stats.proportion import proportion_confint

from insights.errors import ChangedMeanwhile, NotAllowed, RequestError
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.reviewing.call_back import call_back_sample, failed_if_known
from insights.reviewing.kept_calls import answers_in, drawn_in, keep_answer, keep_drawn
from insights.wording.calls import of_calls, of_failed, of_quoted

DAY = date(2026, 11, 3)
BO, RITA = Person("Bo", "bench"), Person("Rita", "reader")


@pytest.fixture
def book(tmp_path):
    return create_book(tmp_path / "b.db", Settings(), Person("Ada"))


def test_a_draw_is_kept_once_and_answers_with_it(book):
    assert keep_drawn(book, ["J1", "J2", "J1"], DAY, by=BO) == 2
    keep_answer(book, "J1", "would_return", by=BO, expected=1)
    assert keep_drawn(book, ["J1", "J3"], date(2026, 12, 1), by=BO) == 1
    found = drawn_in(book).set_index("job_id")
    assert found["answer"].to_dict() == {"J1": "would_return", "J2": "", "J3": ""}
    assert found["drawn_on"].to_dict() == {
        "J1": "2026-11-03",
        "J2": "2026-11-03",
        "J3": "2026-12-01",
    }
    assert of_calls(drawn_in(book)) == "Of 3 owners drawn 2 are still to be called."


def test_only_owners_drawn_count_and_only_answers(book):
    keep_drawn(book, ["J1"], DAY, by=BO)
    with pytest.raises(RequestError, match="was not drawn"):
        keep_answer(book, "J9", "would_return", by=BO)
    with pytest.raises(RequestError, match="'perhaps' is not an answer"):
        keep_answer(book, "J1", "perhaps", by=BO)
    keep_answer(book, "J1", "would_return", by=BO, expected=1, token="t")
    keep_answer(book, "J1", "would_return", by=BO, expected=1, token="t")  # sent twice
    assert drawn_in(book)["number"].tolist() == [2]
    with pytest.raises(ChangedMeanwhile):
        keep_answer(book, "J1", "would_not", by=BO, expected=1)


def test_a_reader_can_not(book):
    keep_drawn(book, ["J1"], DAY, by=BO)
    with pytest.raises(NotAllowed):
        keep_drawn(book, ["J2"], DAY, by=RITA)
    with pytest.raises(NotAllowed):
        keep_answer(book, "J1", "would_return", by=RITA)


def test_a_source_knows_answers_once_there_are_any(book):
    assert answers_in("jobs.csv") is None
    keep_drawn(book, ["J1"], DAY, by=BO)
    assert answers_in(book.name) is None
    keep_answer(book, "J1", "not_reached", by=BO)
    assert answers_in(book.name)["answer"].tolist() == ["not_reached"]
    assert answers_in(book.name, date(2000, 1, 1)) is None


def test_nobody_is_drawn_twice():
    shop = followed(*fleet(40), follow="all")
    first = set(call_back_sample(shop, size=25)["job_id"])
    then = set(call_back_sample(shop, size=25, leave_out=first)["job_id"])
    assert (len(then), first & then) == (15, set())


def test_what_failed_is_said_beside_what_came_back():
    # 4 of 50 back; 24 of 30 would bring it: 4 of 50 over 0.8 is 10 of 100. the interval is
    # statsmodels' Wilson interval of 24 of 30.
    low, high = proportion_confint(24, 30, method="wilson")
    shop = followed(*fleet(50, (20, 30, 40, 50)), follow="all")
    said = pd.DataFrame(
        {
            "job_id": [f"J{place}" for place in range(30)],
            "answer": ["would_return"] * 24 + ["would_not"] * 6,
        }
    )
    found = failed_if_known(shop, said, 180)
    text = of_failed(found, 180)
    assert "of 30 owners asked whose unit works 24 would bring" in text
    assert "where 8.0 of 100 come back within 180 days, about 10.0 fail" in text
    assert f"1.25 times the claims, likely {1 / high:.2f} to {1 / low:.2f} times" in of_quoted(
        found
    )
    assert failed_if_known(shop, said.assign(answer="not_reached"), 180) is None
    assert failed_if_known(shop, None, 180) is None
    assert failed_if_known(shop, said.head(9), 180) is None  # too few to tell others of
    assert failed_if_known(shop, said.head(10), 180) is not None
