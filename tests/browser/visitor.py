"""A visitor of the Open lab: what the tests do with the page and read off it."""

from __future__ import annotations

import base64
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.image import imread
from numpy.typing import NDArray

from apps.palettes import palette
from apps.scenes import built_in

PATIENCE = 60_000  # ms; the machines are shared
DESKTOP = {"width": 1280, "height": 720}
BALL = built_in("first-pass").targets[0]  # the one the tests look at
TALL = {"width": 1280, "height": 1400}  # each cell of cone and fan-down has a pixel of its own
PHONE = {"width": 390, "height": 844}
Bytes = NDArray[np.uint8]

# nothing on its way to the server, nothing computed there, and the newest picture painted
SETTLED = """(root) => {
  const { state, sender } = root.archwise || {};
  return state && state.header && !sender.flight && !Object.keys(sender.waiting).length
    && (state.values._n ?? 0) >= sender.n && !["busy", "warming"].includes(root.dataset.status)
    && Number(root.dataset.seq) === state.header.seq;
}"""
BASE64 = """const base64 = (bytes) => {
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) {
    text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  }
  return btoa(text);
};"""
# the focused element, through shadow roots
FOCUSED = """() => {
  let at = document.activeElement;
  while (at && at.shadowRoot && at.shadowRoot.activeElement) at = at.shadowRoot.activeElement;
  return at;
}"""


