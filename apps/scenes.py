"""The scenes that come with the program."""

from __future__ import annotations

from functools import cache

from apps.files import asset
from simulator import Scene

# in the order a newcomer should meet them
SCENES = (
    "first-pass",
    "three-lengths",
    "shoal-over-the-basin",
    "ledge-to-port",
    "hard-and-soft",
    "weed-edge",
    "pen-blank-and-fish",
    "summer-thermocline",
)


@cache
def _text(name: str) -> str:
    return asset(f"scenes/{name}.toml").read_text(encoding="utf-8")


def built_in(name: str) -> Scene:
    """A fresh copy of a built-in scene.

    Raises
    ------
    ValueError
        When there is none of that name; the message lists them.
    """
    if name not in SCENES:
        raise ValueError(f"scene must be one of {', '.join(SCENES)}; you gave {name!r}.")
    return Scene.loads(_text(name), where=f"{name}.toml")
