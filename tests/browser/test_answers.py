"""What the server makes of values, scenes, Reset and nonsense; and to whom it answers."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from visitor import Visitor, pictures


def test_typed_values_are_bounded(lab: Visitor) -> None:
    lab.unfold()
    lab.set("track.speed", 0.85)
    assert lab.values["track.speed"] == 0.85
    assert lab.control("track.speed").input_value() == "0.85"
    lab.set("track.speed", 99)
    assert lab.values["track.speed"] == 3
    assert lab.control("track.speed.number").input_value() == "3.00"
    assert "Speed goes from 0.00 to 3.00 m/s: 3.00 was taken." in lab.status_words
    lab.set("track.speed", -5)
    assert lab.values["track.speed"] == 0
    assert lab.status == "ready", "a boat that stands still draws, too"
    lab.set("track.speed", 0.5)
    seq = lab.seq
    lab.type("track.speed", "")
    lab.answered(seq)
    assert "Speed takes a number" in lab.status_words
    assert lab.values["track.speed"] == 0.5
    assert lab.control("track.speed.number").input_value() == "0.50"


def test_a_refused_value_is_told_in_words_and_taken_back(lab: Visitor) -> None:
    lab.unfold()
    before = pictures(lab)
    lab.set("range_start", 14)
    assert lab.status == "error"
    assert re.search(
        r"must leave at least 0\.5 m of range; you gave 14 to 5\.25 m", lab.status_words
    )
    assert lab.page.get_by_role("status").is_visible()
    assert lab.values["range_start"] == 1
    assert lab.control("range_start").input_value() == "1"
    assert lab.control("range_start.number").input_value() == "1.0", "the field shows the truth"
    assert pictures(lab) == before
    lab.set("range_start", 2)
    assert lab.status == "ready"
    assert pictures(lab) != before


NONSENSE: list[Any] = [
    5, "set", None, [], {}, {"type": None}, {"type": "set"}, {"type": "set", "values": 5},
    {"type": "set", "values": {"track.speed": "fast"}, "n": 1},
    {"type": "set", "values": {"track.speed": 1e308}},
    {"type": "set", "values": {"track.speed": None}},
    {"type": "set", "values": {"no.such": 1, "__class__": 2}},
    {"type": "set", "values": {"seed": 3.5}, "n": "seven"},
    {"type": "set", "values": {"item.form": "<img src=x onerror=alert(1)>"}},
    {"type": "set", "values": {"fish.index": 40}, "n": -4},
    {"type": "scene", "id": "../../etc/passwd"}, {"type": "scene", "id": {"a": [1]}},
    {"type": "reset", "id": "x" * 20000},
]  # fmt: skip


def test_nonsense_is_answered_in_words_or_ignored(lab: Visitor) -> None:
    lab.unfold()
    said = set()
    for message in NONSENSE:
        lab.js("void state.model.send_msg(arg)", message)
        lab.page.wait_for_timeout(60)
        said.add(lab.status_words)
    # not-a-number and endless cannot pass as JSON, but the page could still send them
    lab.js(
        'void state.model.send_msg({ type: "set", values: { "track.speed": NaN, seed: Infinity } })'
    )
    lab.page.wait_for_timeout(300)
    assert any("must be a number from 0 to 3 m/s" in words for words in said), said
    assert any("Form must be one of" in words for words in said), said
    assert any("Scene must be one of" in words for words in said), said
    assert lab.root.locator("img").count() == 0, "nothing of it becomes markup"
    seq = lab.seq
    lab.type("track.speed", "0.9")
    lab.until(f"(root) => Number(root.dataset.seq) > {seq} && root.dataset.status === 'ready'")
    assert lab.values["track.speed"] == 0.9
    assert lab.header["dx"] * 20 == pytest.approx(0.9)


def test_scenes_and_reset(lab: Visitor) -> None:
    scenes = lab.js("state.schema.scenes")
    assert len(scenes) >= 4
    seen = {str(pictures(lab))}
    for scene in [*scenes[1:], scenes[0]]:
        seq = lab.seq
        lab.control("scene").select_option(value=scene["id"])
        lab.answered(seq)
        assert lab.status == "ready", lab.status_words
        assert lab.page.locator("h1").inner_text() == scene["title"]
        assert lab.page.locator(".lookfor").inner_text() == scene["look_for"]
        assert lab.control("scene").input_value() == scene["id"]
        seen.add(str(pictures(lab)))
    assert len(seen) == len(scenes)
    first = pictures(lab)
    lab.set("track.speed", 1.4)
    lab.set("item.depth", 3.3)
    assert pictures(lab) != first
    lab.type("receiver.gain", "40")
    lab.control("receiver.palette").select_option(label="Slate")
    seq = lab.seq
    lab.page.get_by_role("button", name="Reset").click()
    lab.answered(seq)
    assert pictures(lab) == first
    assert lab.values["track.speed"] == 0.6 and lab.values["item.depth"] == 2.6
    assert lab.control("track.speed.number").input_value() == "0.60"
    assert lab.js("state.display.gain") == 22, "the scene's own gain"
    assert lab.js("state.display.palette") == "Shore"
    assert lab.js("state.run.mode") == "whole", "Reset never starts the run"


def test_reset_takes_back_what_never_left_the_browser(visit: Callable[..., Visitor]) -> None:
    lab = visit(color_scheme="dark")
    before = lab.picture("cone")
    lab.type("receiver.gain", "40")
    lab.control("receiver.palette").select_option(label="Slate")
    lab.painted()
    assert not np.array_equal(lab.picture("cone"), before)
    lab.page.get_by_role("button", name="Reset").click()
    lab.settle()
    lab.painted()
    assert lab.control("receiver.gain.number").input_value() == "22"
    assert np.array_equal(lab.picture("cone"), before), "in the theme's palette again"
    lab.type("receiver.gain", "35")
    lab.set("track.speed", 0.7)
    assert lab.js("state.display.gain") == 35, "a later answer does not take it back again"


def test_two_visitors_do_not_see_each_other_s_changes(visit: Callable[..., Visitor]) -> None:
    ann, ben = visit(), visit(locale="en-GB")  # two browsers, as it were
    ann.unfold()
    before, seq = pictures(ben), ben.seq
    ann.set("track.speed", 1.5)
    ann.set("bed.depth", 6.0)
    ben.page.wait_for_timeout(400)
    assert pictures(ben) == before and ben.seq == seq
    assert ben.values["track.speed"] == 0.6 and ben.values["bed.depth"] == 4.2
    kept = pictures(ann)
    ben.set("track.speed", 0.3)
    # neither sees the other's values when the server tells all of his own again
    assert ben.values["track.speed"] == 0.3 and ben.values["bed.depth"] == 4.2
    assert ann.values["track.speed"] == 1.5 and pictures(ann) == kept
    ann.set("item.depth", 3.0)
    assert ann.values["track.speed"] == 1.5 and ann.values["bed.depth"] == 6.0
