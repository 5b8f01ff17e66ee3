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

from simulator import Runner, Scene, pictures, reference
from simulator.echo import spread_over, sum_patches
from simulator.scatterers import Channel, Patches, make_channels, make_patches

MEGABYTE = 2.0**20


def default_pass() -> Scene:
    """The pass the budgets speak of: 30 m line, 600 pings, 0.1 ms, three looks, 15 m a side."""
    return Scene.from_dict(
        {
            "fish": [{"form": "perch", "length": 0.3, "depth": 3.5}],
            "track": {"speed": 1.0, "ping_rate": 20.0, "pings": 600},
        }
    )


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
    """Bytes each further Open lab session holds once its first pass has been drawn."""
    from apps.compute import shared_runner
    from apps.payload import Packer

    process = psutil.Process()
    scene = default_pass()
    kept = []

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
    count = 6
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
    lines = [
        f"kernel        {k['contributions_per_s'] / 1e6:6.0f} million contributions/s on "
        f"{k['threads']} threads, {k['numpy_ratio']:.0f} times NumPy",
        f"whole pass    {p['seconds']:6.3f} s for {p['contributions'] / 1e6:.1f} million "
        f"contributions ({p['times_reference']:.0f} times a plain sum of as many numbers)",
        f"fish moved    {1e3 * p['fish_moved_s']:6.1f} ms, bed kept",
        f"pictures      {1e3 * p['pictures_s']:6.1f} ms for levels and codes of all looks",
        f"growth        {g['exponent']:6.3f} exponent of time against contributions",
        f"memory        {m['session_mb']:6.1f} MB a session over the base",
    ]
    if "start" in figures:
        s = figures["start"]
        lines += [
            f"first draw    {s['first_draw_s']:6.1f} s with everything still to compile",
            f"later draws   {s['later_draw_s']:6.1f} s "
            f"({s['later_times_reference']:.1f} times bare imports)",
        ]
    return "\n".join(lines)
