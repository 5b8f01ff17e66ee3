"""What moves in the browser alone: the run, the axis, the looks, the cursor."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest
from visitor import BALL, Visitor

BALL_X, BALL_PATH = BALL.x, BALL.depth
READOUT = re.compile(
    r"Cone: ping (\d+), ([\d.]+) m, ([\d.]+) ms, (below )?(−?\d+) dB, step ([1-8]) of 8"
)


def covered(lab: Visitor) -> np.ndarray:
    """For each pixel column of the cone, whether it is covered, as the screen shows it.

    Taken on a row inside the bed, which is never paper-coloured when uncovered.
    """
    shown = lab.seen(lab.page.locator('[data-look="cone"] .layers'))
    height = shown.shape[0]
    part = shown[int(0.70 * height) : int(0.74 * height), int(lab.js("page.size.left")) + 1 : -2]
    return part.mean(axis=(0, 2)) > 0.9


def boat_x(lab: Visitor) -> float:
    """Middle of the hull in the lake view's upper layer, CSS pixels."""
    drawn = lab.canvas("page.lake.over")
    hull = np.all(np.abs(drawn[:16, :, :3].astype(int) - (0x14, 0x20, 0x2B)) < 12, axis=-1)
    return float(np.nonzero(hull & (drawn[:16, :, 3] > 200))[1].mean())


def test_run_uncovers_columns_as_the_boat_moves(lab: Visitor) -> None:
    assert not covered(lab).any()
    sent = len(lab.frames)
    run = lab.page.locator(".run")
    assert run.inner_text() == "Run"
    run.click()
    shares, boats, seen = [], [], []
    for _ in range(4):
        lab.page.wait_for_timeout(450)
        seen.append(lab.js("state.run.seen"))
        boats.append(boat_x(lab))
        now = covered(lab)
        first = int(np.argmax(now))
        assert now[first:].all(), "covered from one place to the right end"
        shares.append(first / len(now))
    assert 0.0 < shares[0] < shares[1] < shares[2] < shares[3] < 1.0, shares
    assert boats == sorted(boats) and boats[3] - boats[0] > 30, boats
    assert seen[3] / lab.header["pings"] <= shares[3] + 0.02, "what was seen is uncovered"
    # pause
    assert run.inner_text() == "Pause"
    run.click()
    lab.painted()
    held, boat = covered(lab), boat_x(lab)
    lab.page.wait_for_timeout(300)
    assert np.array_equal(covered(lab), held) and boat_x(lab) == boat
    # go on
    assert run.inner_text() == "Go on"
    run.click()
    lab.page.wait_for_timeout(500)
    assert np.count_nonzero(covered(lab)) < np.count_nonzero(held)
    # show all
    lab.page.get_by_role("button", name="Show all", exact=True).click()
    lab.painted()
    assert not covered(lab).any()
    assert run.inner_text() == "Run"
    assert not lab.page.get_by_role("button", name="Show all", exact=True).is_visible()
    assert len(lab.frames) == sent, "the run asks the server nothing"


def test_a_run_ends_by_itself_with_everything_shown(lab: Visitor) -> None:
    lab.unfold()
    lab.set("track.pings", 60)  # 3 s of the boat's time
    lab.page.locator(".run").click()
    lab.until("(root) => root.archwise.state.run.mode === 'running'")
    lab.until("(root) => root.archwise.state.run.mode === 'whole'")
    lab.painted()
    assert not covered(lab).any()
    assert lab.js("state.ping") == 59


def test_scrubbing_during_a_paused_run_takes_the_picture_along(lab: Visitor) -> None:
    lab.page.locator(".run").click()
    lab.page.wait_for_timeout(300)
    lab.page.locator(".run").click()
    slider = lab.page.locator(".playhead")
    slider.focus()
    slider.press("End")
    lab.painted()
    assert not covered(lab).any()
    slider.press("Home")
    lab.painted()
    assert covered(lab).mean() > 0.98


