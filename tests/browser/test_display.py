"""Display settings act in the browser alone: other pixels, no message, no new picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from visitor import TALL, Visitor, agrees

CHANGES: list[tuple[str, Any]] = [
    ("gain", 34),
    ("decibels_shown", 30),
    ("palette", "Slate"),
    ("palette", "Lantern"),
    ("steps", "8 steps"),
    ("range_compensation", "20 log r"),
    ("range_compensation", "none"),
]


def change(lab: Visitor, setting: str, value: Any) -> None:
    name = f"receiver.{setting}"
    if isinstance(value, str):
        lab.control(name).select_option(label=value)
    else:
        lab.type(name, str(value))
    lab.painted()


def test_each_setting_changes_pixels_and_sends_nothing(visit: Callable[..., Visitor]) -> None:
    lab = visit(viewport=TALL)
    lab.unfold()
    before, sent, seq = lab.picture("cone"), len(lab.frames), lab.seq
    scale = lab.canvas("page.scaleCanvas")
    for setting, value in CHANGES:
        change(lab, setting, value)
        after = lab.picture("cone")
        assert np.mean(np.any(after != before, axis=-1)) > 0.02, setting
        for name in ("cone", "fan_down"):
            assert np.all(agrees(lab, name)), (setting, value, name)
        before = after
    assert not np.array_equal(lab.canvas("page.scaleCanvas"), scale)
    lab.page.wait_for_timeout(500)
    assert len(lab.frames) == sent
    assert lab.seq == seq


def test_eight_steps_are_eight_colours(visit: Callable[..., Visitor]) -> None:
    lab = visit(viewport=TALL)
    lab.unfold()
    assert len(np.unique(lab.picture("cone").reshape(-1, 3), axis=0)) > 60
    change(lab, "steps", "8 steps")
    assert 4 <= len(np.unique(lab.picture("cone").reshape(-1, 3), axis=0)) <= 8


def test_gain_answers_at_once(lab: Visitor) -> None:
    """A repaint of all three looks in under 50 ms; the best of ten, for the machines are shared."""
    slider = lab.control("receiver.gain")
    slider.focus()
    took = []
    for _ in range(10):
        slider.press("ArrowRight")
        lab.painted()
        took.append(float(lab.js("root.dataset.drawMs")))
    assert lab.js("state.display.gain") == 32
    assert min(took) < 50.0, took


def test_the_theme_button_turns_page_and_palette(lab: Visitor) -> None:
    def paper() -> float:
        return float(np.median(lab.seen(lab.root)))

    assert paper() > 0.9
    lab.page.get_by_role("button", name="Dark theme").click()
    lab.painted()
    assert paper() < 0.25
    assert lab.js("state.display.palette") == "Lantern"
    assert lab.control("receiver.palette").evaluate("(e) => e.selectedOptions[0].text") == "Lantern"
    lab.control("receiver.palette").select_option(label="Slate")
    lab.page.get_by_role("button", name="Light theme").click()
    lab.painted()
    assert paper() > 0.9
    assert lab.js("state.display.palette") == "Slate", "a palette somebody chose stays"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_opens_in_the_system_s_theme(visit: Callable[..., Visitor], scheme: str) -> None:
    lab = visit(color_scheme=scheme)
    assert lab.js("root.dataset.theme") == scheme
    paper = float(np.median(lab.seen(lab.root)))
    assert paper > 0.9 if scheme == "light" else paper < 0.25
