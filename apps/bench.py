"""Speed and memory on this machine, each figure beside a reference measured in the same run.

The machines are shared and noisy, so ratios tell more than times.
"""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import psutil

from simulator import Runner, Scene, Water, pictures, reference
from simulator.echo import spread_over, sum_patches
from simulator.rays import ray_table
from simulator.scatterers import Channel, Patches, make_channels, make_patches
from simulator.sounder.beam_tables import beam_tables

MEGABYTE = 2.0**20


def default_pass() -> Scene:
    """The pass the budgets speak of: 30 m line, 600 pings, 0.1 ms, three looks, 15 m a side."""
    return Scene.from_dict(
        {
            "fish": [{"form": "perch", "length": 0.3, "depth": 3.5}],
            "track": {"speed": 1.0, "ping_rate": 20.0, "pings": 600},
        }
    )


def plain_pass() -> Scene:
    """The default pass without a second echo: bed, noise and one perch."""
    return _without_second_echo(default_pass())


def _without_second_echo(scene: Scene) -> Scene:
    return scene.copy(bed={**scene.bed.to_dict(), "second_echo": False})


def full_pass() -> Scene:
    """The default pass with ten fish, weed, their shadows and the second echo."""
    forms = ("perch", "trout", "pike", "carp", "eel")
    fish = [
        {
            "form": forms[n % 5],
            "length": 0.2 + 0.04 * n,
            "x": -12.0 + 2.6 * n,
            "y": 3.0 * np.sin(2.0 * n),
            "depth": 2.0 + 0.35 * n,
            "heading": 40.0 * n,
        }
        for n in range(10)
    ]
    return default_pass().copy(fish=fish, weed=[{"x": -6.0, "y": 4.0}])


def school_pass() -> Scene:
    """The default pass over a school of 500."""
    return default_pass().copy(fish=[], schools=[{"form": "perch", "count": 500, "depth": 3.0}])


