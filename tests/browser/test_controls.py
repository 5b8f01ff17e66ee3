"""Every setting that asks the server, moved by keyboard, by choice and by a quick hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from visitor import BALL, Visitor, pictures

# settings after which at least one look must be another picture
CHANGE_PICTURES = {
    "track.speed", "track.ping_rate", "track.pings", "track.offset", "cone.beam", "cone.frequency",
    "pulse", "range_start", "range_end", "swath", "noise", "item.form", "item.length", "item.tilt",
    "item.depth", "item.strength", "item.x", "item.y", "item.heading", "bed.depth", "bed.sediment",
    "bed.slope_along", "bed.slope_across", "water.temperature", "seed",
}  # fmt: skip


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
        ball = (BALL.x - head["x0"]) / head["dx"] + 0.5
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


WATCH = r"""(root) => {
  const { sender } = root.archwise;
  const log = { sent: [], heard: [], drawn: [], moved: [] };
  const { send } = WebSocket.prototype; // the model's own way to send cannot be replaced
  WebSocket.prototype.send = function (text) {
    const number = String(text).match(/"type","set"\].*\["n",(\d+)\]/);
    if (number) log.sent.push([performance.now(), Number(number[1])]);
    return send.call(this, text);
  };
  const { answered } = sender; // the page hears before any listener added now
  sender.answered = (n) => {
    log.heard.push([performance.now(), n]);
    answered(n);
  };
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
    assert len(log["sent"]) >= 2
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


BURST = """(() => {
  const slider = root.querySelector('[id="track.speed"]');
  for (const value of arg) {
    slider.value = value;
    slider.dispatchEvent(new Event("input", { bubbles: true }));
  }
  return root.dragLog.sent.length;
})()"""


def test_twenty_moves_at_once_are_two_messages(lab: Visitor) -> None:
    """No answer can come between: the first goes, the rest wait, the newest of them follows."""
    lab.root.evaluate(WATCH)
    seq = lab.seq
    places = [round(0.7 + 0.05 * n, 2) for n in range(20)]
    assert lab.js(BURST, places) == 1
    lab.answered(seq)
    sent = [message["values"]["track.speed"] for message in lab.messages()]
    assert sent == [places[0], places[-1]]
    assert lab.values["track.speed"] == places[-1]
    assert lab.header["dx"] / lab.header["dt"] == pytest.approx(places[-1])


def test_a_lost_answer_holds_the_next_message_back_no_longer_than_a_moment(lab: Visitor) -> None:
    lab.root.evaluate(WATCH)
    lab.js("void (sender.answered = () => {})")
    seq = lab.seq
    assert lab.js(BURST, [1.0, 1.2]) == 1
    lab.until("(root) => root.dragLog.sent.length === 2")
    first, second = (at for at, _ in lab.js("root.dragLog.sent"))
    assert second - first >= 399
    lab.answered(seq)
    assert lab.header["dx"] / lab.header["dt"] == pytest.approx(1.2)