def test_a_new_scene_or_reset_stands_whole(lab: Visitor) -> None:
    for asks in ("scene", "reset"):
        lab.page.locator(".run").click()
        lab.page.wait_for_timeout(200)
        lab.page.locator(".run").click()
        lab.painted()
        assert covered(lab).mean() > 0.5
        seq = lab.seq
        if asks == "scene":
            lab.control("scene").select_option(value="three-lengths")
        else:
            lab.page.get_by_role("button", name="Reset").click()
        lab.answered(seq)
        lab.painted()
        assert lab.js("state.run.mode") == "whole"
        assert not lab.canvas('page.plots.get("cone").over')[5:-5, 60:-5, 3].all()


def test_nothing_ahead_of_the_boat_peeps_out(lab: Visitor) -> None:
    """On an axis where the pass is narrower than the plot, the cover reaches its last pixel."""
    lab.choose("axis", "metres")
    lab.set("track.speed", 0.3)
    lab.page.locator(".run").click()
    lab.page.wait_for_timeout(200)
    lab.page.locator(".run").click()
    lab.painted()
    shown = lab.seen(lab.page.locator('[data-look="cone"] .layers'))
    bed = shown[int(0.72 * shown.shape[0]), int(lab.js("page.size.left")) + 240 : -3].mean(axis=-1)
    assert bed.min() > 0.9


def test_with_reduced_motion_the_run_jumps(visit: Callable[..., Visitor]) -> None:
    lab = visit(reduced_motion="reduce")
    lab.unfold()
    lab.set("track.pings", 60)
    lab.root.evaluate(
        """(root) => { const { state } = root.archwise; root.seen = new Set();
        const look = () => { if (state.run.mode === "running") root.seen.add(state.run.seen);
          requestAnimationFrame(look); }; look(); }"""
    )
    lab.page.locator(".run").click()
    lab.until("(root) => root.seen.size > 0 && root.archwise.state.run.mode === 'whole'")
    seen = sorted(lab.js("[...root.seen]"))
    assert 3 <= len(seen) <= 13, seen
    assert min(np.diff(seen)) >= 4, "jumps, no flow"
    assert lab.js("state.ping") == 59


def test_the_axis_turns_at_once(lab: Visitor) -> None:
    sent, seq = len(lab.frames), lab.seq
    rulers = []
    for axis, unit in (("columns", "ping"), ("metres", "m"), ("seconds", "s")):
        lab.choose("axis", axis)
        rulers.append(lab.canvas("page.ruler").tobytes())
        assert lab.js("page.axis.scales[arg].unit", axis) == unit
        # mark and maker stay under one another: the ball's column is at the ball's place
        ball = lab.js("[page.axis.metresX(arg), page.axis.ping(page.axis.metresX(arg))]", BALL_X)
        assert abs(ball[1] - (BALL_X - lab.header["x0"]) / lab.header["dx"]) <= 1
        drawn = lab.picture("cone").mean(axis=-1)
        upper = drawn[: int(0.45 * drawn.shape[0])]
        darkest = np.argmin(upper[:, int(ball[0]) - 60 : int(ball[0]) + 61].min(axis=0)) - 60
        assert abs(darkest) < 30, "the crown of the arch is near the ball's own place"
    assert len(set(rulers)) == 3
    assert len(lab.frames) == sent and lab.seq == seq


def test_looks_one_at_a_time_or_together(lab: Visitor) -> None:
    sent = len(lab.frames)
    small = lab.picture("side").shape[0]
    for look in ("cone", "fan_down", "side"):
        lab.choose("look", look)
        rows = lab.page.locator(".row.look")
        assert [rows.nth(i).is_visible() for i in range(3)] == [
            look == name for name in ("cone", "fan_down", "side")
        ]
        box = lab.page.locator(f'[data-look="{look}"] .layers').bounding_box()
        assert box["y"] + box["height"] <= 720, "one look alone is seen whole"
    assert lab.picture("side").shape[0] > small
    lab.choose("look", "all")
    assert all(lab.page.locator(".row.look").nth(i).is_visible() for i in range(3))
    assert len(lab.frames) == sent


