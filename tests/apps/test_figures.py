"""Still pictures: what stands on the page, where, in what colour, and what is refused."""

import ast
import base64
import io
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.image import imread

import simulator
from apps.captions import OUTSIDE, look_words, made_with, outside_line, ring_words
from apps.echograms import held
from apps.figures import draw_pass, still_bytes, write_still
from apps.palettes import painted
from apps.sheet import THEMES, drawable, font, wrapped
from simulator.model import SettingError
from simulator.picture import Picture
from simulator.scene import (
    Ballast,
    Bed,
    Boulder,
    Fish,
    Float,
    Housing,
    Pen,
    Plate,
    Rope,
    Scene,
    School,
    Target,
    Timber,
    Track,
    Water,
    Weed,
)
from simulator.sounder import Look, Receiver
from simulator.validity import outside

ONE_COUNT = 1.01 / 255.0  # the least step of an 8-bit colour


def picture_of(level: np.ndarray, range_m: np.ndarray, look: str = "cone") -> Picture:
    n = np.arange(len(level))
    return Picture(look, level, range_m, 0.5 * n, 0.25 * n, 0.01, "40 log r", {})


def picture(pings: int = 8, rows: int = 6, side: bool = False, seed: int = 1) -> Picture:
    """Cells of random level, all of them within the colours of gain 20 dB, 50 dB shown."""
    level = np.random.default_rng(seed).uniform(-69.0, -21.0, (pings, rows)).astype(np.float32)
    range_m = (np.arange(rows) + 0.5) * 8.0 / rows
    return picture_of(level, range_m - 4.0 if side else range_m, "side" if side else "cone")


def scene(**values: object) -> Scene:
    given = {
        "title": "Osier Mere, over the ledge",
        "look_for": "Which draws the faintest arch?",
        "seed": 41,
        "track": Track(pings=8, speed=2.0, ping_rate=4.0),
        "fish": [Fish(form="perch", length=0.28, depth=3.0, x=1.0)],
        "targets": [Target(strength=-40.0, depth=2.0, x=-1.0, label="sphere")],
    }
    return Scene(**{**given, **values})


def three() -> dict[str, Picture]:
    return {"cone": picture(), "fan_down": picture(seed=2), "side": picture(side=True, seed=3)}


def all_text(figure: Figure) -> str:
    return "\n".join(t.get_text() for t in figure.texts)


def pixels(figure: Figure) -> np.ndarray:
    return imread(io.BytesIO(still_bytes(figure, "png")), format="png")


def echograms(figure: Figure) -> list:
    """Axes with an image, but not the colour scale (one row of cells)."""
    return [a for a in figure.axes if a.images and a.images[0].get_array().shape[0] > 1]


@pytest.mark.parametrize("size", [(1920, 1080), (3840, 2160), (1280, 720), (853, 1201), (320, 320)])
def test_a_still_has_the_size_asked_for(size: tuple[int, int]) -> None:
    assert pixels(draw_pass(scene(), three(), size=size)).shape[:2] == size[::-1]


@pytest.mark.parametrize("name", ["cone", "side"])
def test_every_cell_is_one_even_block_of_its_colour(name: str) -> None:
    cells = picture(side=name == "side")
    receiver = Receiver(gain=20.0, decibels_shown=50.0, palette="Lantern", steps="8 steps")
    # the playhead crosses the first column only
    figure = draw_pass(scene(), {name: cells}, receiver, playhead=0)
    image = pixels(figure)
    box = echograms(figure)[0].get_window_extent()
    wanted = painted(cells.level_db, 20.0, 50.0, "Lantern", 8) / 255.0
    for p in range(1, 8):
        for r in range(6):
            x0, x1 = (box.x0 + box.width * (p + e) / 8 for e in (0.1, 0.9))
            y0, y1 = (1080 - box.y1 + box.height * (r + e) / 6 for e in (0.1, 0.9))
            block = image[int(y0) : int(y1), int(x0) : int(x1), :3]
            assert block.size > 300
            np.testing.assert_allclose(
                block, np.broadcast_to(wanted[p, r], block.shape), atol=ONE_COUNT
            )