class Visitor:
    """One page of the Open lab; pages of one context share the browser's store of scripts."""

    def __init__(self, context: Any, address: str) -> None:
        self.address = address
        self.page = context.new_page()
        self.page.set_default_timeout(15_000)
        self.problems: list[str] = []
        self.frames: list[str] = []  # what the page sent, as text
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.problems.append(f"page error: {error}"))
        self.page.on("request", lambda request: self._asked(request.url))
        self.page.on("response", self._response)
        self.page.on("websocket", self._websocket)

    def _console(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self.problems.append(f"console {message.type}: {message.text}")

    def _asked(self, url: str) -> None:
        own = (self.address, self.address.replace("http", "ws", 1), "data:", "blob:")
        if not url.startswith(own):
            self.problems.append(f"asked elsewhere: {url}")

    def _response(self, response: Any) -> None:
        if response.status >= 400:
            self.problems.append(f"{response.status} for {response.url}")

    def _websocket(self, socket: Any) -> None:
        self._asked(socket.url)
        socket.on("framesent", lambda frame: self.frames.append(str(frame)))

    # opening and leaving

    def open(self, ready: bool = True) -> None:
        self.page.goto(self.address, wait_until="load" if ready else "commit")
        if ready:
            self.ready()

    def ready(self) -> None:
        self.page.wait_for_selector(".aw[data-seq]", timeout=PATIENCE)
        self.settle()

    def leave(self) -> list[str]:
        self.page.close()
        return self.problems

    # state

    @property
    def root(self) -> Any:
        return self.page.locator(".aw")

    def js(self, body: str, arg: Any = None) -> Any:
        """Evaluate an expression of root, state, page and arg."""
        text = (
            "(root, arg) => { const { state, page, sender, colourAt } = root.archwise;"
            f" return ({body}); }}"
        )
        return self.root.evaluate(text, arg)

    def until(self, function: str) -> None:
        """Wait for a function of the page's root."""
        self.page.wait_for_function(function, arg=self.root.element_handle(), timeout=PATIENCE)

    def settle(self) -> None:
        """Wait until the server has answered everything the page sent, and it is painted."""
        self.until(SETTLED)
        asked = self.messages()
        # passes are numbered: one for opening the page, one for each message
        self.until(f"(root) => root.archwise.state.header.seq > {len(asked)}")
        self.until(SETTLED)

    def answered(self, seq: int) -> None:
        """Wait for a picture newer than ``seq``, painted, with nothing left to come."""
        self.until(f"(root) => Number(root.dataset.seq) > {seq}")
        self.settle()

    def painted(self) -> None:
        """Let two frames go by."""
        self.page.evaluate(
            "() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))"
        )

    @property
    def seq(self) -> int:
        return int(self.js("state.header.seq"))

    @property
    def status(self) -> str:
        return str(self.js("root.dataset.status"))

    @property
    def status_words(self) -> str:
        return str(self.js("page.status.textContent"))

    @property
    def values(self) -> dict[str, Any]:
        return dict(self.js("state.values"))

    @property
    def header(self) -> dict[str, Any]:
        return dict(self.js("state.header"))

    def messages(self) -> list[Any]:
        """What the page told the server, as it meant it."""
        found = []
        for text in self.frames:
            if "data_event" in text:
                for event in json.loads(text)["events"]:
                    if event["msg_data"]["name"] == "data_event":
                        found.append(_plain(event["msg_data"]["values"])["data"])
        return found

    # pictures

    def look(self, name: str) -> dict[str, Any]:
        return dict(self.js("(({ codes, found, ...rest }) => rest)(state.looks.get(arg))", name))

    def codes(self, name: str) -> Bytes:
        """Codes of a look (pings, rows), as the page holds them."""
        text = self.root.evaluate(
            f"(root, name) => {{ {BASE64} return"
            " base64(root.archwise.state.looks.get(name).codes); }",
            name,
        )
        flat = np.frombuffer(base64.b64decode(text), dtype=np.uint8)
        return flat.reshape(self.header["pings"], -1)

    def canvas(self, expression: str) -> Bytes:
        """A canvas's own pixels (height, width, 4)."""
        text, width, height = self.root.evaluate(
            f"""(root) => {{ {BASE64} const {{ page }} = root.archwise;
            const canvas = {expression};
            const box = [canvas.width, canvas.height];
            const copy = document.createElement("canvas"); // to read it twice is not the page's way
            [copy.width, copy.height] = box;
            const context = copy.getContext("2d", {{ willReadFrequently: true }});
            context.drawImage(canvas, 0, 0);
            return [base64(context.getImageData(0, 0, ...box).data), ...box]; }}"""
        )
        return np.frombuffer(base64.b64decode(text), dtype=np.uint8).reshape(height, width, 4)

    def picture(self, name: str, layer: str = "base") -> Bytes:
        """The drawn echogram (height, width, 3) without its axis; ``layer`` "over": with alpha."""
        all_pixels = self.canvas(f'page.plots.get("{name}").{layer}')
        left = round(self.js("page.size.left * devicePixelRatio"))
        return all_pixels[:, left:, : 3 if layer == "base" else 4]

    def seen(self, locator: Any) -> NDArray[np.float64]:
        """What the screen shows of an element (height, width, 3), 0 to 1."""
        return np.asarray(imread(io.BytesIO(locator.screenshot())), dtype=float)[..., :3]

    def shot(self, path: Path) -> None:
        self.page.screenshot(path=str(path))

    # controls

    def unfold(self) -> None:
        """Show every setting of every group."""
        buttons = self.page.locator('.more[aria-expanded="false"]')
        while buttons.count():
            buttons.first.click()

    def control(self, name: str) -> Any:
        return self.page.locator(f'[id="{name}"]')

    def type(self, name: str, text: str) -> None:
        """Write into a setting's number field and press Enter."""
        field = self.control(f"{name}.number")
        field.fill(text)
        field.press("Enter")

    def set(self, name: str, value: float) -> None:
        """Type a value and wait for the picture of it."""
        before = self.seq
        self.type(name, str(value))
        self.answered(before)

    def choose(self, kind: str, value: str) -> None:
        """Choose a look or an axis."""
        self.page.locator(f'input[name="{kind}"][value="{value}"]').check()
        self.painted()

    def controls(self) -> list[dict[str, Any]]:
        return list(self.js("state.schema.groups.flatMap((group) => group.controls)"))


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


def _plain(value: Any) -> Any:
    """A value of the websocket's own notation, in which a dict is a map with entries."""
    if isinstance(value, dict) and value.get("type") == "map":
        return {key: _plain(inner) for key, inner in value.get("entries", [])}
    return value


def agrees(lab: Visitor, name: str) -> NDArray[np.bool_]:
    """Which pixels of an unpooled look have the colour due to their cell (height, width).

    Worked out here from the codes, the settings and the palettes, as a second way to the picture.
    The page moves levels by whole codes for range compensation, so there half a code is allowed.
    """
    codes, look, head = lab.codes(name), lab.look(name), lab.header
    chosen, drawn = lab.js("state.display"), lab.picture(name)
    r = np.maximum(np.abs(look["range0"] + look["dr"] * np.arange(look["rows"])), 0.05)
    moved = {
        "40 log r": 0.0 * r,
        "20 log r": -20.0 * np.log10(r),
        "none": -40.0 * np.log10(r) - 2.0 * look["absorption"] * r,
    }[chosen["range_compensation"]]
    level = head["code_low_db"] + head["code_step_db"] * codes + moved
    slack = 0.0 if chosen["range_compensation"] == "40 log r" else head["code_step_db"] / 2 + 1e-9
    height, width = drawn.shape[:2]
    rows = ((np.arange(height) + 0.5) * look["rows"] / height).astype(int)
    pings = ((np.arange(width) + 0.5) * head["pings"] / width).astype(int)
    weak, strong = (_places(level + shift, chosen)[pings][:, rows].T for shift in (-slack, slack))
    table = palette(chosen["palette"])
    right = np.zeros(weak.shape, dtype=bool)
    for step in range(int(np.max(strong - weak)) + 1):
        right |= np.all(table[np.minimum(weak + step, strong)] == drawn, axis=-1)
    return right


def _places(level: NDArray[np.float64], chosen: dict[str, Any]) -> NDArray[np.int64]:
    """Place in the palette of a level in dB."""
    t = np.clip((level + chosen["gain"]) / chosen["decibels_shown"] + 1.0, 0.0, 1.0)
    if chosen["steps"] == "8 steps":
        t = (np.minimum(np.floor(8 * t), 7) + 0.5) / 8
    return np.floor(255 * t + 0.5).astype(int)
