"""Pings split over a few threads; they are independent, so any split gives the same numbers."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import numpy as np


class Cancelled(Exception):  # noqa: N818 - not an error, an answer
    """The run was told to stop; nothing was kept of it but whole layers."""


@cache
def _pool(threads: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads, thread_name_prefix="archwise-kernel")


def spread_over(
    threads: int,
    first: int,
    last: int,
    work: Callable[[int, int], None],
    cancelled: Callable[[], bool] = lambda: False,
) -> None:
    """Call ``work(a, b)`` over blocks of pings on a few threads.

    Pings are independent, so any split gives the same numbers.

    Raises
    ------
    Cancelled
        When ``cancelled`` answers True before a block.
    """

    def stoppable(block: tuple[int, int]) -> bool:
        if cancelled():
            return False
        work(*block)
        return True

    blocks = _blocks(first, last, threads * 4 if last - first > 64 else threads)
    done = map(stoppable, blocks) if threads == 1 else _pool(threads).map(stoppable, blocks)
    if not all(list(done)):
        raise Cancelled


def _blocks(first: int, last: int, parts: int) -> Iterator[tuple[int, int]]:
    edges = np.linspace(first, last, parts + 1).astype(int)
    return ((int(a), int(b)) for a, b in itertools.pairwise(edges) if b > a)