@pytest.mark.parametrize("axis", ["columns", "metres", "seconds"])
def test_lake_and_echograms_share_one_axis(axis: str) -> None:
    figure = draw_pass(scene(), three(), axis=axis)
    lake, echoes = figure.axes[0], echograms(figure)
    assert len(echoes) == 3
    for axes in echoes:
        assert axes.get_xlim() == lake.get_xlim()
        np.testing.assert_allclose(axes.get_window_extent().intervalx,
                                   lake.get_window_extent().intervalx)  # fmt: skip
    span = {"columns": (0.0, 8.0), "metres": (-2.0, 2.0), "seconds": (0.0, 2.0)}[axis]
    assert lake.get_xlim() == pytest.approx(span)


def test_metres_under_the_lake_stand_where_they_are() -> None:
    lake = draw_pass(scene(), three(), axis="columns").axes[0]
    formatter = lake.xaxis.get_major_formatter()
    for tick in lake.get_xticks():
        metres = float(formatter(tick, 0).replace("−", "-"))
        assert (metres + 1.75) / 0.5 + 0.5 == pytest.approx(tick)  # x0 −1.75 m, 0.5 m a ping


def test_trace_is_the_playheads_column_on_the_same_range_axis() -> None:
    cells = three()
    figure = draw_pass(scene(), cells, playhead=5)
    after = {id(a): figure.axes[n + 1] for n, a in enumerate(figure.axes[:-1])}
    for axes, name in zip(echograms(figure), cells, strict=True):
        trace = after[id(axes)]
        assert trace.get_ylim() == axes.get_ylim()
        level, range_m = trace.lines[0].get_data()
        np.testing.assert_allclose(level, cells[name].level_db[5])
        np.testing.assert_allclose(range_m, cells[name].range_m)


def test_default_playhead_is_the_middle_ping() -> None:
    assert "ping 4" in all_text(draw_pass(scene(), three()))


def test_port_is_above_starboard() -> None:
    figure = draw_pass(scene(), {"side": picture(side=True)})
    bottom, top = echograms(figure)[0].get_ylim()
    assert top < 0.0 < bottom
    words = {t.get_text(): t.get_position()[1] for t in figure.texts}
    assert words["port"] > words["starboard"]


def test_a_gap_in_range_stays_bare_and_moves_nothing() -> None:
    range_m = np.array([-8.0, -7.0, -6.0, 6.0, 7.0, 8.0])  # rows of 1 m, nothing nearer than 5.5 m
    cells = picture_of(picture().level_db, range_m, "side")
    receiver = Receiver(gain=20.0, decibels_shown=50.0, palette="Slate")
    figure = draw_pass(scene(), {"side": cells}, receiver, playhead=0)
    image = pixels(figure)
    box = echograms(figure)[0].get_window_extent()
    x = int(box.x0 + box.width * 4.5 / 8)
    colours = painted(cells.level_db[4], 20.0, 50.0, "Slate") / 255.0
    paper = np.array(to_rgb(THEMES["light"]["paper"]))
    for r, wanted in [*zip(range_m, colours, strict=True), (0.0, paper), (5.0, paper)]:
        y = int(1080 - box.y1 + box.height * (r + 8.5) / 17.0)
        np.testing.assert_allclose(image[y, x, :3], wanted, atol=ONE_COUNT)


def test_colours_and_traces_read_off_one_level_axis() -> None:
    figure = draw_pass(scene(), three(), Receiver(gain=12.0, decibels_shown=48.0))
    scale = next(a for a in figure.axes if a.images and a.images[0].get_array().shape[0] == 1)
    left, right, _, _ = scale.images[0].get_extent()
    assert (left, right) == (-60.0, -12.0)  # weakest; strongest at level + gain = 0
    assert "strongest colour at −12 dB" in all_text(figure)
    traces = [a for a in figure.axes if a.lines and not a.images and a is not figure.axes[0]]
    assert len(traces) == 3
    assert all(a.get_xlim() == scale.get_xlim() for a in traces)


