"""The Open lab: what the browser asks, what the engine answers."""

from __future__ import annotations

import contextlib
import logging
from typing import Any

import panel as pn

from apps.compute import Answer, Desk, warm
from apps.controls import schema
from apps.drawing import buried
from apps.payload import Packer
from apps.session import LabSession
from apps.widgets.lab import LabView, palette_tables
from simulator import SettingError

WARMING = {
    "state": "warming",
    "text": "first start: compiling the echo engine, about half a minute",
}
BUSY = {"state": "busy", "text": "drawing…"}
LARGEST_NUMBER = 2**53  # beyond it a browser no longer counts in ones
log = logging.getLogger("archwise")


class OpenLab:
    """One visitor's Open lab: session, engine desk and browser component.

    doc: the visitor's document, on whose own turn answers are handed over; None hands them over
    as they come.
    """

    def __init__(self, doc: Any = None) -> None:
        self.session = LabSession()
        self.packer = Packer()
        self.desk = Desk(self._answered)
        self.number = 0
        self.heard = 0
        self.refused = ""
        self._doc = doc
        self.view = LabView(
            self._message,
            schema={**schema(), "palettes": palette_tables()},
            values=self.session.values(),
            status=BUSY if warm.ready.is_set() else WARMING,
            sizing_mode="stretch_width",
        )
        if doc is None:
            self.start()

    def start(self) -> None:
        """Ask for the first pass; to be called once the visitor's page stands."""
        self._ask()

    def start_at_once(self) -> None:
        """Compute the first pass here and now, so that the page arrives with it.

        For the built-in scene, whose layers are kept, this takes some tens of milliseconds.
        """
        self.number += 1
        answer = self.desk.answer(self.number, self.session.scene.copy())
        if answer is not None:
            self._hand_over(answer.number, *self._packed(answer))

    def close(self) -> None:
        """The visitor has gone."""
        self.desk.close()

    def _ask(self) -> None:
        self.number += 1
        self.desk.ask(self.number, self.session.scene.copy())

    def _message(self, data: dict[str, Any]) -> None:
        """One message from the browser; nothing in it is trusted."""
        kind, values, number = data.get("type"), data.get("values"), data.get("n")
        self.refused = ""
        try:
            if kind == "set" and isinstance(values, dict):
                if type(number) is int and 0 <= number <= LARGEST_NUMBER:
                    self.heard = number
                self.session.set(values)
            elif kind == "scene":
                self.session.open(data.get("id"))
            elif kind == "reset":
                self.session.open(self.session.scene_id)
            else:
                return
        except SettingError as problem:
            self.refused = str(problem)
        self._show()
        self._ask()

    def _show(self) -> None:
        status = BUSY if warm.ready.is_set() else WARMING
        if self.refused:
            status = {"state": "error", "text": self.refused}
        self.view.param.update(values={**self.session.values(), "_n": self.heard}, status=status)

    def _answered(self, answer: Answer) -> None:
        """From a worker thread: pack there, hand over on the visitor's own document."""
        packed = self._packed(answer)
        if self._doc is None:
            self._hand_over(answer.number, *packed)
            return
        with contextlib.suppress(Exception):  # the visitor may have gone meanwhile
            self._doc.add_next_tick_callback(lambda: self._hand_over(answer.number, *packed))

    def _packed(self, answer: Answer) -> tuple[bytes | None, str]:
        """The payload of an answer, and words: an error without a payload, else a note."""
        if answer.made is None:
            return None, answer.error
        try:
            payload = self.packer.pack(answer.scene, answer.made, seq=answer.number)
            return payload, answer.note or buried(answer.scene)
        except Exception:
            log.exception("a pass could not be packed")
            return (
                None,
                "The picture of this pass could not be sent; the last one stays. Try Reset.",
            )

    def _hand_over(self, number: int, payload: bytes | None, words: str) -> None:
        waiting = number < self.number  # something newer has been asked for meanwhile
        if payload is None:
            if not waiting:
                self.view.status = {"state": "error", "text": words}
            return
        status = {"state": "error" if self.refused else "ready", "text": self.refused or words}
        if waiting and not self.refused:
            status = BUSY
        self.view.param.update(payload=payload, status=status)


def open_lab() -> LabView:
    """Build the page for a new visitor."""
    lab = OpenLab(pn.state.curdoc)
    pn.state.on_session_destroyed(lambda context: lab.close())
    if warm.ready.is_set():
        lab.start_at_once()
    else:
        # an answer from another thread must not meet a document that is still being made
        pn.state.onload(lab.start)
    return lab.view
