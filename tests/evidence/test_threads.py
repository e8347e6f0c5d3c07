"""Work in threads: in order, no more made than is worked on, and failures are met."""

from __future__ import annotations

import os
import threading

import pytest

from insights.evidence.threads import in_threads


def test_results_come_in_the_order_of_the_items():
    first_may_end = threading.Event()

    def work(item: int) -> int:
        if item == 0:
            first_may_end.wait(10 if (os.cpu_count() or 1) > 1 else 0)
        else:
            first_may_end.set()
        return item

    assert list(in_threads(work, range(20))) == list(range(20))


def test_items_are_made_only_as_they_are_worked_on():
    made, given = [], []

    def items():
        for number in range(50):
            made.append(number)
            yield number

    for result in in_threads(lambda number: number, items()):
        given.append(result)
        assert len(made) - len(given) <= (os.cpu_count() or 1) + 1
    assert given == list(range(50))


def test_a_failure_reaches_the_caller():
    def work(item: int) -> float:
        return 1 / item

    with pytest.raises(ZeroDivisionError):
        list(in_threads(work, [1, 0, 2]))


def test_nothing_gives_nothing():
    assert list(in_threads(lambda item: item, [])) == []