def test_the_page_says_what_made_it_and_what_it_is_not() -> None:
    lake = scene(look_for="Which one?")
    lake.sounder.assumed_sound_speed = 1500.0
    said = all_text(draw_pass(lake, three(), Receiver(gain=7.0, decibels_shown=33.0)))
    for words in (
        "Osier Mere, over the ledge", "Which one?", "200 kHz, 26° beam, 0.1 ms pulse",
        "700 kHz, 1° along × 45° across", "2 m/s, 4 pings/s", "+7 dB, 33 dB shown",
        "40 log r + 2αr", "true 1476 m/s, assumed", "1500 m/s", "18 °C", "silt", "Seed", "41",
        f"Archwise {simulator.__version__}",
        "Simulated teaching image, not a chart: never navigate by it.",
        "Echo strength of perch: modelled, not measured.", "perch 28 cm", "sphere −40 dB",
        "Slant range, m", "Depth, m", "Track, m", "Ping", "Echo level, dB",
    ):  # fmt: skip
        assert words in said, words


def test_the_page_says_what_was_changed() -> None:
    said = all_text(draw_pass(scene(), three(), changed="boat speed halved"))
    assert "Changed\nboat speed halved" in said


def test_a_school_is_one_line_of_the_margin() -> None:
    fish = [Fish(form="perch", length=0.1, depth=2.0 + 0.1 * n) for n in range(20)]
    assert "20 perch, 10 cm, at 2.0 to 3.9 m" in all_text(draw_pass(scene(fish=fish), three()))


def test_words_can_be_read_at_the_back_of_a_room() -> None:
    figure = draw_pass(scene(), three())
    figure.canvas.draw()
    sizes = {t.get_text(): t.get_fontsize() * figure.dpi / 72.0 for t in figure.texts}
    assert min(sizes.values()) >= 18.0
    for axes in figure.axes:
        for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
            assert label.get_fontsize() * figure.dpi / 72.0 >= 24.0
    for words in ("Slant range, m", "Depth, m", "Track, m", "Ping", "Cone", "Echo level, dB"):
        assert sizes[words] >= 24.0


def test_no_words_leave_the_page_or_lie_on_others() -> None:
    fish = [Fish(form="carp", length=0.5, depth=2.0, x=x) for x in (-1.9, 0.0, 0.3, 1.9)]
    figure = draw_pass(scene(fish=fish, title="Long " * 60, look_for="longer " * 80), three())
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in figure.texts]
    for text, box in boxes:
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= 1920 and box.y1 <= 1080, text
    for n, (text, box) in enumerate(boxes):
        for other, there in boxes[n + 1 :]:
            assert not box.shrunk(0.98, 0.75).overlaps(there.shrunk(0.98, 0.75)), (text, other)


@pytest.mark.parametrize("names", [["cone"], ["fan_down", "side"], ["cone", "fan_down", "side"]])
def test_the_page_adapts_to_the_looks_there_are(names: list[str]) -> None:
    figure = draw_pass(scene(), {n: c for n, c in three().items() if n in names})
    echoes = echograms(figure)
    assert len(echoes) == len(names)
    tall = sum(a.get_window_extent().height for a in echoes)
    assert tall > 450
    edges = [a.get_window_extent() for a in figure.axes]
    assert all(a.y1 <= 1080 and a.y0 > 60 for a in edges)


def test_any_title_is_drawn_as_it_is_typed() -> None:
    for title in ("$\\frac{", "a\nb\tc", "fish 🐟 of ${x}_^", "", "<b>&amp;"):
        figure = draw_pass(scene(title=title, look_for=title), three())
        svg = ElementTree.fromstring(still_bytes(figure, "svg"))
        assert svg.tag.endswith("svg")
        still_bytes(figure, "png")
    assert drawable("a\nb\x07 🐟") == "a b□ □"


