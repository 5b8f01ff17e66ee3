"""The desk at the engine: the newest request wins, errors come in words, nobody starves."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from apps import compute
from apps.compute import KEEP_SESSION, Answer, Desk, Warm, shared_runner
from apps.scenes import SCENES, built_in
from simulator import Cancelled, Fish, Pass, Runner, Scene, Target, Track

PATIENCE = 60.0  # s; the machines are shared
SOON = 10.0  # s, for what must not wait for a run to end


def small(**changes: Any) -> Scene:
    """A scene of a few milliseconds."""
    track = Track(pings=40, speed=1.0, ping_rate=10.0)
    return Scene(track=track, fish=[Fish(form="perch", length=0.2, depth=2.5)], **changes)


class Tray:
    """Where answers are put, and waited for."""

    def __init__(self) -> None:
        self.answers: list[Answer] = []
        self._changed = threading.Condition()

    def __call__(self, answer: Answer) -> None:
        with self._changed:
            self.answers.append(answer)
            self._changed.notify_all()

    def wait(self, enough: Callable[[list[Answer]], bool]) -> list[Answer]:
        with self._changed:
            assert self._changed.wait_for(lambda: enough(self.answers), PATIENCE)
            return list(self.answers)

    def numbers(self) -> list[int]:
        return [a.number for a in self.answers]


@pytest.fixture
def tray() -> Tray:
    return Tray()


@pytest.fixture
def desk(tray: Tray) -> Iterator[Desk]:
    desk = Desk(tray)
    yield desk
    desk.close()


class Gate:
    """A stand-in for a run that takes as long as the test wants, and is counted."""

    def __init__(self, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
        self.begun = threading.Semaphore(0)
        self.open = threading.Event()
        self.seeds: list[int] = []
        self._made = desk.runner.run(small())
        monkeypatch.setattr(desk.runner, "run", self.run)

    def run(self, scene: Scene, cancelled: Callable[[], bool]) -> Pass:
        self.seeds.append(scene.seed)
        self.begun.release()
        while not self.open.wait(0.01):
            if cancelled():
                raise Cancelled
        return self._made


def test_only_the_newest_of_many_requests_runs(
    desk: Desk, tray: Tray, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = Gate(desk, monkeypatch)
    desk.ask(1, small(seed=1))
    assert gate.begun.acquire(timeout=PATIENCE)
    for number in range(2, 12):
        desk.ask(number, small(seed=number))
    gate.open.set()
    tray.wait(lambda got: bool(got) and got[-1].number == 11)
    assert tray.numbers() == [1, 11]
    assert gate.seeds == [1, 11]


def test_answers_come_in_order_and_belong_to_their_scene(desk: Desk, tray: Tray) -> None:
    for number in range(1, 41):
        desk.ask(number, small(seed=number))
        time.sleep(0.002)
    got = tray.wait(lambda got: bool(got) and got[-1].number == 40)
    assert tray.numbers() == sorted(set(tray.numbers()))
    assert [a.scene.seed for a in got] == tray.numbers()
    assert all(a.made is not None and a.error == "" for a in got)


def test_too_heavy_a_scene_is_refused_in_words_and_the_next_one_runs(
    desk: Desk, tray: Tray
) -> None:
    heavy = small()
    heavy.track.pings = 4000
    heavy.sounder.side.range_end = 200.0
    heavy.sounder.side.pulse_length = 2e-5
    desk.ask(1, heavy)
    answer = tray.wait(bool)[0]
    assert answer.made is None
    assert "million cells" in answer.error
    assert "Use fewer pings" in answer.error
    assert "Traceback" not in answer.error
    desk.ask(2, small())
    assert tray.wait(lambda got: len(got) == 2)[1].made is not None


@pytest.mark.parametrize(
    ("error", "words"), [(MemoryError(), "needs more memory"), (KeyError("x"), "could not run")]
)
def test_what_goes_wrong_is_told_in_words(
    desk: Desk,
    tray: Tray,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    error: BaseException,
    words: str,
) -> None:
    def fail(scene: Scene, cancelled: Callable[[], bool]) -> Pass:
        raise error

    with monkeypatch.context() as patch, caplog.at_level(logging.CRITICAL, "archwise"):
        patch.setattr(desk.runner, "run", fail)
        desk.ask(1, small())
        answer = tray.wait(bool)[0]
    assert answer.made is None
    assert words in answer.error
    assert "KeyError" not in answer.error
    desk.ask(2, small())
    assert tray.wait(lambda got: len(got) == 2)[1].made is not None


def test_an_answer_nobody_takes_does_not_stop_the_desk() -> None:
    got = threading.Event()

    def deliver(answer: Answer) -> None:
        if answer.number == 1:
            raise RuntimeError("the visitor's page is broken")
        got.set()

    desk = Desk(deliver)
    logging.getLogger("archwise").disabled = True
    try:
        desk.ask(1, small(seed=1))
        time.sleep(0.2)
        desk.ask(2, small(seed=2))
        assert got.wait(PATIENCE)
    finally:
        logging.getLogger("archwise").disabled = False
        desk.close()


def test_closing_stops_the_run_and_frees_the_memory(
    tray: Tray, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(tray)
    desk.ask(1, small(seed=5))
    tray.wait(bool)
    assert desk.runner.kept_bytes() > 0
    gate = Gate(desk, monkeypatch)
    desk.ask(2, small(seed=6))
    assert gate.begun.acquire(timeout=PATIENCE)
    desk.ask(3, small(seed=7))
    desk.close()  # the gate never opens: only being cancelled ends the run
    _until(lambda: not desk._busy)
    assert tray.numbers() == [1]
    assert gate.seeds == [6]
    assert desk.runner.kept_bytes() == 0
    desk.ask(4, small(seed=8))
    time.sleep(0.1)
    assert tray.numbers() == [1]


def test_closing_in_the_middle_of_a_real_run_keeps_nothing(tray: Tray) -> None:
    compute.warm.start()
    assert compute.warm.ready.wait(PATIENCE)
    scene = built_in("ledge-to-port")
    scene.track.pings, scene.seed = 1200, 12345
    desk = Desk(tray)
    desk.ask(1, scene)
    _until(lambda: desk.runner.kept_bytes() > 0)  # some layers are done, more are to come
    desk.close()
    _until(lambda: not desk._busy)
    assert tray.answers == []
    assert desk.runner.kept_bytes() == 0


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + SOON
    while not true():
        assert time.monotonic() < end
        time.sleep(0.005)


@pytest.mark.parametrize("name", SCENES)
def test_built_in_scenes_cost_a_visitor_nothing(name: str, desk: Desk, tray: Tray) -> None:
    shared_runner().run(built_in(name))
    desk.ask(1, built_in(name))
    made = tray.wait(bool)[0].made
    assert made is not None
    assert made.computed == ()
    assert desk.runner.kept_bytes() == 0


def test_a_moved_fish_computes_that_fish_only(desk: Desk, tray: Tray) -> None:
    scene = built_in(SCENES[0])
    shared_runner().run(scene)
    scene.fish[0].x += 0.25
    desk.ask(1, scene)
    made = tray.wait(bool)[0].made
    assert made is not None
    assert made.computed
    owners = {c.split("/")[2] for c in made.computed}
    assert "fish[0]" in owners
    # and what it takes of the bed and of others behind it
    assert owners <= {"fish[0]", "fish[0].shadow", "fish[0].over"}


def test_all_built_in_scenes_fit_in_the_shared_memory() -> None:
    for name in SCENES:
        shared_runner().run(built_in(name))
    assert shared_runner().dropped == 0
    assert all(shared_runner().run(built_in(name)).computed == () for name in SCENES)


def test_a_full_memory_drops_the_oldest_with_a_word(desk: Desk, tray: Tray) -> None:
    desk.runner.keep_bytes = 200_000
    desk.ask(1, small(seed=1))
    alone = tray.wait(bool)[0]
    whole = desk.runner.kept_bytes()
    # the run at hand stays, however large, so that the next change of it is quick
    assert alone.note == "" and whole > 200_000
    desk.ask(2, small(seed=2))
    assert "memory for this page is full" in tray.wait(lambda got: len(got) == 2)[1].note
    assert desk.runner.kept_bytes() <= whole
    assert desk.runner.run(small(seed=2)).computed == ()
    desk.runner.keep_bytes = KEEP_SESSION
    desk.ask(3, small(seed=3))
    assert tray.wait(lambda got: len(got) == 3)[2].note == ""


def test_many_desks_at_once_are_served_alike() -> None:
    """Visitors who never stop dragging: more of them than workers, each asks again at once."""
    desks: list[Desk] = []
    served = [0] * 6
    over = threading.Event()

    def visitor(n: int) -> Callable[[Answer], None]:
        def deliver(answer: Answer) -> None:
            served[n] += 1
            if not over.is_set():
                desks[n].ask(answer.number + 1, small(seed=answer.number + 1))

        return deliver

    desks = [Desk(visitor(n)) for n in range(len(served))]
    for desk in desks:
        desk.ask(1, small(seed=1))
    end = time.monotonic() + PATIENCE
    while sum(served) < 90 and time.monotonic() < end:
        time.sleep(0.02)
    counts = list(served)
    over.set()
    for desk in desks:
        desk.close()
    assert sum(counts) >= 90
    assert min(counts) >= 0.5 * max(counts), counts


def test_desks_at_once_do_not_mix_their_pictures() -> None:
    scenes = [
        small(seed=n, targets=[Target(strength=-30.0, depth=1.0 + 0.3 * n)]) for n in range(5)
    ]
    trays = [Tray() for _ in scenes]
    desks = [Desk(tray) for tray in trays]
    for desk, scene in zip(desks, scenes, strict=True):
        desk.ask(1, scene)
    for tray, scene in zip(trays, scenes, strict=True):
        made = tray.wait(bool)[0].made
        alone = Runner(threads=1).run(scene)
        assert made is not None
        for name, echo in alone.looks.items():
            for one, other in zip(echo.beams, made.looks[name].beams, strict=True):
                np.testing.assert_array_equal(one.total(), other.total())
    for desk in desks:
        desk.close()


def test_warming_up_happens_once_and_says_when_it_is_done() -> None:
    warm = Warm()
    assert not warm.ready.is_set()
    warm.start()
    warm.start()
    assert warm.ready.wait(PATIENCE)
    assert len([t for t in threading.enumerate() if t.name == "archwise-warm"]) <= 2


def test_requests_wait_until_the_engine_is_warm(
    desk: Desk, tray: Tray, monkeypatch: pytest.MonkeyPatch
) -> None:
    cold = Warm()
    monkeypatch.setattr(cold, "start", lambda: None)
    monkeypatch.setattr(compute, "warm", cold)
    desk.ask(1, small())
    time.sleep(0.3)
    assert tray.answers == []
    cold.ready.set()
    assert tray.wait(bool)[0].made is not None


def test_closing_does_not_wait_for_the_warm_up(tray: Tray, monkeypatch: pytest.MonkeyPatch) -> None:
    cold = Warm()
    monkeypatch.setattr(cold, "start", lambda: None)
    monkeypatch.setattr(compute, "warm", cold)
    desk = Desk(tray)
    desk.ask(1, small())
    desk.close()
    _until(lambda: not desk._busy)
    assert tray.answers == []


def test_a_warm_up_that_fails_holds_nobody_up(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def missing(name: str) -> Scene:
        raise ValueError(name)

    monkeypatch.setattr(compute, "built_in", missing)
    warm = Warm()
    with caplog.at_level(logging.ERROR, "archwise"):
        warm.start()
        assert warm.ready.wait(PATIENCE)
    assert "could not be warmed up" in caplog.text


def test_when_the_server_ends_nothing_more_is_begun(
    desk: Desk, tray: Tray, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compute, "_stopping", threading.Event())
    gate = Gate(desk, monkeypatch)
    desk.ask(1, small(seed=1))
    assert gate.begun.acquire(timeout=PATIENCE)
    desk.ask(2, small(seed=2))
    compute.stop()
    _until(lambda: not desk._busy)
    assert tray.answers == []
    assert gate.seeds == [1]
