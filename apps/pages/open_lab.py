"""The Open lab: what the browser asks, what the engine answers."""

from __future__ import annotations

import contextlib
import logging
from typing import Any

import panel as pn

from apps.compute import Answer, Desk, warm
from apps.payload import Packer
from apps.session import LabSession, schema
from apps.widgets.lab import LabView, palette_tables
from simulator import SettingError

WARMING = {
    "state": "warming",
    "text": "first start: compiling the echo engine, about half a minute",
}
BUSY = {"state": "busy", "text": "drawing…"}
log = logging.getLogger("archwise")


class OpenLab:
    """One visitor's Open lab: session, engine desk and browser component."""

    def __init__(self) -> None:
        self.session = LabSession()
        self.packer = Packer()
        self.desk = Desk(self._answered)
        self.number = 0
        self.heard = 0
        self._doc = pn.state.curdoc
        self.view = LabView(
            self._message,
            schema={**schema(), "palettes": palette_tables()},
            values=self.session.values(),
            status=BUSY if warm.ready.is_set() else WARMING,
            sizing_mode="stretch_width",
        )
        self._ask()

    def close(self) -> None:
        """The visitor has gone."""
        self.desk.close()

    def _ask(self) -> None:
        self.number += 1
        self.desk.ask(self.number, self.session.scene.copy())

    def _message(self, data: dict[str, Any]) -> None:
        """One message from the browser; nothing in it is trusted."""
        error = ""
        try:
            kind = data.get("type")
            if kind == "set" and isinstance(data.get("values"), dict):
                number = data.get("n")
                self.heard = number if isinstance(number, int) else self.heard
                self.session.set(data["values"])
            elif kind == "scene":
                self.session.open(str(data.get("id")))
            elif kind == "reset":
                self.session.open(self.session.scene_id)
        except (SettingError, ValueError) as problem:
            error = str(problem)
        self._show(error)
        self._ask()

    def _show(self, error: str = "") -> None:
        values = {**self.session.values(), "_n": self.heard}
        if error:
            status = {"state": "error", "text": error}
        else:
            status = BUSY if warm.ready.is_set() else WARMING
        self.view.param.update(values=values, status=status)
        self._error = error

    def _answered(self, answer: Answer) -> None:
        """From a worker thread: pack there, hand over on the visitor's own document."""
        payload = None
        if answer.made is not None:
            payload = self.packer.pack(answer.scene, answer.made, seq=answer.number, n=self.heard)

        def hand_over() -> None:
            if payload is None:
                self.view.status = {"state": "error", "text": answer.error}
                return
            refused = getattr(self, "_error", "")
            status = {"state": "error" if refused else "ready", "text": refused or answer.note}
            self.view.param.update(payload=payload, status=status)

        with contextlib.suppress(Exception):
            self._doc.add_next_tick_callback(hand_over)


def open_lab() -> LabView:
    """Build the page for a new visitor."""
    lab = OpenLab()
    pn.state.on_session_destroyed(lambda context: lab.close())
    return lab.view
