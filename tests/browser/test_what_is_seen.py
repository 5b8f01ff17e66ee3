"""What stands on the page: an arch where the ball is, in the colours of its levels."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from visitor import BALL, TALL, Visitor, agrees

BALL_X, BALL_DEPTH, BALL_DB = BALL.x, BALL.depth, BALL.strength


def ball_ping(lab: Visitor) -> int:
    head = lab.header
    return round((BALL_X - head["x0"]) / head["dx"])


def test_a_still_ball_draws_an_arch(lab: Visitor) -> None:
    codes, look, head = lab.codes("cone"), lab.look("cone"), lab.header
    ranges = look["range0"] + look["dr"] * np.arange(look["rows"])
    bed = ranges[np.argmax(codes, axis=1)]
    above = ranges < 0.88 * np.median(bed)
    at = ball_ping(lab)
    dx = head["dx"] * np.arange(-45, 46)
    arch = ranges[np.argmax(codes[at - 45 : at + 46, above], axis=1)]
    # the path from boat to ball: shrinks, is shortest abreast, grows again
    top = BALL_DEPTH - head["lake"]["transducer"]
    path = np.hypot(top, dx)
    rise = (arch - arch[43:48].mean()) - (path - top)
    assert np.max(np.abs(rise)) < 2.5 * look["dr"], "rows follow the path within two cells"
    assert abs(int(np.mean(np.flatnonzero(arch == arch.min()))) - 45) <= 4
    assert arch[0] - arch.min() > 0.25 and arch[-1] - arch.min() > 0.25
    # and its crown reads the ball's strength, which is what 40 log r is for
    crown = head["code_low_db"] + head["code_step_db"] * float(codes[at, above].max())
    assert abs(crown - BALL_DB) < 1.5


def test_the_arch_is_dark_on_pale_as_the_screen_shows_it(lab: Visitor) -> None:
    look, at = lab.look("cone"), ball_ping(lab)
    lab.page.mouse.move(5, 5)
    shown = lab.seen(lab.page.locator('[data-look="cone"] .layers')).mean(axis=-1)
    plot = shown[:, lab.js("page.size.left") :]
    height, width = plot.shape
    per_ping = width / lab.header["pings"]
    upper = plot[2 : int(0.6 * height)]  # water above the bed and the trout's mark
    columns = [int((at + 0.5 + n) * per_ping) for n in (-45, -30, 0, 30, 45)]
    rows = [int(np.argmin(upper[:, c])) + 2 for c in columns]
    assert rows[0] > rows[1] > rows[2] < rows[3] < rows[4], rows
    crown = BALL_DEPTH - lab.header["lake"]["transducer"]
    expected = (crown + 0.04 - look["range0"]) / (look["dr"] * look["rows"]) * height
    assert abs(rows[2] - expected) <= 3
    paper = float(np.median(upper))
    assert paper > 0.9 and plot[rows[2], columns[2]] < 0.6, "ink on paper"
    assert float(np.median(plot[int(0.72 * height) : int(0.75 * height)])) < 0.5, "the bed is dark"


def test_every_pixel_has_the_colour_of_its_level(visit: Callable[..., Visitor]) -> None:
    lab = visit(viewport=TALL)
    for name in ("cone", "fan_down"):
        assert np.all(agrees(lab, name)), name
    # and the page's own word for a cell's colour is the pixel's
    drawn, rows, pings = lab.picture("cone"), lab.look("cone")["rows"], lab.header["pings"]
    height, width = drawn.shape[:2]
    generator = np.random.default_rng(3)
    cells = generator.integers((0, 0), (pings, rows), size=(400, 2)).tolist()
    said = lab.js('arg.map(([p, r]) => colourAt("cone", p, r))', cells)
    for (ping, row), colour in zip(cells, said, strict=True):
        x = int((ping + 0.5) * width / pings)
        y = int((row + 0.5) * height / rows)
        assert drawn[y, x].tolist() == colour, (ping, row)


def test_a_pooled_picture_keeps_the_thin_mark(lab: Visitor) -> None:
    """At 1280×720 several cells share a pixel: its colour lies within those of its cells."""
    codes, drawn = lab.codes("side").astype(float), lab.picture("side")
    luminance = drawn.astype(float).mean(axis=-1)
    rows, height = codes.shape[1], drawn.shape[0]
    assert height < rows
    to = ((np.arange(rows) + 0.5) * height / rows).astype(int)
    ping = np.arange(drawn.shape[1]) * codes.shape[0] // drawn.shape[1]
    strongest = np.array([codes[:, to == y].max(axis=1) for y in range(height)])[:, ping]
    # Shore gets darker with level, so where the strongest cell is strong no pixel is paper
    strong = strongest > np.quantile(codes, 0.9)
    assert np.mean(luminance[strong]) < 0.8 * np.mean(luminance[strongest < 60])


def test_the_other_looks_show_what_they_should(lab: Visitor) -> None:
    fan, side = lab.codes("fan_down"), lab.codes("side")
    look, at = lab.look("fan_down"), ball_ping(lab)
    ranges = look["range0"] + look["dr"] * np.arange(look["rows"])
    band = np.abs(ranges - (BALL_DEPTH - lab.header["lake"]["transducer"])) < 0.2
    echo = fan[:, band].max(axis=1).astype(int)
    near = echo[at - 40 : at + 41]
    dash = np.flatnonzero(near > near.max() - 24)  # 12 dB
    assert dash[-1] - dash[0] <= 12, "a dash, no arch"
    assert abs(float(dash.mean()) - 40) <= 3
    look = lab.look("side")
    ranges = look["range0"] + look["dr"] * np.arange(look["rows"])
    mean = side.mean(axis=0)
    water = mean[np.abs(ranges) < 0.8 * 3.8].mean()
    for board in (ranges < -5.0, ranges > 5.0):
        assert mean[board].mean() > water + 20, "a dark water column between two beds"


def test_words_and_descriptions_name_the_mark(lab: Visitor) -> None:
    lab.page.wait_for_timeout(600)
    head = lab.header
    assert lab.page.locator("h1").inner_text() == head["title"]
    assert "never navigate by it" in lab.page.locator(".caution").inner_text()
    assert "0.6 m/s" in lab.page.locator(".caption").first.inner_text()
    name = lab.page.locator('[data-look="cone"] canvas[role="img"]').first.get_attribute(
        "aria-label"
    )
    mark = lab.js('state.looks.get("cone").found.best')
    assert f"at ping {mark['ping'] + 1}," in name
    codes, look = lab.codes("cone"), lab.look("cone")
    ranges = look["range0"] + look["dr"] * np.arange(look["rows"])
    bed = np.median(ranges[np.argmax(codes, axis=1)])
    above = codes[:, ranges < 0.85 * bed]
    assert codes[mark["ping"], mark["row"]] == above.max()
    said = f"{ranges[mark['row']]:.2f} m"
    assert said in name
    lab.page.locator("summary", has_text="Strongest marks").click()
    rows = lab.page.locator("details table tbody tr")
    assert rows.count() == 3
    assert f"ping {mark['ping'] + 1}, {said}" in rows.first.inner_text().lower()
