"""Everything that asks the server: each setting, the scenes, Reset, and what is refused."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from visitor import Visitor

# settings after which at least one look must be another picture
CHANGE_PICTURES = {
    "track.speed", "track.ping_rate", "track.pings", "track.offset", "cone.beam", "cone.frequency",
    "pulse", "range_start", "range_end", "swath", "noise", "item.form", "item.length", "item.tilt",
    "item.depth", "item.strength", "item.x", "item.y", "item.heading", "bed.depth", "bed.sediment",
    "bed.slope_along", "bed.slope_across", "water.temperature", "seed",
}  # fmt: skip


def pictures(lab: Visitor) -> list[list[int]]:
    """Of each look the number of cells and a checksum of them."""
    return list(
        lab.root.evaluate(
            """(root) => [...root.archwise.state.looks.values()].map(({ codes }) => {
            let sum = 2166136261; // FNV-1a
            for (const code of codes) sum = Math.imul(sum ^ code, 16777619);
            return [codes.length, sum]; })"""
        )
    )


def press(lab: Visitor, control: dict[str, Any]) -> None:
    """One step by keyboard, towards the side with more room."""
    name, before, seq = control["id"], lab.values[control["id"]], lab.seq
    up = before - control["min"] < control["max"] - before
    lab.control(name).focus()
    lab.page.keyboard.press("ArrowRight" if up else "ArrowLeft")
    lab.answered(seq)
    after = lab.values[name]
    assert lab.status == "ready", (name, lab.status_words)
    assert (after > before) == up and after != before, (name, before, after)
    # the first step may come from between two steps
    assert abs(after - before) <= 1.5 * control["step"] + 0.02, (name, before, after)
    shown = float(lab.control(f"{name}.number").input_value())
    assert abs(shown - after) <= 0.51 * 10.0 ** -control["digits"]


def test_every_slider_by_keyboard_draws_another_picture(lab: Visitor) -> None:
    lab.unfold()
    ranges = [c for c in lab.controls() if c["kind"] == "range" and not c["local"]]
    assert {c["id"] for c in ranges} <= CHANGE_PICTURES
    assert len(ranges) >= 20
    for control in ranges:
        if control["id"] == "item.strength":
            assert not lab.control("item.strength").is_enabled(), "a fish has none to set"
            continue
        before = pictures(lab)
        press(lab, control)
        assert pictures(lab) != before, control["id"]


def test_every_option_of_every_select(lab: Visitor) -> None:
    lab.unfold()
    for control in lab.controls():
        if control["kind"] != "select" or control["local"] or control["id"] == "fish.index":
            continue
        select = lab.control(control["id"])
        texts = select.evaluate("(e) => [...e.options].map((option) => option.text)")
        assert len(texts) > 3
        now = lab.values[control["id"]]
        for text in [t for t in texts if t != now] + [now]:
            before, seq = pictures(lab), lab.seq
            select.select_option(label=text)
            lab.answered(seq)
            assert lab.status == "ready", (control["id"], text, lab.status_words)
            assert lab.values[control["id"]] == text
            assert pictures(lab) != before, (control["id"], text)


def test_fish_and_target_in_hand(lab: Visitor) -> None:
    lab.unfold()
    which = lab.control("fish.index")
    assert which.evaluate("(e) => [...e.options].map((o) => o.text)") == [
        "perch 18 cm",
        "trout 32 cm",
        "reference ball",
    ]
    seq = lab.seq
    which.select_option(label="trout 32 cm")
    lab.answered(seq)
    assert lab.values["item.length"] == 32
    assert lab.control("item.length.number").input_value() == "32"
    seq, before = lab.seq, pictures(lab)
    which.select_option(label="reference ball")
    lab.answered(seq)
    assert pictures(lab) == before, "to take another in hand changes no echo"
    for name in ("item.form", "item.length", "item.tilt", "item.heading"):
        assert not lab.control(name).is_enabled(), name
    assert lab.control("item.strength").is_enabled()
    strength = next(c for c in lab.controls() if c["id"] == "item.strength")
    press(lab, strength)
    assert pictures(lab) != before


def test_halving_the_boat_speed_doubles_the_mark(lab: Visitor) -> None:
    """Counted as columns of the screen in which the ball's mark is dark."""

    def columns() -> int:
        look, head = lab.look("cone"), lab.header
        drawn = lab.picture("cone").astype(float).mean(axis=-1)
        height, width = drawn.shape
        ball = (-2.8 - head["x0"]) / head["dx"] + 0.5
        per = width / head["pings"]
        rows = [int((r - look["range0"]) / look["dr"] / look["rows"] * height) for r in (2.1, 2.75)]
        reach = 1.9 / head["dx"]  # half way to the trout's mark
        left, right = (int(max((ball + s * reach) * per, 0)) for s in (-1, 1))
        part = drawn[rows[0] : rows[1], left:right]
        return int(np.count_nonzero(part.min(axis=0) < 150))

    lab.set("track.speed", 1.2)
    wide = lab.picture("cone").shape[1]
    fast = columns()
    lab.set("track.speed", 0.6)
    slow = columns()
    assert lab.picture("cone").shape[1] == wide
    assert fast > 40
    assert abs(slow / fast - 2.0) < 0.2, (fast, slow)
    # in metres the mark stays as wide: what grew is the number of pings on it
    lab.choose("axis", "metres")
    width = np.ptp(lab.js("[page.axis.metresX(-1), page.axis.metresX(1)]"))
    lab.set("track.speed", 0.3)
    assert lab.header["dx"] == pytest.approx(0.015)
    assert abs(np.ptp(lab.js("[page.axis.metresX(-1), page.axis.metresX(1)]")) - width) < 1.0