def test_wrapping_cuts_short_with_an_ellipsis() -> None:
    lines = wrapped("one two three four five six seven", 100.0, font(20.0), 2)
    assert len(lines) == 2
    assert lines[0].startswith("one two")
    assert lines[1].endswith("…")
    assert wrapped("short", 100.0, font(20.0), 2) == ["short"]
    assert wrapped("x" * 300, 100.0, font(20.0), 1)[0].endswith("…")


def test_finer_cells_than_pixels_keep_their_strongest() -> None:
    level = np.full((10, 12), -90.0, dtype=np.float32)
    level[7, 11] = -30.0
    got, rows, columns = held(level, rows=5, columns=5)
    assert (rows, columns) == (3, 2)
    assert got.shape == (5, 4)
    assert got[3, 3] == -30.0
    assert np.count_nonzero(got > -90.0) == 1
    untouched, rows, columns = held(level, rows=12, columns=10)
    assert (rows, columns) == (1, 1)
    np.testing.assert_array_equal(untouched, level)
    many = picture(rows=3000)
    said = all_text(draw_pass(scene(), {"cone": many}))
    assert "strongest of" in said
    assert "strongest of" not in all_text(draw_pass(scene(), three()))


def test_a_short_last_block_keeps_its_place() -> None:
    rows = 2999
    level = np.full((8, rows), -90.0, dtype=np.float32)
    level[:, -40:] = -20.0
    cells = picture_of(level, (np.arange(rows) + 0.5) * 8.0 / rows)
    receiver = Receiver(gain=20.0, decibels_shown=50.0, palette="Slate")
    figure = draw_pass(scene(), {"cone": cells}, receiver, playhead=0)
    box = echograms(figure)[0].get_window_extent()
    column = pixels(figure)[:, int(box.x1) - 60, 0]
    start = 1080 - box.y1 + box.height * (rows - 40) / rows
    dark = np.flatnonzero(column[: int(1080 - box.y0) - 2] < 0.2)
    assert dark[dark > 1080 - box.y1 + 10].min() == pytest.approx(start, abs=5.0)  # one block


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"axis": "feet"}, "axis must be one of columns, metres, seconds; you gave 'feet'"),
        ({"theme": "sepia"}, "theme must be one of light, dark; you gave 'sepia'"),
        ({"size": (10, 99999)}, "size must be from 320 to 7680 pixels each way; you gave 10"),
        ({"playhead": 8}, "playhead must be a ping from 0 to 7; you gave 8"),
        ({"pictures": {}}, "pictures must hold at least one of cone, fan_down, side"),
        ({"pictures": {"cone": picture(pings=9)}}, "must have the scene's 8 columns; you gave 9"),
    ],
)
def test_wrong_wishes_are_refused_in_words(change: dict, words: str) -> None:
    with pytest.raises(SettingError) as caught:
        draw_pass(**{"scene": scene(), "pictures": three(), **change})
    assert words in str(caught.value)


def test_a_boat_at_rest_says_so() -> None:
    figure = draw_pass(scene(track=Track(speed=0.0, pings=8)), three())
    assert "boat stands still: lengths nominal" in all_text(figure)


def test_stills_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    figure = draw_pass(scene(), three(), size=(960, 540))
    write_still(tmp_path / "pass.PNG", figure)
    assert imread(tmp_path / "pass.PNG", format="png").shape[:2] == (540, 960)
    write_still(tmp_path / "pass.svg", figure)
    svg = ElementTree.parse(tmp_path / "pass.svg").getroot()
    assert "never navigate" in ElementTree.tostring(svg, encoding="unicode")
    with pytest.raises(SettingError, match=r"must end in .png or .svg; you gave '.pdf'"):
        write_still(tmp_path / "pass.pdf", figure)
    with pytest.raises(SettingError, match="cannot be written"):
        write_still(tmp_path / "none" / "pass.png", figure)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["pass.PNG", "pass.svg"]


