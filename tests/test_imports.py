"""Which module may import which: the arrows of DEVELOPERS.md, read from the source itself."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
OURS = ("simulator", "lessons", "apps")
LONGEST = 400  # lines of a module
LONGER = {"simulator/kernels.py": 1500}  # all numba in one file, so that its cache is right

# Parts of a package from the ground up. A module may import its own part's lower neighbours and
# anything of a lower level; parts of one level keep apart unless said so below.
SIMULATOR: list[set[str]] = [
    {"model", "tables", "kernels", "water", "aperture", "bed", "bed_scatter", "forms",
     "individuals", "scattering", "targets", "regressions", "growth", "plates"},
    {"scene", "sounder"},
    {"rays"},
    {"scatterers"},
    {"echo", "reference"},
    {"picture", "validity"},
    {"why", "measure"},
    {"trial"},
    {"plan"},
]  # fmt: skip
BASE = SIMULATOR[0]
BESIDE = {("scene", "sounder")}  # a scene holds a sounder
APPS: list[set[str]] = [{"controls"}, {"session"}, {"compute"}, {"views"}, {"pages"}, {"serve"}]
KERNELS_MAY = {"__future__", "math", "warnings", "typing", "numpy", "numba"}
SCREEN = {"panel", "bokeh", "matplotlib", "panel_material_ui", "tornado"}


def sources() -> list[Path]:
    return sorted(p for top in OURS for p in (ROOT / top).rglob("*.py") if p.is_file())


def dotted(path: Path) -> str:
    parts = list(path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(text: str, module: str, is_package: bool = False) -> Iterator[tuple[int, str]]:
    """Line and full dotted name of everything a module imports, at any depth.

    ``from a import b`` gives a.b: b may be a module.
    """
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                up = module.split(".")
                up = up[: len(up) - node.level + (1 if is_package else 0)]
                base = ".".join([*up, base] if base else up)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)


def part_of(name: str, package: str) -> str:
    """The part of a package a dotted name belongs to; empty for the package itself."""
    bits = name.split(".")
    return bits[1] if len(bits) > 1 and bits[0] == package else ""


def level_of(part: str, levels: list[set[str]]) -> int | None:
    return next((n for n, parts in enumerate(levels) if part in parts), None)


def complaint(module: str, name: str) -> str:
    """Why a module may not import a name; empty when it may."""
    package, top = module.partition(".")[0], name.partition(".")[0]
    if top in SCREEN and package != "apps":
        return "only apps may import drawing and web code"
    if top == "numba" and module != "simulator.kernels":
        return "numba belongs in simulator/kernels.py alone"
    if module == "simulator.kernels" and top not in KERNELS_MAY:
        return "kernels.py may import only " + ", ".join(sorted(KERNELS_MAY - {"__future__"}))
    if top in OURS and OURS.index(top) > OURS.index(package):
        return "arrows are apps -> lessons -> simulator"
    if top in ("tests", "assets") and package != "apps":
        return "nothing but apps reads assets, and nothing imports tests"
    if top != package:
        return ""
    levels = {"simulator": SIMULATOR, "apps": APPS}.get(package, [])
    return _within(part_of(module, package), part_of(name, package), levels, package)


def _within(here: str, there: str, levels: list[set[str]], package: str) -> str:
    if not here or here == there:
        return ""
    mine, other = level_of(here, levels), level_of(there, levels)
    if mine is None or other is None:
        if package == "simulator" and there and mine is None:
            return f"{here} has no place in the order: give it one in tests/test_imports.py"
        return ""
    if other < mine or (here, there) in BESIDE:
        return ""
    if package == "simulator" and mine == other == 0:
        return ""
    return f"{here} must not know {there}: it stands {'beside' if mine == other else 'above'} it"


def test_there_is_something_to_read() -> None:
    names = {dotted(p) for p in sources()}
    assert {"simulator", "simulator.kernels", "simulator.scene.scene", "simulator.echo"} <= names


@pytest.mark.parametrize("path", sources(), ids=dotted)
def test_imports_follow_the_arrows(path: Path) -> None:
    module = dotted(path)
    wrong = []
    found = imports(path.read_text(encoding="utf-8"), module, path.name == "__init__.py")
    for line, name in found:
        why = complaint(module, name)
        if why:
            wrong.append(f"{path.relative_to(ROOT)}:{line} imports {name}: {why}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("path", sources(), ids=dotted)
def test_modules_are_short_enough_to_read(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    where = path.relative_to(ROOT)
    most = LONGER.get(where.as_posix(), LONGEST)
    assert lines <= most, f"{where} has {lines} lines; split it so that none exceeds {most}"


@pytest.mark.parametrize("path", sorted((ROOT / "simulator").glob("*")), ids=lambda p: p.name)
def test_every_part_of_the_simulator_has_a_place_in_the_order(path: Path) -> None:
    if path.name.startswith("__") or (path.is_file() and path.suffix != ".py"):
        return
    known = set().union(*SIMULATOR)
    assert path.stem in known, f"give {path.name} a place in the order in tests/test_imports.py"


# The rules themselves: each must speak up, or the tests above would pass on anything.
@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("simulator.echo", "import panel as pn"),
        ("simulator.bed", "from matplotlib import pyplot"),
        ("lessons.lesson", "def f():\n    from bokeh.models import Div"),
        ("simulator.scatterers", "from numba import njit"),
        ("apps.compute", "import numba"),
        ("simulator.kernels", "import scipy"),
        ("simulator.kernels", "from simulator.water import sound_speed"),
        ("simulator.scene.scene", "from apps import session"),
        ("simulator.water", "import lessons.lesson"),
        ("lessons.lesson", "from apps.compute import run"),
        ("simulator.water", "from simulator.scene import Water"),
        ("simulator.sounder.look", "from simulator.scene.water import Water"),
        ("simulator.echo", "from simulator import picture"),
        ("simulator.picture", "from simulator.why import explain"),
        ("simulator.why", "from simulator.measure import measure"),
        ("simulator.measure", "from simulator import trial"),
        ("simulator.scatterers", "from . import echo"),
        ("simulator.scene.scene", "from ..echo import run"),
        ("apps.session", "from apps.compute import run"),
        ("apps.views.lake", "from apps.pages import home"),
        ("simulator.model", "import tests.test_imports"),
        ("simulator.newcomer", "from simulator.model import Settable"),
    ],
)
def test_a_wrong_arrow_is_noticed(module: str, text: str) -> None:
    assert any(complaint(module, name) for _, name in imports(text, module))


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("simulator.scene.scene", "from simulator.sounder.look import Sounder"),
        ("simulator.scattering", "from simulator.forms import Form"),
        ("simulator.scene.scene", "from .fish import Fish"),
        ("simulator.echo", "from simulator import kernels, scatterers"),
        ("simulator.kernels", "from numba import njit"),
        ("apps.views.lake", "import panel as pn\nfrom apps.session import Session"),
        ("lessons.lesson", "from simulator import Scene"),
        ("apps.figures", "import matplotlib"),
    ],
)
def test_a_right_arrow_passes(module: str, text: str) -> None:
    assert not [why for _, name in imports(text, module) if (why := complaint(module, name))]
