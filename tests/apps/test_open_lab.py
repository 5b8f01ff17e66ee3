"""The Open lab without a browser: whatever is sent, it answers in words or pictures."""

from __future__ import annotations

import json
import math
import struct
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.controls import CONTROLS
from apps.pages.open_lab import OpenLab
from apps.scenes import SCENES, built_in

PATIENCE = 60.0  # s; the machines are shared


class Watched:
    """An Open lab whose answers can be waited for."""

    def __init__(self) -> None:
        self.lab = OpenLab()
        self._changed = threading.Condition()
        self.lab.view.param.watch(self._note, ["payload", "status"])

    def _note(self, *_events: Any) -> None:
        with self._changed:
            self._changed.notify_all()

    def wait(self, state: str, seq: int = 0) -> dict[str, Any]:
        """The header of payload ``seq`` or a later one, once the page stands in a state."""

        def there() -> bool:
            return self.lab.view.status["state"] == state and self.header().get("seq", -1) >= seq

        with self._changed:
            assert self._changed.wait_for(there, PATIENCE), self.lab.view.status
        return self.header()

    def header(self) -> dict[str, Any]:
        payload = self.lab.view.payload
        if not payload:
            return {}
        length = struct.unpack_from("<I", payload)[0]
        return json.loads(payload[4 : 4 + length])


@pytest.fixture
def watched() -> Iterator[Watched]:
    watched = Watched()
    yield watched
    watched.lab.close()


def test_a_picture_comes_by_itself_and_again_after_a_change(watched: Watched) -> None:
    first = watched.wait("ready", 1)
    assert first["title"] == "First pass over the shelf"
    assert first["pings"] == built_in(SCENES[0]).track.pings
    watched.lab._message({"type": "set", "values": {"track.pings": 200}, "n": 5})
    assert watched.lab.view.values["_n"] == 5
    assert watched.lab.view.values["track.pings"] == 200
    assert watched.wait("ready", 2)["pings"] == 200
    watched.lab._message({"type": "scene", "id": "ledge-to-port"})
    assert watched.wait("ready", 3)["title"] == built_in("ledge-to-port").title
    watched.lab._message({"type": "set", "values": {"bed.depth": 8.0}, "n": 6})
    watched.lab._message({"type": "reset"})
    assert watched.lab.view.values["bed.depth"] == 6.4
    assert watched.wait("ready", 5)["title"] == built_in("ledge-to-port").title


def test_a_refusal_stays_in_sight_and_the_next_message_clears_it(watched: Watched) -> None:
    watched.wait("ready", 1)
    watched.lab._message({"type": "set", "values": {"bed.depth": 99, "seed": 3}, "n": 1})
    header = watched.wait("error", 2)
    assert "Depth of the bed must be a number from 1 to 15 m" in watched.lab.view.status["text"]
    assert header["seq"] == 2  # what was right was drawn all the same
    assert watched.lab.view.values["seed"] == 3
    assert watched.lab.view.values["bed.depth"] == 4.2
    watched.lab._message({"type": "set", "values": {"bed.depth": 5.0}, "n": 2})
    watched.wait("ready", 3)
    assert watched.lab.view.status["text"] == ""


def test_a_picture_that_cannot_be_packed_is_told(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    watched.wait("ready", 1)

    def broken(*_given: Any, **_more: Any) -> bytes:
        raise RuntimeError("no")

    monkeypatch.setattr(watched.lab.packer, "pack", broken)
    watched.lab._message({"type": "set", "values": {"seed": 8}, "n": 1})
    watched.wait("error")
    assert "could not be sent" in watched.lab.view.status["text"]


def test_after_closing_nothing_is_answered() -> None:
    watched = Watched()
    watched.wait("ready", 1)
    watched.lab.close()
    watched.lab._message({"type": "set", "values": {"seed": 5}, "n": 1})
    assert watched.lab.desk.runner.kept_bytes() == 0
    assert watched.header()["seq"] == 1


PLAIN = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(min_value=10**300, max_value=10**310)
    | st.floats()
    | st.text(max_size=60)
    | st.just("<script>alert(1)</script>" * 30)
    | st.sampled_from(SCENES)
)
ANY = st.recursive(
    PLAIN,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=5,
)
VALUES = st.dictionaries(st.sampled_from(list(CONTROLS)) | st.text(max_size=8), ANY, max_size=6)
SENSIBLE = st.dictionaries(
    st.sampled_from(list(CONTROLS)), st.integers(-30, 600) | st.floats(-30, 600), max_size=6
)
MESSAGES = (
    st.fixed_dictionaries({"type": st.just("set"), "values": VALUES | SENSIBLE, "n": ANY})
    | st.fixed_dictionaries({"type": st.just("scene"), "id": ANY})
    | st.fixed_dictionaries({"type": st.just("reset")})
    | st.dictionaries(st.sampled_from(["type", "values", "n", "id"]) | st.text(max_size=5), ANY)
)


@pytest.fixture(scope="module")
def idle() -> OpenLab:
    """An Open lab that runs nothing."""
    lab = OpenLab()
    lab.desk.close()
    return lab


@settings(max_examples=120)
@given(messages=st.lists(MESSAGES, min_size=1, max_size=4))
def test_no_message_gets_past_the_controls(idle: OpenLab, messages: list[dict[str, Any]]) -> None:
    for message in messages:
        idle._message(message)
        status, values = idle.view.status, idle.view.values
        assert status["state"] in ("busy", "warming", "error")
        assert len(status["text"]) < 1000
        assert "<" not in status["text"]
        assert values["scene"] in SCENES
        json.dumps(values, allow_nan=False).encode()
        assert 0 <= values["_n"] <= 2**53
    scene = idle.session.scene
    assert scene.copy().to_dict() == scene.to_dict()  # still a scene a file could hold
    assert scene.check() == []


def test_only_a_number_is_taken_for_a_number(idle: OpenLab) -> None:
    idle._message({"type": "set", "values": {}, "n": 3})
    for n in (True, -1, 2.0, 10**5000, math.nan, "7", None, [1]):
        idle._message({"type": "set", "values": {}, "n": n})
        assert idle.view.values["_n"] == 3


def test_what_is_no_table_is_not_even_heard(idle: OpenLab) -> None:
    heard = idle.number
    for message in (None, 3, "set", [1], b"set"):
        idle.view._handle_msg(message)
    idle._message({})
    idle._message({"type": ["set"], "values": {}})
    idle._message({"type": "set", "values": [1, 2]})
    assert idle.number == heard
