"""Package data: the files of the assets folder, from a checkout, a wheel or an unpacked sdist."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath


def asset(name: str) -> Traversable:
    """A file or folder of the assets, such as ``palettes/shore.json``.

    The folder stands beside this package in a checkout, a wheel and an sdist alike, and is looked
    for there first, so that another package called ``assets`` cannot be taken for it.

    Raises
    ------
    ValueError
        When the name leaves the assets folder.
    FileNotFoundError
        When there is no such file.
    """
    parts = PurePosixPath(name).parts
    if not parts or ".." in parts or name.startswith("/") or "\\" in name:
        raise ValueError(f"An asset's name must stay inside the assets folder; you gave {name!r}.")
    beside = Path(__file__).resolve().parent.parent / "assets"
    root: Traversable = beside if beside.is_dir() else files("assets")
    found = root.joinpath(*parts)
    if not (found.is_file() or found.is_dir()):
        raise FileNotFoundError(f"The installed program has no asset {name!r}; install it again.")
    return found
