"""Kernels: one compiled signature each, nothing raised, nothing drawn, nothing allocated."""

from __future__ import annotations

import ast
import inspect
import json
import subprocess
import sys

import numpy as np
import pytest

from simulator import Bed, Fish, Look, Outline, Runner, Scene, Sounder, Target, Track, kernels

COMPILED = sorted(n for n, v in vars(kernels).items() if hasattr(v, "signatures") and n[0] != "_")
SOURCE = inspect.getsource(kernels)
FUNCTIONS = {n.name: n for n in ast.parse(SOURCE).body if isinstance(n, ast.FunctionDef)}
JITTED = {n: f for n, f in FUNCTIONS.items() if f.decorator_list}

# Run in a process of its own, so that what other tests called does not count: discs and rectangles,
# level, sloping, soft and uneven beds, fish with and without gas, every thing there is, still and
# layered water, waves, one thread and several, every look.
VARIED = """
import json, sys
from simulator import *
from simulator import kernels
short = dict(pings=6, ping_rate=20)
fish = [Fish(form=f, length=0.3, depth=2.0, tilt=5.0 * n) for n, f in enumerate(("perch", "eel", "bullhead"))]
targets = [Target(strength=-40, depth=2.5), Target(strength=-40, depth=2.5, x=3, y=-2)]
scenes = [
    Scene(track=Track(**short)),
    Scene(track=Track(**short), fish=fish, targets=targets, seed=3),
    Scene(track=Track(speed=0.0, **short), fish=fish[:1], bed=Bed(depth=3, slope_along=8, slope_across=-9, sediment="rock")),
    Scene(
        track=Track(**short), targets=targets, water={"temperature": 4, "salinity": 3},
        sounder=Sounder(
            cone=Look(aperture="rectangle", length=0.05, width=0.02, range_start=1, range_end=5, bandwidth_factor=4),
            side=Look(aperture="disc", diameter=0.03, depression=30, pulse_length=3e-4, range_end=9),
            assumed_sound_speed=1500,
        ),
    ),
    Scene(
        track=Track(pings=6, ping_rate=60, roll=5, pitch=3, heave=0.1), fish=fish, targets=targets,
        bed=Bed(depth=4, relief="hump", relief_height=1.5, soft_thickness=0.2),
        schools=[School(count=5, depth=2.5, speed=0.3)], boulders=[Boulder(y=1.0)], timber=[Timber(y=2.0)],
        weed=[Weed(y=-2.0)], pens=[Pen(y=3.0, walls="thin sheet", frame=0.03, trapped_air="bubbles"), Pen(y=-4.0)],
        plates=[Plate(tilt=10.0)], housings=[Housing(depth=2.0)], ropes=[Rope(y=1.0, end_y=1.0)],
        floats=[Float(depth=1.0)], ballast=[Ballast(x=0.3)],
    ),
    Scene(
        track=Track(**short), fish=[Fish(form="carp", length=0.4, depth=3, motion="swimming", speed=0.5)], targets=targets,
        water={"layering": "thermocline", "thermocline_depth": 1.5, "thermocline_thickness": 1.0},
        bed=Bed(depth=4, relief="ledge", relief_heading=90, relief_y=3, relief_height=-1.5), timber=[Timber(y=2.0)],
        sounder=Sounder(cone=Look(pulse_kind="chirp", pulse_length=5e-4), interference={"present": True}),
    ),
]
for threads in (1, 2):
    for scene in scenes:
        Runner(threads=threads).run(scene)
names = sys.argv[1].split(",")
print(json.dumps({n: [str(s) for s in getattr(kernels, n).signatures] for n in names}))
"""  # noqa: E501 - a program of its own