WATCH = """(root) => {
  const { state, sender } = root.archwise;
  const log = { sent: [], heard: [], drawn: [], moved: [] };
  const { model } = state;
  const send = model.send_msg;
  model.send_msg = (message) => {
    log.sent.push([performance.now(), message.n]);
    return send.call(model, message);
  };
  model.on("values", () => log.heard.push([performance.now(), model.values._n]));
  root.addEventListener("input", () => log.moved.push(performance.now()), true);
  new MutationObserver(() => log.drawn.push([performance.now(), Number(root.dataset.seq)]))
    .observe(root, { attributes: true, attributeFilter: ["data-seq"] });
  root.dragLog = log;
}"""


@pytest.mark.parametrize("name", ["track.speed", "item.depth", "bed.depth"])
def test_dragging_quickly_ends_on_the_last_value(lab: Visitor, name: str) -> None:
    lab.unfold()
    slider = lab.control(name)
    slider.scroll_into_view_if_needed()
    lab.root.evaluate(WATCH)
    box = slider.bounding_box()
    places = np.linspace(0.25, 0.6, 21)
    y = box["y"] + box["height"] / 2
    seq = lab.seq
    lab.page.mouse.move(box["x"] + places[0] * box["width"], y)
    lab.page.mouse.down()
    for place in places[1:]:
        lab.page.mouse.move(box["x"] + place * box["width"], y)
        lab.page.wait_for_timeout(35)
    lab.page.wait_for_timeout(250)  # the hand rests before it lets go
    lab.page.mouse.move(box["x"] + 0.61 * box["width"], y)
    before_release = lab.page.evaluate("() => performance.now()")
    lab.page.mouse.up()
    lab.answered(seq)
    log = lab.js("root.dragLog")
    moved = log["moved"]
    assert len(moved) >= 15
    # the picture answered while the hand was still moving
    assert [t for t, n in log["drawn"] if n > seq and t < before_release], log["drawn"]
    # one message in flight: the next goes when the last was heard, or is given up after 400 ms
    for (gone, n), (later, _) in zip(log["sent"], log["sent"][1:], strict=False):
        heard = [t for t, m in log["heard"] if m >= n and t <= later]
        assert heard or later - gone >= 399, (n, gone, later)
    assert len(log["sent"]) <= len(moved)
    # and the last place of the slider is what stands everywhere
    last = float(slider.input_value())
    assert lab.values[name] == pytest.approx(last)
    assert float(lab.control(f"{name}.number").input_value()) == pytest.approx(last, abs=0.051)
    head = lab.header
    if name == "track.speed":
        assert head["dx"] / head["dt"] == pytest.approx(last)
    elif name == "bed.depth":
        assert f"Bed: silt, {last:g} m" in head["caption"]
    else:
        bodies = [
            np.mean(s["points"], axis=0) for s in head["lake"]["shapes"] if s["role"] == "fish"
        ]
        perch = min(bodies, key=lambda middle: abs(middle[0] - 2.9))
        assert perch[1] == pytest.approx(last, abs=0.06)


def test_typed_values_are_bounded(lab: Visitor) -> None:
    lab.unfold()
    lab.set("track.speed", 0.85)
    assert lab.values["track.speed"] == 0.85
    assert lab.control("track.speed").input_value() == "0.85"
    lab.set("track.speed", 99)
    assert lab.values["track.speed"] == 3
    assert lab.control("track.speed.number").input_value() == "3.00"
    lab.set("track.speed", -5)
    assert lab.values["track.speed"] == 0
    assert lab.status == "ready", "a boat that stands still draws, too"
    lab.set("track.speed", 0.5)
    seq = lab.seq
    lab.type("track.speed", "")
    lab.answered(seq)
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
    ann, ben = visit(), visit()
    ann.unfold()
    before, seq = pictures(ben), ben.seq
    ann.set("track.speed", 1.5)
    ann.set("bed.depth", 6.0)
    ben.page.wait_for_timeout(400)
    assert pictures(ben) == before and ben.seq == seq
    assert ben.values["track.speed"] == 0.6 and ben.values["bed.depth"] == 4.2
    kept = pictures(ann)
    ben.set("track.speed", 0.3)
    assert ann.values["track.speed"] == 1.5 and pictures(ann) == kept
