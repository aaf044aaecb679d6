"""Much work of one kind over any executor of concurrent.futures: this computer's processes by default, a cluster's if it brings one.

Answers come as they are done, in no order. No more work is handed out than a few times what the executor can do at once, so that
memory stays bounded however long the work is.
"""

from __future__ import annotations

import concurrent.futures
import contextlib
import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import TypeVar

Work = TypeVar("Work")
Answer = TypeVar("Answer")
AHEAD = 4  # pieces of work handed out for each that can run at once


def each_done(
    executor: concurrent.futures.Executor, function: Callable[[Work], Answer], work: Iterable[Work], at_once: int
) -> Iterator[Answer]:
    """`function` of each piece of work. An error of one comes out here. `function` and work are pickled: plain, importable values."""
    left = iter(work)
    waiting = {executor.submit(function, piece) for piece in islice(left, at_once * AHEAD)}
    try:
        while waiting:
            done, waiting = concurrent.futures.wait(waiting, return_when=concurrent.futures.FIRST_COMPLETED)
            for future in done:
                waiting.update(executor.submit(function, piece) for piece in islice(left, 1))
                yield future.result()
    finally:
        for future in waiting:
            future.cancel()


@contextlib.contextmanager
def processes(count: int) -> Iterator[concurrent.futures.Executor]:
    """`count` processes of this computer, started afresh (spawn), so that no open connection is shared with them."""
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(count, mp_context=context) as executor:
        yield executor
