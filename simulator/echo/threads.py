"""Pings split over a few threads; they are independent, so any split gives the same numbers."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Any

import numpy as np


class Cancelled(Exception):  # noqa: N818 - not an error, an answer
    """The run was told to stop; nothing was kept of it but whole layers."""


@cache
def _pool(threads: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads, thread_name_prefix="archwise-kernel")


@cache
def _outer_pool(threads: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads, thread_name_prefix="archwise-owner")


def side_by_side(threads: int, jobs: list[Callable[[], Any]]) -> list[Any]:
    """What each job returns, in order, worked on by a few threads; a job must not spread itself.

    Raises
    ------
    Cancelled
        When a job was told to stop.
    """
    if threads == 1 or len(jobs) < 2:
        return [job() for job in jobs]
    return list(_outer_pool(threads).map(lambda job: job(), jobs))


def spread_over(
    threads: int,
    first: int,
    last: int,
    work: Callable[[int, int], None],
    cancelled: Callable[[], bool] = lambda: False,
    coarse: bool = False,
) -> None:
    """Call ``work(a, b)`` over blocks of pings on a few threads.

    Pings are independent, so any split gives the same numbers. ``coarse``: one block a thread,
    where each block costs something of its own.

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

    fine = last - first > 64 and not coarse
    blocks = _blocks(first, last, threads * 4 if fine else threads)
    done = map(stoppable, blocks) if threads == 1 else _pool(threads).map(stoppable, blocks)
    if not all(list(done)):
        raise Cancelled


def _blocks(first: int, last: int, parts: int) -> Iterator[tuple[int, int]]:
    edges = np.linspace(first, last, parts + 1).astype(int)
    return ((int(a), int(b)) for a, b in itertools.pairwise(edges) if b > a)
