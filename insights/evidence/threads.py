"""Work on all processors, given back in order."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_threads(work: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
    """Work on several items at once.

    Worth it where the work is long operations on arrays: during those no thread waits for
    another.

    Parameters
    ----------
    work
        What is done with an item. What it shares with other items must be made before.
    items
        Made one after the other, and never more than the processors at work need.

    Yields
    ------
    Result
        In the order of the items, so that the answer is the same on any number of processors.
    """
    at_once = os.cpu_count() or 1
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(at_once) as pool:
        for item in items:
            waiting.append(pool.submit(work, item))
            if len(waiting) > at_once:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