def crown(lab: Visitor) -> tuple[int, int]:
    """Ping and row of the ball's strongest cell."""
    head, look = lab.header, lab.look("cone")
    codes = lab.codes("cone")
    at = round((BALL_X - head["x0"]) / head["dx"])
    top = BALL_PATH - head["lake"]["transducer"] - look["range0"]
    rows = slice(int((top - 0.2) / look["dr"]), int((top + 0.3) / look["dr"]))
    part = codes[at - 5 : at + 6, rows]
    ping, row = np.unravel_index(np.argmax(part), part.shape)
    return int(ping) + at - 5, int(row) + rows.start


def test_pointing_reads_the_cell(lab: Visitor) -> None:
    ping, row = crown(lab)
    look = lab.look("cone")
    box = lab.page.locator('[data-look="cone"] .layers').bounding_box()
    left, width = lab.js("[page.size.left, page.size.width]")
    x = box["x"] + left + (ping + 0.5) * width / lab.header["pings"]
    y = box["y"] + (row + 0.5) * box["height"] / look["rows"]
    lab.page.mouse.move(x, y)
    lab.painted()
    words = lab.page.locator(".readout").inner_text()
    found = READOUT.fullmatch(words)
    assert found, words
    range_m = look["range0"] + row * look["dr"]
    assert abs(int(found[1]) - (ping + 1)) <= 1
    assert float(found[2]) == pytest.approx(range_m, abs=0.08)
    assert float(found[3]) == pytest.approx(2e3 * range_m / lab.header["sound_speed"], abs=0.1)
    assert abs(int(found[5].replace("−", "-")) - (-36)) <= 2, "the ball's own strength"
    # gain 22, 50 dB shown: −36 dB is 36 dB above the weakest colour
    assert int(found[6]) == int(np.clip((-36 + 22) / 50 + 1, 0, 0.999) * 8) + 1
    lab.page.wait_for_timeout(650)
    assert lab.page.locator("[aria-live=polite].unseen").inner_text() == words
    lab.page.mouse.move(5, 5)
    lab.painted()
    assert lab.page.locator(".readout").inner_text().startswith("Point at"), "hover leaves no mark"
    lab.page.mouse.click(x, y)
    lab.page.mouse.move(5, 5)
    lab.painted()
    assert READOUT.fullmatch(lab.page.locator(".readout").inner_text()), "a click pins it"
    assert abs(lab.js("state.ping") - ping) <= 1


def test_arrow_keys_move_the_cursor(lab: Visitor) -> None:
    plot = lab.page.locator('[data-look="cone"] .layers')
    plot.focus()
    readout = lab.page.locator(".readout")

    def read() -> tuple[int, float]:
        lab.painted()
        found = READOUT.fullmatch(readout.inner_text())
        assert found, readout.inner_text()
        return int(found[1]), float(lab.js("state.cursor.row"))

    lab.page.keyboard.press("ArrowRight")
    ping, row = read()
    trace = lab.canvas('page.plots.get("cone").trace').tobytes()
    lab.page.keyboard.press("ArrowRight")
    assert read() == (ping + 1, row)
    lab.page.keyboard.press("Shift+ArrowLeft")
    assert read() == (ping - 9, row)
    lab.page.keyboard.press("ArrowUp")
    assert read() == (ping - 9, row - 1)
    lab.page.keyboard.press("Shift+ArrowDown")
    assert read() == (ping - 9, row + 9)
    assert lab.canvas('page.plots.get("cone").trace').tobytes() != trace, "the trace follows"
    for _ in range(60):
        lab.page.keyboard.press("Shift+ArrowDown")
    assert read()[1] == lab.look("cone")["rows"] - 1, "it stops at the edge"
    lab.page.keyboard.press("Escape")
    lab.painted()
    assert readout.inner_text().startswith("Point at")


def test_the_boat_can_be_dragged_over_the_lake(lab: Visitor) -> None:
    box = lab.page.locator(".layers.lake").bounding_box()
    y = box["y"] + 0.5 * box["height"]
    lab.page.mouse.move(box["x"] + 200, y)
    lab.page.mouse.down()
    lab.page.mouse.move(box["x"] + 300, y)
    lab.page.mouse.up()
    lab.painted()
    assert abs(boat_x(lab) - 300) < 12
    assert lab.js("state.ping") == lab.js("page.axis.ping(300 - page.size.left)")
