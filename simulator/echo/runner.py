"""Runs scenes and keeps layers between runs."""

from __future__ import annotations

import os
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from functools import cache
from typing import Any

from simulator.echo.layers import Pass
from simulator.echo.work import Work
from simulator.model import SettingError
from simulator.scene import Scene

KEEP_BYTES = 400 * 2**20  # layers kept by one runner


class Runner:
    """Runs scenes and keeps layers between runs; beyond ``keep_bytes`` the least used are dropped
    first, but never those of the last run.

    Safe to use from several threads; each run is spread over ``threads`` threads. Layers that
    ``parent`` keeps are used, too, and not kept twice.
    """

    def __init__(
        self,
        threads: int | None = None,
        keep_bytes: int = KEEP_BYTES,
        parent: Runner | None = None,
    ) -> None:
        self.threads = threads or min(os.cpu_count() or 1, 4)
        self.keep_bytes = keep_bytes
        self.parent = parent
        self.dropped = 0
        self._kept: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def run(
        self,
        scene: Scene,
        cancelled: Callable[[], bool] | None = None,
        progress: Callable[[str], None] | None = None,
    ) -> Pass:
        """Simulate one pass.

        Parameters
        ----------
        scene : what to simulate.
        cancelled : asked between layers and within the bed; when it answers True the run stops.
        progress : told in words what is being computed.

        Raises
        ------
        SettingError
            When the scene is inconsistent or too heavy, saying what to lower.
        Cancelled
            When told to stop.
        """
        start = time.perf_counter()
        problems = [*scene.check(), *scene.sounder.check("sounder")]
        for name, look in scene.sounder.looks().items():
            problems += look.check(f"sounder.{name}")
        if problems:
            raise SettingError(problems)
        work = Work(self, scene, cancelled or (lambda: False), progress or (lambda text: None))
        try:
            looks = {name: work.look(name, look) for name, look in scene.sounder.looks().items()}
        finally:
            self._trim(work.keys)
        seconds = time.perf_counter() - start
        return Pass(looks, tuple(work.computed), work.contributions, seconds)

    def kept_bytes(self) -> int:
        """Bytes of layers kept now."""
        return self._bytes

    def forget(self) -> None:
        """Drop everything kept."""
        with self._lock:
            self._kept.clear()
            self._bytes = 0

    def find(self, key: Hashable) -> Any:
        """What was kept under a key, here or by the parent; None when nothing was."""
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
                return found[0]
        return self.parent.find(key) if self.parent else None

    def keep(self, key: Hashable, value: Any, size: int) -> None:
        """Keep a value of so many bytes."""
        with self._lock:
            if key not in self._kept:
                self._kept[key] = (value, size)
                self._bytes += size

    def _trim(self, current: set[Hashable]) -> None:
        """Drop the least used layers beyond the bound, but none of the run just done."""
        with self._lock:
            for key in list(self._kept):
                if self._bytes <= self.keep_bytes:
                    return
                if key not in current:
                    self._bytes -= self._kept.pop(key)[1]
                    self.dropped += 1


@cache
def _shared() -> Runner:
    return Runner()


def run(scene: Scene, runner: Runner | None = None) -> Pass:
    """Simulate one pass of a scene; layers are kept between calls by ``runner``.

    Raises
    ------
    SettingError
        When the scene is inconsistent or too heavy.
    """
    return (runner or _shared()).run(scene)