def test_svg_asks_for_nothing_outside_and_keeps_every_cell(tmp_path: Path) -> None:
    figure = draw_pass(scene(), {"cone": picture(pings=8, rows=6)})
    text = still_bytes(figure, "svg").decode()
    root = ElementTree.fromstring(text)
    links = [v for e in root.iter() for k, v in e.attrib.items() if k.endswith("href")]
    assert all(v.startswith(("data:", "#")) for v in links)
    assert "image-rendering:pixelated" in text
    images = [e for e in root.iter() if e.tag.endswith("}image")]
    href = "{http://www.w3.org/1999/xlink}href"
    shapes = [
        imread(io.BytesIO(base64.b64decode(e.attrib[href].split(",")[1])), format="png").shape[:2]
        for e in images
    ]
    assert shapes == [(1, 512), (6, 8)]  # the colour scale, then the echogram's own cells


def test_transparent_ground() -> None:
    figure = draw_pass(scene(), three(), size=(960, 540))
    clear = imread(io.BytesIO(still_bytes(figure, "png", transparent=True)), format="png")
    assert clear[2, 2, 3] == 0.0
    assert pixels(figure)[2, 2, 3] == 1.0


def test_looks_in_words() -> None:
    cone = Look(ring_down_time=0.0)
    assert look_words(cone, 1476.0) == "200 kHz, 26° beam, 0.1 ms pulse"
    side = Look(aperture="rectangle", length=0.166, width=0.0034, frequency=455e3, depression=30.0)
    side.range_start = 1.0
    assert look_words(side, 1476.0).endswith("0.1 ms pulse, 30° below level")
    chirp = cone.copy(pulse_kind="chirp", pulse_length=1e-3, taper="Hann", chirp_taper="Hann")
    assert look_words(chirp, 1476.0).endswith(", Hann taper, 1 ms chirp of 40 kHz, Hann taper")


def test_ring_down_is_told_where_some_of_it_is_shown() -> None:
    scene = Scene()
    for look in scene.sounder.looks().values():
        look.ring_down_time = 2e-4
    scene.sounder.fan_down.ring_down_time = 3e-4
    assert ring_words(scene) == "cone, side 0.2 ms; fan-down 0.3 ms"
    for look in scene.sounder.looks().values():
        look.range_start = 1.0
    assert ring_words(scene) == ""


def test_captions_tell_relief_layers_waves_and_the_receivers_options() -> None:
    lake = scene(
        bed=Bed(relief="ledge", relief_height=-1.5, relief_width=3.0, soft_thickness=0.3,
                sediment="rock", second_echo=False),
        water=Water(layering="thermocline", thermocline_depth=6.0, deep_temperature=7.0),
        track=Track(pings=8, roll=4.0, heave=0.1, wave_period=2.5), boulders=[Boulder(), Boulder()],
    )  # fmt: skip
    receiver = Receiver(automatic_gain=True, noise_filter="two of three")
    rows = dict(made_with(lake, picture(), receiver))
    ledge = "a ledge of −1.5 m over 3 m, second echo off"
    assert rows["Bed"] == f"0.3 m of silt over rock, 6 m at x = 0, {ledge}"
    assert rows["Water"] == "18 °C to 6 m, 7 °C from 8 m, fresh"
    assert rows["Boat"].endswith("; roll 4°, heave 0.1 m every 2.5 s")
    assert rows["Gain"].endswith(", automatic gain on, noise filter on")
    assert rows["Things"] == "2 boulders"
    plain = dict(made_with(scene(), picture(), Receiver()))
    assert "Things" not in plain
    assert plain["Bed"] == "silt, 6 m at x = 0, second echo on"
    lake.water = Water(layering="table", profile=[[1.0, 20.0], [9.0, 8.0]])
    words = dict(made_with(lake, picture(), receiver))["Water"]
    assert words == "20 °C at 1 m to 8 °C at 9 m, by a table, fresh"
    for relief, words in (("hump", "a hump of"), ("channel", "a channel of"), ("ripples", "every")):
        lake.bed.relief = relief
        assert words in dict(made_with(lake, picture(), receiver))["Bed"]


