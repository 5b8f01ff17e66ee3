"""A pass packed for the browser: a header in JSON, then the codes of the looks that changed."""

from __future__ import annotations

import json
import struct
import weakref
from typing import Any

import numpy as np

import simulator
from apps.captions import TITLES, cautions, look_words, made_with, outside_line
from apps.drawing import lake_view
from simulator import Echo, Pass, Receiver, Scene, to_picture
from simulator.echo import Layer
from simulator.picture import CODE_LOW_DB, CODE_STEP_DB
from simulator.sounder import pulse
from simulator.validity import outside

LOOKED_AT = 120  # pings whose nearest bed is searched over relief; between them it is straight
# of each beam: pings, rows, first range, layers
Trace = tuple[tuple[int, int, float, tuple[weakref.ref[Layer], ...]], ...]


class Packer:
    """Packs passes; a look whose layers are the very same as last time is sent without codes."""

    def __init__(self) -> None:
        self._sent: dict[str, Trace] = {}

    def pack(self, scene: Scene, made: Pass, **extra: Any) -> bytes:
        """One payload: uint32 length of the header, the header, the codes."""
        looks, body = [], bytearray()
        about = None
        for name, echo in made.looks.items():
            picture = to_picture(echo, Receiver())
            about = about or picture
            look = getattr(scene.sounder, name)
            limits = outside(scene, name)
            row = {
                "name": name,
                "title": TITLES[name],
                "subtitle": look_words(look, echo.about["sound_speed"]),
                "rows": len(picture.range_m),
                "range0": float(picture.range_m[0]),
                "dr": _row_height(echo),
                "absorption": picture.absorption_db_m,
                "bed": {b.side: first_return(scene, b.side, echo.about) for b in echo.beams},
                "outside": outside_line({name: limits}),
                "limits": [limit.text for limit in limits],
                "codes": None,
            }
            if not _same(self._sent.get(name, ()), echo):
                codes = picture.codes()
                row["codes"] = {"offset": len(body), "length": codes.size}
                body += codes.tobytes()
            looks.append(row)
        self._sent = {name: _trace(echo) for name, echo in made.looks.items()}
        track = scene.track
        header = {
            "title": scene.title,
            "look_for": scene.look_for,
            "caption": _caption(scene, about),
            "caution": cautions(scene),
            "pings": track.pings,
            "x0": float(track.positions()[0, 0]),
            "dx": track.speed / track.ping_rate,
            "dt": 1.0 / track.ping_rate,
            "sound_speed": next(iter(made.looks.values())).about["assumed_sound_speed"],
            "code_low_db": CODE_LOW_DB,
            "code_step_db": CODE_STEP_DB,
            "looks": looks,
            "lake": lake_view(scene),
            "marks": [],
            "computed_ms": round(1000.0 * made.seconds, 1),
            "version": simulator.__version__,
            **extra,
        }
        text = json.dumps(header, separators=(",", ":"), allow_nan=False).encode()
        return struct.pack("<I", len(text)) + text + bytes(body)


def first_return(scene: Scene, side: str, about: dict[str, Any]) -> list[float]:
    """Slant range (m, as the sounder reckons it) at which the bed begins on a side, each ping.

    Of a plane: the foot of the perpendicular, or, where that lies on the other side, the nearest
    point right under the boat. Of relief: the nearest of many points, to a few centimetres.
    """
    place = scene.track.positions()
    under = np.asarray(scene.bed.depth_at(place[:, 0], place[:, 1])) - place[:, 2]
    if scene.bed.level:
        along, across = scene.bed.gradient()
        foot = -across  # sign of where the perpendicular meets the bed: deeper to starboard, port
        other = (side == "port" and foot > 0) or (side == "starboard" and foot < 0)
        nearest = under / np.sqrt(1.0 + along**2 + (0.0 if other else across**2))
    else:
        nearest = _nearest(scene, side, place, under)
    scale = about["assumed_sound_speed"] / about["sound_speed"]
    return [round(float(r), 3) for r in nearest * scale]


def _nearest(scene: Scene, side: str, place: Any, under: Any) -> Any:
    """Nearest distance (P,) from the boat to a bed with relief on a side, m."""
    out = {"port": (-1.0, 0.0), "starboard": (0.0, 1.0)}.get(side, (-1.0, 1.0))
    some = np.unique(np.linspace(0, len(place) - 1, min(len(place), LOOKED_AT)).astype(int))
    # nothing nearer than what is right under the boat can lie farther off than that
    x = np.linspace(-1.0, 1.0, 25) * under[some, None]
    y = np.linspace(*out, 49) * under[some, None]
    dx, dy = x[:, :, None], y[:, None, :]
    bed = scene.bed.depth_at(place[some, 0, None, None] + dx, place[some, 1, None, None] + dy)
    depth = np.asarray(bed) - place[some, 2, None, None]
    far = np.sqrt(dx**2 + dy**2 + depth**2).min(axis=(1, 2))
    return np.interp(np.arange(len(place)), some, far)


# what acts in the browser alone: it would be stale in a caption made here
LOCAL = ("Gain", "Colours", "Range compensation")


def _row_height(echo: Echo) -> float:
    """Metres of range a row stands for; a picture may be a single row high."""
    row_s = echo.about["resolution_time"] * pulse.FINE_PER_ROW / pulse.FINE_PER_PULSE
    return float(row_s * echo.about["assumed_sound_speed"] / 2.0)


def _caption(scene: Scene, picture: Any) -> str:
    rows = [row for row in made_with(scene, picture, scene.receiver) if row[0] not in LOCAL]
    return " · ".join(f"{name}: {value}" for name, value in rows)


def _trace(echo: Echo) -> Trace:
    """What an echo was made of, without holding its memory: axes and layers of each beam."""
    return tuple(
        (b.pings, len(b.range_m), float(b.range_m[0]), tuple(weakref.ref(x) for x in b.layers))
        for b in echo.beams
    )


def _same(sent: Trace, echo: Echo) -> bool:
    """Whether an echo holds the very layers that were sent, on the same axes."""
    if len(sent) != len(echo.beams):
        return False
    for (pings, rows, first, layers), beam in zip(sent, echo.beams, strict=True):
        if (pings, rows, first) != (beam.pings, len(beam.range_m), float(beam.range_m[0])):
            return False
        if len(layers) != len(beam.layers):
            return False
        if any(old() is not new for old, new in zip(layers, beam.layers, strict=True)):
            return False
    return True
