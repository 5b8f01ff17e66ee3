"""Runs the simulator off the event loop: the newest request wins, errors come back in words."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache

from apps.scenes import SCENES, built_in
from simulator import Cancelled, Pass, Runner, Scene, SettingError

KEEP_SESSION = 56 * 2**20  # bytes of layers a session keeps beside the shared ones
KEEP_SHARED = 200 * 2**20  # the built-in scenes take 153 MB; a test holds that they fit
WORKERS = 2  # sessions served at once; each run is itself spread over the cores
WAIT = 0.2  # s between looks at whether a visitor still waits for the engine
log = logging.getLogger("archwise")


@dataclass(frozen=True)
class Answer:
    """What came of a request: a pass, or words about why not; ``note`` is a word on the side."""

    number: int
    scene: Scene
    made: Pass | None
    error: str = ""
    note: str = ""


@cache
def shared_runner() -> Runner:
    """Layers of the built-in scenes, computed once for everybody."""
    return Runner(keep_bytes=KEEP_SHARED)


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(WORKERS, thread_name_prefix="archwise-session")


_stopping = threading.Event()


def stop() -> None:
    """The server ends: what waits is not begun, and runs in progress stop."""
    _stopping.set()


class Warm:
    """Compiles the kernels and computes the built-in scenes once, in the background."""

    def __init__(self) -> None:
        self.ready = threading.Event()
        self._started = False
        self._lock = threading.Lock()

    def start(self) -> None:
        """Begin, unless it has begun."""
        with self._lock:
            if self._started:
                return
            self._started = True
        threading.Thread(target=self._work, name="archwise-warm", daemon=True).start()

    def _work(self) -> None:
        start = time.perf_counter()
        try:
            for name in SCENES:
                shared_runner().run(built_in(name), cancelled=_stopping.is_set)
                self.ready.set()
            log.info("the echo engine is ready after %.1f s", time.perf_counter() - start)
        except Exception:
            if not _stopping.is_set():  # else the pools may be shut under a run
                log.exception("the echo engine could not be warmed up")
        finally:
            self.ready.set()


warm = Warm()


class Desk:
    """One visitor's place at the engine: at most one run at a time, only the newest waits.

    deliver : called with each Answer, from a worker thread.
    """

    def __init__(self, deliver: Callable[[Answer], None]) -> None:
        self.runner = Runner(keep_bytes=KEEP_SESSION, parent=shared_runner())
        self._deliver = deliver
        self._waiting: tuple[int, Scene] | None = None
        self._busy = False
        self._closed = False
        self._lock = threading.Lock()

    def ask(self, number: int, scene: Scene) -> None:
        """Ask for a pass; a request still waiting is dropped for this one."""
        with self._lock:
            if self._closed:
                return
            self._waiting = (number, scene)
            if self._busy:
                return
            self._busy = True
        warm.start()
        _workers().submit(self._work)

    @property
    def _gone(self) -> bool:
        return self._closed or _stopping.is_set()

    def close(self) -> None:
        """Stop the run in progress and let the memory go."""
        with self._lock:
            self._closed = True
            self._waiting = None
        self.runner.forget()

    def _work(self) -> None:
        with self._lock:
            request = self._waiting
            self._waiting = None
            if request is None or self._gone:
                self._busy = False
                return
        answer = self.answer(*request)
        if answer is not None and not self._gone:
            try:
                self._deliver(answer)
            except Exception:
                log.exception("an answer could not be delivered")
        with self._lock:
            if self._gone:
                self.runner.forget()  # what a run that was stopped had finished
            if self._waiting is None or self._gone:
                self._busy = False
                return
        # back of the queue, so that nobody's dragging starves another visitor
        _workers().submit(self._work)

    def answer(self, number: int, scene: Scene) -> Answer | None:
        """Run a scene here and now; None when the visitor has gone meanwhile."""
        while not warm.ready.wait(WAIT):
            if self._gone:
                return None
        dropped = self.runner.dropped
        try:
            made = self.runner.run(scene, cancelled=lambda: self._gone)
        except Cancelled:
            return None
        except SettingError as error:
            return Answer(number, scene, None, str(error))
        except MemoryError:
            words = "This pass needs more memory than there is. Use fewer pings or a shorter range."
            return Answer(number, scene, None, words)
        except Exception:
            if self._gone:
                return None
            log.exception("a run failed")
            words = "The engine could not run this pass; the last picture stays. Try Reset."
            return Answer(number, scene, None, words)
        note = ""
        if self.runner.dropped > dropped:
            note = "memory for this page is full: the oldest run was dropped"
        return Answer(number, scene, made, note=note)