def test_one_quiet_line_tells_what_is_outside_stated_ranges() -> None:
    lake = scene()
    said = all_text(draw_pass(lake, three()))
    assert said.count("Outside stated ranges: bed outside 10 to 100 kHz; ") == 1
    assert "near field of the face (fan-down, side)" in said
    found = {name: outside(lake, name) for name in ("cone", "fan_down", "side")}
    told = {limit.code for limits in found.values() for limit in limits} - {"modelled"}
    line = outside_line(found)
    assert all(OUTSIDE[code] in line for code in told)
    assert sum(words in line for words in OUTSIDE.values()) == len(told)
    assert outside_line({"cone": ()}) == ""
    alone = all_text(draw_pass(lake, {"cone": picture()}))
    assert "near field" not in alone


def test_every_code_has_its_words() -> None:
    source = Path(simulator.__file__).parent / "validity.py"
    tree = ast.parse(source.read_text(encoding="utf-8"))
    codes = {
        call.args[0].value
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Limit"
        and isinstance(call.args[0], ast.Constant)
    }  # fmt: skip
    assert codes == {*OUTSIDE, "modelled"}


def test_a_crowded_page_keeps_its_words_apart() -> None:
    lake = scene(
        bed=Bed(relief="ledge", soft_thickness=0.2), water=Water(layering="thermocline"),
        schools=[School(form="perch", count=80, depth=3.0, speed=0.3)], weed=[Weed(x=1.0, y=2.0)],
        pens=[Pen(lift=1.0), Pen(x=1.5, walls="thin sheet")], ropes=[Rope(), Rope(x=1.0)],
        floats=[Float()], ballast=[Ballast(x=-1.0)], plates=[Plate()], housings=[Housing(x=0.5)],
        timber=[Timber(x=-1.5)], boulders=[Boulder(x=1.8)],
    )  # fmt: skip
    lake.sounder.cone = Look(pulse_kind="chirp", pulse_length=1e-3, taper="Hann")
    for size in ((1920, 1080), (1200, 900)):
        figure = draw_pass(lake, three(), size=size)
        renderer = FigureCanvasAgg(figure).get_renderer()
        boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in figure.texts]
        for n, (text, box) in enumerate(boxes):
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= size[0] and box.y1 <= size[1], text
            for other, there in boxes[n + 1 :]:
                assert not box.shrunk(0.98, 0.72).overlaps(there.shrunk(0.98, 0.72)), (text, other)
    said = all_text(figure)
    assert "1 ms chirp of 40 kHz" in said
    assert "thermocline" in said


@pytest.mark.parametrize("theme", THEMES)
def test_words_stand_out_from_the_paper(theme: str) -> None:
    def luminance(colour: str) -> float:  # WCAG 2.2, relative luminance
        v = np.array(to_rgb(colour))
        v = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
        return float(v @ [0.2126, 0.7152, 0.0722])

    colours = THEMES[theme]
    for ground, inks in (("paper", ("ink", "muted", "accent", "warn")), ("water", ("ink",)),
                         ("bed", ("muted",))):  # fmt: skip
        for ink in inks:
            pair = sorted((luminance(colours[ink]), luminance(colours[ground])))
            assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (ink, ground)


def test_two_at_once_are_the_same_as_one_alone() -> None:
    def bytes_of(_: int) -> bytes:
        return still_bytes(draw_pass(scene(), three(), size=(960, 540)), "png")

    alone = bytes_of(0)
    with ThreadPoolExecutor(2) as pool:
        assert set(pool.map(bytes_of, range(4))) == {alone}


def test_drawing_takes_no_pyplot() -> None:
    code = "import sys, apps.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
