"""The bench measures what it says: every figure is there, positive, and agrees with the others."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from apps import cli
from apps.bench import best_of, default_pass, table


def numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [n for v in value.values() for n in numbers(v)]
    if isinstance(value, list):
        return [n for v in value for n in numbers(v)]
    return [value]


def test_the_default_pass_is_the_one_the_budgets_speak_of() -> None:
    scene = default_pass()
    track = scene.track
    assert track.pings == 600
    assert track.pings * track.speed / track.ping_rate == pytest.approx(30.0)
    assert set(scene.sounder.looks()) == {"cone", "fan_down", "side"}
    assert {look.pulse_length for look in scene.sounder.looks().values()} == {1e-4}
    assert scene.sounder.side.range_end == 15.0


def test_the_best_of_several_runs_is_the_shortest() -> None:
    calls = []
    assert 0.0 <= best_of(lambda: calls.append(1), 3) < 1.0
    assert len(calls) == 3


@pytest.mark.slow
def test_bench_measures_everything(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["bench", "--quick", "--json"]) == 0
    out, err = capsys.readouterr()
    figures = json.loads(out)
    assert "measuring" in err
    kernel, whole, memory = figures["kernel"], figures["pass"], figures["memory"]
    assert {"contributions_per_s", "numpy_ratio", "threads"} <= set(kernel)
    assert all(isinstance(n, (int, float)) and math.isfinite(n) for n in numbers(figures))
    assert all(n > 0 for n in numbers({"kernel": kernel, "pass": whole}))
    assert kernel["threads"] == 2
    assert kernel["numpy_ratio"] == pytest.approx(
        kernel["contributions_per_s"] / kernel["numpy_contributions_per_s"]
    )
    assert set(kernel["looks"]) == {"cone", "fan_down", "side"}
    # the budget is 20 times NumPy on a quiet machine; a busy one halves what two threads do
    assert kernel["numpy_ratio"] >= 8.0
    assert whole["fish_moved_s"] < 0.5 * whole["seconds"]
    # the kernel is timed on one side of the side look; the pass has both, a little fish, and the
    # second echo on a coarser lattice
    beds = [kernel["looks"][name]["contributions"] for name in ("cone", "fan_down", "side", "side")]
    assert 1.0 <= whole["contributions"] / sum(beds) < 1.35
    sizes = figures["growth"]["contributions"]
    assert sizes[-1] / sizes[0] == pytest.approx(16.0, rel=0.05)
    assert 0.5 < figures["growth"]["exponent"] < 1.5
    assert 0.0 < memory["session_mb"] <= 60.0
    text = table(figures)
    full, tables = figures["full"], figures["tables"]
    assert full["full_times_plain"] == pytest.approx(full["full_s"] / full["plain_s"])
    assert tables["rays_again_s"] < 0.1 * tables["rays_s"]
    assert tables["near_field_again_s"] < 0.1 * tables["near_field_s"]
    assert max(memory["full_session_mb"], memory["school_session_mb"]) <= 150.0
    for word in ("kernel", "whole pass", "full pass", "school", "fish moved", "growth", "memory"):
        assert word in text