def test_each_kernel_is_compiled_once_whatever_the_scene() -> None:
    done = subprocess.run(
        [sys.executable, "-c", VARIED, ",".join(COMPILED)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    signatures = json.loads(done.stdout)
    assert sorted(signatures) == COMPILED
    many = {n: s for n, s in signatures.items() if len(s) != 1}
    assert not many, "\n".join(f"{n}: {' | '.join(s) or 'never called'}" for n, s in many.items())


def test_the_kernels_are_those_expected() -> None:
    expected = {
        "facets", "fish", "hidden", "lattice", "mirrors", "noise", "patches_again", "patches_disc",
        "patches_fan", "points", "receive", "shades", "swaying",
    }  # fmt: skip
    assert expected <= set(COMPILED)
    assert set(COMPILED) <= set(JITTED)


@pytest.mark.parametrize("name", sorted(JITTED))
def test_a_kernel_never_raises_draws_allocates_or_prints(name: str) -> None:
    """By its source: no raise, assert, try, with or print, and of numpy only number types, floor
    and scratch that is not handed back, so no result is made and no random state touched."""
    banned = (ast.Raise, ast.Assert, ast.Try, ast.With, ast.Yield, ast.Global, ast.Lambda)
    harmless = {"float32", "float64", "complex64", "int32", "int64", "uint32", "uint64", "floor"}
    if not [n for n in ast.walk(JITTED[name]) if isinstance(n, ast.Return) and n.value]:
        harmless.add("empty")
    wrong = []
    for node in ast.walk(JITTED[name]):
        if isinstance(node, banned):
            wrong.append(f"line {node.lineno}: {type(node).__name__}")
        if isinstance(node, ast.Name) and node.id in ("print", "open", "list", "dict", "set"):
            wrong.append(f"line {node.lineno}: {node.id}")
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "np":
            wrong += [] if node.attr in harmless else [f"line {node.lineno}: np.{node.attr}"]
        if isinstance(node, (ast.List, ast.Dict, ast.Set, ast.ListComp, ast.GeneratorExp)):
            wrong.append(f"line {node.lineno}: a container is made")
    assert not wrong, f"{name}: " + "; ".join(wrong)


@pytest.mark.parametrize("name", COMPILED)
def test_a_kernel_lets_other_threads_run_and_is_kept_on_disk(name: str) -> None:
    options = getattr(kernels, name).targetoptions
    assert options.get("nogil") is True
    assert options.get("error_model") == "numpy", "division by zero would raise"
    assert not options.get("parallel"), "two Python threads entering it would end the process"
    assert options.get("fastmath") is not True
    assert "nnan" not in (options.get("fastmath") or ())


def test_kernels_use_no_constant_of_another_file() -> None:
    """The on-disk cache would not notice it changing."""
    modules = {v.__name__.split(".")[0] for v in vars(kernels).values() if inspect.ismodule(v)}
    assert modules <= {"math", "numpy", "warnings"}


HOSTILE = {
    "target at the transducer": Scene(
        track=Track(pings=3, draft=0.2, speed=0.0), targets=[Target(depth=0.2, strength=-40.0)]
    ),
    "fish around the transducer": Scene(
        track=Track(pings=3, draft=0.2, speed=0.0), fish=[Fish(length=2.0, depth=0.2)]
    ),
    "bed just under the transducer": Scene(
        track=Track(pings=3, draft=0.5, speed=0.0), bed=Bed(depth=0.65, slope_along=45.0)
    ),
    "fish of no thickness": Scene(
        track=Track(pings=3),
        outlines=[Outline(title="flat", body=[[-0.01 * n, 0.0, 0.0, 0.0] for n in range(8)])],
        fish=[Fish(form="flat", length=0.5, depth=2.0)],
    ),
    "beyond the picture": Scene(
        track=Track(pings=3),
        targets=[Target(depth=100.0, x=500.0, y=100.0)],
        fish=[Fish(length=0.01, depth=100.0, x=-500.0)],
        sounder=Sounder(cone=Look(range_end=0.5), side=Look(shown=False)),
    ),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_odd_scenes_give_finite_echoes(case: str) -> None:
    made = Runner(threads=1).run(HOSTILE[case])
    for echo in made.looks.values():
        for beam in echo.beams:
            assert np.all(np.isfinite(beam.total())), f"{case}, {echo.look} {beam.side}"