def best_of(work: Callable[[], Any], repeats: int) -> float:
    """Shortest wall time of several runs, s: the one least disturbed by others."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def bench(start_up: bool = True, progress: Callable[[str], None] | None = None) -> dict[str, Any]:
    """All figures, by group; see the README for what each is held to."""
    tell = progress or (lambda text: print(f"measuring {text}", file=sys.stderr, flush=True))
    figures: dict[str, Any] = {}
    tell("the kernel against NumPy")
    figures["kernel"] = _kernel()
    tell("a whole pass")
    figures["pass"] = _whole_pass()
    tell("every mechanism, and a school")
    figures["full"] = _full()
    tell("ray and near-field tables")
    figures["tables"] = _tables()
    tell("how cost grows")
    figures["growth"] = _growth()
    tell("memory")
    figures["memory"] = _memory()
    if start_up:
        tell("starting up, cold and warm (compiles everything once)")
        figures["start"] = _start_up()
    return figures


def _bed(look: str, pings: int) -> tuple[Channel, Patches, np.ndarray]:
    scene = default_pass()
    scene.track.pings = pings
    c = scene.water.sound_speed(scene.track.draft)
    settings = getattr(scene.sounder, look)
    channel = make_channels(look, settings, scene.track, c, c, 0.01)[0]
    made = make_patches(channel, scene.bed, scene.seed)
    assert made is not None
    return channel, made, np.zeros((pings, channel.grid.bins), dtype=np.complex64)


def _kernel() -> dict[str, Any]:
    """Contributions a second on two threads, beside the vectorised NumPy twin on the same bed."""
    looks: dict[str, dict[str, float]] = {}
    threads = 2
    for look in ("cone", "fan_down", "side"):
        channel, made, fine = _bed(look, 600)

        def kernel(
            channel: Channel = channel, made: Patches = made, fine: np.ndarray = fine
        ) -> None:
            sum_patches(channel, made, fine, lambda a, b, f: spread_over(threads, a, b, f))

        kernel()
        few, few_made, _ = _bed(look, 40)
        # in turn, so that a busy neighbour slows both
        fast, slow = np.inf, np.inf
        for _ in range(3):
            fast = min(fast, best_of(kernel, 2))
            slow = min(slow, best_of(lambda: reference.patches(few, few_made), 1))  # noqa: B023
        looks[look] = {
            "contributions": made.count,
            "contributions_per_s": made.count / fast,
            "numpy_contributions_per_s": few_made.count / slow,
            "numpy_ratio": (made.count / fast) / (few_made.count / slow),
        }
    total = sum(v["contributions"] for v in looks.values())
    seconds = sum(v["contributions"] / v["contributions_per_s"] for v in looks.values())
    numpy_s = sum(v["contributions"] / v["numpy_contributions_per_s"] for v in looks.values())
    return {
        "contributions_per_s": total / seconds,
        "numpy_contributions_per_s": total / numpy_s,
        "numpy_ratio": numpy_s / seconds,
        "threads": threads,
        "looks": looks,
    }


def _whole_pass() -> dict[str, Any]:
    scene = default_pass()
    runner = Runner(threads=2)
    runner.run(scene)

    def whole() -> None:
        runner.forget()
        runner.run(scene)

    whole_s = best_of(whole, 5)
    runner.forget()
    made = runner.run(scene)
    moves = iter(np.linspace(-3.0, 3.0, 200))

    def moved() -> None:
        scene.fish[0].x = float(next(moves))
        runner.run(scene)

    moved_s = best_of(moved, 12)
    picture_s = best_of(lambda: [p.codes() for p in pictures(made).values()], 5)
    # the reference: a plain float32 sum over as many numbers as the pass has contributions
    numbers = np.ones(made.contributions, dtype=np.float32)
    sum_s = best_of(numbers.sum, 5)
    return {
        "seconds": whole_s,
        "contributions": made.contributions,
        "contributions_per_s": made.contributions / whole_s,
        "fish_moved_s": moved_s,
        "pictures_s": picture_s,
        "reference_sum_s": sum_s,
        "times_reference": whole_s / sum_s,
        "threads": 2,
    }


def _full() -> dict[str, Any]:
    """The full pass and a school of 500 against the plain pass, in turn in the same run."""
    scenes = {
        "plain": plain_pass(),
        "full": _without_second_echo(full_pass()),
        "again": full_pass(),
        "school": school_pass(),
    }
    runner = Runner(threads=2)
    for scene in scenes.values():
        runner.run(scene)
    best = dict.fromkeys(scenes, np.inf)

    def once(name: str) -> float:
        runner.forget()
        return best_of(lambda: runner.run(scenes[name]), 1)

    for _ in range(5):  # in turn, so that a busy neighbour slows all
        for name in scenes:
            best[name] = min(best[name], once(name))
    return {
        "plain_s": best["plain"],
        "full_s": best["full"],
        "full_times_plain": best["full"] / best["plain"],
        "with_second_echo_s": best["again"],
        "with_second_echo_times_plain": best["again"] / best["plain"],
        "school_of_500_s": best["school"],
        "school_times_plain": best["school"] / best["plain"],
    }


def _tables() -> dict[str, Any]:
    """Seconds to build a ray table and a near-field table, and to find them again."""
    profile = Water(layering="thermocline").sound_speed_profile(20.0)
    look = default_pass().sounder.side
    face = look.face()

    def rays(depth: float) -> float:
        return best_of(lambda: ray_table(profile, depth, 60.0, 20.0), 1)

    def beams(speed: float) -> float:
        return best_of(lambda: beam_tables(face, face, look.frequency, speed), 1)

    # a source a little deeper, water a little faster: another table
    return {
        "rays_s": min(rays(0.2 + 0.001 * n) for n in range(5)),
        "rays_again_s": min(rays(0.2) for _ in range(5)),
        "near_field_s": min(beams(1480.0 + 0.1 * n) for n in range(5)),
        "near_field_again_s": min(beams(1480.0) for _ in range(5)),
    }


def _growth() -> dict[str, Any]:
    """Exponent of time against pings × scatterers, fitted over a factor of sixteen."""
    sizes, times = [], []
    for pings in (150, 300, 600, 1200, 2400):
        channel, made, fine = _bed("side", pings)

        def work(channel: Channel = channel, made: Patches = made, fine: np.ndarray = fine) -> None:
            sum_patches(channel, made, fine, lambda a, b, f: spread_over(2, a, b, f))

        work()
        sizes.append(made.count)
        times.append(best_of(work, 4))
    exponent = float(np.polyfit(np.log(sizes), np.log(times), 1)[0])
    return {"exponent": exponent, "contributions": sizes, "seconds": times}


def _memory() -> dict[str, Any]:
    """Bytes each further Open lab session holds once it has changed everything of a pass."""
    kept: list[Any] = []  # all of them to the end, so that none stands in memory another left
    figures = _sessions(default_pass(), 6, kept)
    figures["full_session_mb"] = _sessions(full_pass(), 4, kept)["session_mb"]
    figures["school_session_mb"] = _sessions(school_pass(), 4, kept)["session_mb"]
    return figures


def _sessions(scene: Scene, count: int, kept: list[Any]) -> dict[str, Any]:
    from apps.compute import shared_runner
    from apps.payload import Packer

    process = psutil.Process()

    def open_one(change: float) -> None:
        runner = Runner(parent=shared_runner())
        changed = scene.copy()
        changed.bed.depth += change
        made = runner.run(changed)
        payload = Packer().pack(changed, made, seq=1)
        kept.append((runner, changed, made, payload))

    open_one(0.001)
    gc.collect()
    base = process.memory_info().rss
    for n in range(count):
        open_one(0.01 * (n + 1))
    gc.collect()
    each = (process.memory_info().rss - base) / count
    return {
        "session_mb": each / MEGABYTE,
        "layers_mb": kept[-1][0].kept_bytes() / MEGABYTE,
        "payload_mb": len(kept[-1][3]) / MEGABYTE,
        "base_mb": base / MEGABYTE,
    }


def _start_up() -> dict[str, Any]:
    """Seconds of ``archwise draw`` with no compiled kernels on disk, and again with them."""
    folder = Path(tempfile.mkdtemp(prefix="archwise-bench-"))
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(folder / "kernels")}
    command = [sys.executable, "-m", "apps.cli", "draw", "-o", str(folder / "pass.png")]
    plain = [sys.executable, "-c", "import numpy, scipy, numba, matplotlib.figure, param"]
    try:
        reference_s = best_of(lambda: subprocess.run(plain, check=True), 2)
        times = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run(command, check=True, env=environment, capture_output=True)
            times.append(time.perf_counter() - start)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return {
        "first_draw_s": times[0],
        "later_draw_s": min(times[1:]),
        "reference_imports_s": reference_s,
        "later_times_reference": min(times[1:]) / reference_s,
    }


def table(figures: dict[str, Any]) -> str:
    """The figures as lines to read."""
    k, p, g, m = figures["kernel"], figures["pass"], figures["growth"], figures["memory"]
    f, t = figures["full"], figures["tables"]
    lines = [
        f"kernel        {k['contributions_per_s'] / 1e6:6.0f} million contributions/s on "
        f"{k['threads']} threads, {k['numpy_ratio']:.0f} times NumPy",
        f"whole pass    {p['seconds']:6.3f} s for {p['contributions'] / 1e6:.1f} million "
        f"contributions ({p['times_reference']:.0f} times a plain sum of as many numbers)",
        f"fish moved    {1e3 * p['fish_moved_s']:6.1f} ms, bed kept",
        f"pictures      {1e3 * p['pictures_s']:6.1f} ms for levels and codes of all looks",
        f"growth        {g['exponent']:6.3f} exponent of time against contributions",
        f"full pass     {f['full_s']:6.3f} s with ten fish, weed and shadows, "
        f"{f['full_times_plain']:.2f} times the plain pass ({f['plain_s']:.3f} s); "
        f"{f['with_second_echo_times_plain']:.2f} times with the second echo, too",
        f"school of 500 {f['school_of_500_s']:6.3f} s, {f['school_times_plain']:.2f} times plain",
        f"ray table     {1e3 * t['rays_s']:6.1f} ms to build, then "
        f"{1e6 * t['rays_again_s']:.0f} µs",
        f"near field    {1e3 * t['near_field_s']:6.1f} ms to build, then "
        f"{1e6 * t['near_field_again_s']:.0f} µs",
        f"memory        {m['session_mb']:6.1f} MB a session over the base, "
        f"{m['full_session_mb']:.0f} MB with the full pass, {m['school_session_mb']:.0f} MB with "
        "the school",
    ]
    if "start" in figures:
        s = figures["start"]
        lines += [
            f"first draw    {s['first_draw_s']:6.1f} s with everything still to compile",
            f"later draws   {s['later_draw_s']:6.1f} s "
            f"({s['later_times_reference']:.1f} times bare imports)",
        ]
    return "\n".join(lines)
