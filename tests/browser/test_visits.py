"""Coming and going: many at once, at the start, with the network shut, and memory after."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from visitor import Visitor


def test_twelve_quick_openings_all_become_ready(visit: Callable[..., Visitor]) -> None:
    came = [visit(ready=False) for _ in range(12)]
    for one in came:
        one.ready()
        assert one.status == "ready", one.status_words
        assert int(one.codes("cone").max()) > 100
    came[-1].set("track.speed", 0.9)
    assert [one.values["track.speed"] for one in came] == [0.6] * 11 + [0.9]


def test_reloading_at_once_still_draws(lab: Visitor) -> None:
    for _ in range(3):
        lab.page.reload(wait_until="commit")
    lab.frames.clear()
    lab.ready()
    lab.set("track.speed", 0.9)
    assert lab.status == "ready"


def test_a_page_opened_while_the_engine_compiles_draws_in_the_end(
    visit: Callable[..., Visitor], cold_server: Any
) -> None:
    early = visit(cold_server.address, ready=False)
    also = visit(cold_server.address, ready=False)
    for one in (early, also):
        one.ready()
        assert one.status == "ready", one.status_words
        assert int(one.codes("cone").max()) > 100


def test_with_the_network_shut_everything_works(visit: Callable[..., Visitor], server: Any) -> None:
    lab = visit(ready=False)
    refused: list[str] = []

    def gate(route: Any) -> None:
        if route.request.url.startswith((server.address, "data:", "blob:")):
            route.continue_()
        else:
            refused.append(route.request.url)
            route.abort()

    lab.page.route("**/*", gate)
    lab.open()
    lab.set("track.speed", 1.0)
    lab.page.locator(".run").click()
    lab.page.wait_for_timeout(200)
    assert lab.js("state.run.mode") == "running"
    assert refused == []


def test_a_server_that_has_stopped_is_told_in_words(
    visit: Callable[..., Visitor], cold_server: Any
) -> None:
    lab = visit(cold_server.address)
    cold_server.stop()
    lab.type("track.speed", "1.0")
    lab.until("(root) => root.dataset.status === 'error'")
    assert "start it again; then reload" in lab.status_words
    # what is on the page goes on
    drawn = lab.picture("cone")
    lab.type("receiver.gain", "40")
    lab.painted()
    assert not np.array_equal(lab.picture("cone"), drawn)
    # nothing but the lost connection is complained about
    lab.problems[:] = [words for words in lab.problems if "not connected" not in words]


@pytest.mark.load
def test_closing_pages_frees_the_server(visit: Callable[..., Visitor], server: Any) -> None:
    """Visitors that came, computed and left do not stay in the server's memory."""
    import psutil

    process = psutil.Process(server.process.pid)
    sizes = []
    for _ in range(4):
        for n in range(8):
            one = visit()
            one.set("track.speed", 0.7 + 0.05 * n)
            one.set("item.depth", 2.0 + 0.1 * n)
            one.page.close()
        time.sleep(45)  # unused sessions are looked for every 10 s and kept for 30 s
        sizes.append(process.memory_info().rss / 2**20)
    # eight sessions hold up to 8 × 60 MB; what stays after each round must not add up
    assert np.ptp(sizes[1:]) < 100, sizes
