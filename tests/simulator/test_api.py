"""The public surface: names that others call, their documentation, and what importing costs."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
import subprocess
import sys
from types import ModuleType
from typing import Any

import param
import pytest

import simulator
from simulator.model import Settable


def modules() -> list[ModuleType]:
    names = [m.name for m in pkgutil.walk_packages(simulator.__path__, "simulator.")]
    return [simulator, *(importlib.import_module(name) for name in sorted(names))]


MODULES = modules()


def public_things() -> list[tuple[str, Any]]:
    """Functions and classes of our own without a leading underscore, with their public methods."""
    found = []
    for module in MODULES:
        for name, thing in vars(module).items():
            ours = getattr(thing, "__module__", None) == module.__name__
            if name.startswith("_") or not ours or not (callable(thing) or inspect.isclass(thing)):
                continue
            found.append((f"{module.__name__}.{name}", thing))
            if not inspect.isclass(thing):
                continue
            for part, held in vars(thing).items():
                bare = held.__func__ if isinstance(held, (classmethod, staticmethod)) else held
                if not part.startswith("_") and isinstance(bare, (property, type(public_things))):
                    found.append((f"{module.__name__}.{name}.{part}", bare))
    return found


THINGS = public_things()


def test_the_promised_names_are_there() -> None:
    """The surface that other programs and our own pages are written against."""
    for name in (
        "Scene", "Water", "Bed", "Fish", "Sounder", "Track", "Target", "Outline", "Look",
        "Interference", "School", "Boulder", "Timber", "Weed", "Pen", "Plate", "Housing", "Rope",
        "Float", "Ballast",
    ):  # fmt: skip
        assert issubclass(getattr(simulator, name), Settable)
    for name in simulator.__all__:
        assert hasattr(simulator, name), name
    for path in (
        "Scene.load", "Scene.save", "Scene.to_dict", "Scene.from_dict", "run", "pictures",
        "water.sound_speed", "water.absorption",
        "aperture.Disc.pattern", "aperture.Disc.beamwidth",
        "aperture.Disc.equivalent_beam_angle", "aperture.Disc.directivity_index",
        "aperture.Rectangle.pattern", "aperture.Rectangle.beamwidth",
        "aperture.Rectangle.equivalent_beam_angle", "aperture.Rectangle.directivity_index",
        "forms.Form.from_outline", "scattering.target_strength", "scattering.sphere",
        "scattering.elastic_sphere", "scattering.finite_cylinder",
        "scattering.prolate_spheroid_soft_hf", "bed.reflection", "bed.backscatter_strength",
        "plates.transmission_loss", "growth.weight",
    ):  # fmt: skip
        thing: Any = simulator
        for part in path.split("."):
            thing = getattr(thing, part)
        assert callable(thing), path
        assert (thing.__doc__ or "").strip(), path


def test_a_run_leads_to_pictures() -> None:
    """run(scene) -> Pass, its looks by name -> Echo, each beam -> Picture; side has two beams."""
    short = {"range_end": 3.0}
    sounder = {"cone": short, "fan_down": short, "side": short}
    scene = simulator.Scene.from_dict({"track": {"pings": 4}, "sounder": sounder})
    done = simulator.run(scene)
    assert isinstance(done, simulator.Pass)
    assert set(done.looks) == {"cone", "fan_down", "side"}
    assert all(isinstance(echo, simulator.Echo) for echo in done.looks.values())
    side = done.looks["side"]
    assert side.beams == (side.port, side.starboard)
    with pytest.raises(AttributeError, match="looks straight down"):
        _ = done.looks["cone"].port
    drawn = simulator.pictures(done, scene.receiver)
    assert set(drawn) == set(done.looks)
    assert all(isinstance(picture, simulator.Picture) for picture in drawn.values())


def test_strengths_are_decibels_or_complex_lengths() -> None:
    """The conventions: dB unless complex=True; reflection complex; loss never negative."""
    for call in (
        lambda **c: simulator.scattering.sphere(0.01, 200e3, kind="rigid", **c),
        lambda **c: simulator.scattering.elastic_sphere(0.01, 200e3, **c),
        lambda **c: simulator.scattering.finite_cylinder(0.01, 0.1, 200e3, **c),
        lambda **c: simulator.scattering.prolate_spheroid_soft_hf(0.1, 0.02, 200e3, **c),
    ):
        level, length = float(call()), complex(call(complex=True))
        assert level == pytest.approx(20.0 * math.log10(abs(length)), abs=1e-9)
    assert isinstance(complex(simulator.bed.reflection("rock")), complex)
    assert simulator.plates.transmission_loss("acrylic", 0.003, 200e3) >= 0.0
    assert simulator.growth.weight("perch", 0.3).kg > 0.0


@pytest.mark.parametrize(
    ("path", "names"),
    [
        ("water.sound_speed", "temperature salinity depth"),
        ("water.absorption", "frequency temperature salinity depth ph"),
        ("aperture.Disc", "diameter"),
        ("aperture.Rectangle", "length width"),
        ("aperture.Disc.pattern", "self along across frequency sound_speed"),
        ("aperture.Rectangle.pattern", "self along across frequency sound_speed"),
        ("aperture.Disc.beamwidth", "self frequency sound_speed"),
        ("forms.Form.from_outline", "body bladder"),
        ("bed.backscatter_strength", "name grazing frequency"),
        ("scattering.target_strength", "fish_or_form frequency tilt roll sound_speed density"),
        ("scattering.sphere", "radius frequency kind"),
        ("plates.transmission_loss", "material thickness frequency"),
        ("growth.weight", "species length_m"),
        ("run", "scene"),
        ("Scene.load", "path"),
        ("Scene.save", "self path"),
    ],
)
def test_arguments_have_the_promised_names(path: str, names: str) -> None:
    thing: Any = simulator
    for part in path.split("."):
        thing = getattr(thing, part)
    held = list(inspect.signature(thing).parameters)
    assert held[: len(names.split())] == names.split()


def test_defaults_are_a_lake() -> None:
    speed = inspect.signature(simulator.water.sound_speed).parameters
    taken = inspect.signature(simulator.water.absorption).parameters
    assert (speed["salinity"].default, speed["depth"].default) == (0.0, 0.0)
    assert (taken["salinity"].default, taken["depth"].default, taken["ph"].default) == (0, 0, 8.0)
    assert inspect.signature(simulator.bed.reflection).parameters["grazing"].default == 90.0


def test_enough_was_found_to_be_worth_testing() -> None:
    names = {name for name, _ in THINGS}
    assert len(names) > 80
    assert {"simulator.scene.scene.Scene.load", "simulator.kernels.receive"} <= names


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__)
def test_every_module_says_what_it_is(module: ModuleType) -> None:
    assert (module.__doc__ or "").strip()


@pytest.mark.parametrize(("name", "thing"), THINGS, ids=[name for name, _ in THINGS])
def test_every_public_thing_says_what_it_is(name: str, thing: Any) -> None:
    own = thing.__dict__.get("__doc__") if inspect.isclass(thing) else thing.__doc__
    assert own and own.strip(), f"{name} has no docstring"
    made_by_dataclass = inspect.isclass(thing) and own.startswith(f"{thing.__name__}(")
    assert not made_by_dataclass, f"{name} has no docstring of its own"


def test_every_name_a_module_offers_exists() -> None:
    for module in MODULES:
        for name in getattr(module, "__all__", ()):
            assert hasattr(module, name), f"{module.__name__}.{name}"


@pytest.mark.parametrize(
    "kind", [t for _, t in THINGS if inspect.isclass(t) and issubclass(t, Settable)]
)
def test_every_field_has_a_label(kind: type[Settable]) -> None:
    for field in kind.fields():
        parameter = kind.param[field]
        whole = isinstance(parameter, (param.ClassSelector, param.List))
        assert whole or (parameter.label and parameter.doc), field


def test_importing_it_brings_in_no_web_or_drawing_code() -> None:
    code = (
        "import sys, simulator\n"
        "held = {name.split('.')[0] for name in sys.modules}\n"
        "print(sorted(held & {'panel', 'bokeh', 'matplotlib', 'tornado', 'apps', 'lessons'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
