"""The Open lab as one browser component: plots and controls share one state in the browser.

Python hands over ``payload`` (a packed pass), ``values`` and ``status``; the browser sends back
messages. Gain, palette, axis, run and cursor never leave the browser.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import param
from panel.custom import JSComponent

from apps.palettes import palette, palette_names

PARTS = ("state", "colour", "axis", "lake", "echogram", "trace", "controls", "lab")


def _script() -> str:
    folder = files("apps.widgets") / "js"
    return "\n".join((folder / f"{part}.js").read_text(encoding="utf-8") for part in PARTS)


def _style() -> str:
    return (files("apps.widgets") / "lab.css").read_text(encoding="utf-8")


def palette_tables() -> dict[str, str]:
    """Each palette's 256 colours as base64 of 768 bytes."""
    return {n: base64.b64encode(palette(n).tobytes()).decode() for n in palette_names()}


class LabView(JSComponent):
    """The page's browser half; ``on_message`` is called with each message it sends."""

    payload = param.Bytes(default=b"", doc="A packed pass, see apps/payload.py.")
    schema = param.Dict(default={}, doc="Groups of controls, scenes, palettes.")
    values = param.Dict(default={}, doc="Every control's value, as the server holds it.")
    status = param.Dict(default={}, doc="state and text.")

    _esm = _script()
    _stylesheets = [_style()]  # noqa: RUF012 - panel's own protocol

    def __init__(self, on_message: Callable[[dict[str, Any]], None], **params: Any) -> None:
        super().__init__(**params)
        self._on_message = on_message

    def _handle_msg(self, data: Any) -> None:
        if isinstance(data, dict):
            self._on_message(data)
