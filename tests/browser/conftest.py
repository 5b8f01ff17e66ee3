"""One server and one browser for all browser tests; each test gets its own visitor.

A visitor whose page complained, or asked anything of another address, fails its test.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
from visitor import DESKTOP, Visitor

FOLDER = Path(__file__).parent
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
UP = 60.0  # s until the server must listen
WARM = 180.0  # s until it must have compiled the echo engine


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if FOLDER in item.path.parents:
            item.add_marker(pytest.mark.browser)


def _without(words: str) -> NoReturn:
    """No browser: a reason to skip, or a failure where one is required."""
    if os.environ.get("ARCHWISE_REQUIRE_BROWSER") == "1":
        pytest.fail(words, pytrace=False)
    pytest.skip(words)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """The system's Chromium, without a window."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _without(
            "browser tests need the playwright package, which is not installed. "
            "Install it with: pip install -e '.[test]'"
        )
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        _without(
            "browser tests need a Chromium browser, and none was found. "
            "Install one with: apt-get install chromium"
        )
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=found, args=FLAGS)
        yield chromium
        chromium.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """The site in a process of its own, as the README starts it."""

    def __init__(self, log: Path) -> None:
        port = free_port()
        self.address = f"http://127.0.0.1:{port}/"
        self.log = log
        command = [sys.executable, "-m", "apps.cli", "serve", "--no-browser", "--port", str(port)]
        with log.open("w") as out:
            self.process = subprocess.Popen(
                command, cwd=FOLDER.parents[1], stdout=out, stderr=subprocess.STDOUT
            )

    def said(self) -> str:
        return self.log.read_text(encoding="utf-8")

    def wait(self, ready: Callable[[], bool], seconds: float) -> None:
        end = time.monotonic() + seconds
        while not ready():
            assert self.process.poll() is None, f"the server ended:\n{self.said()}"
            assert time.monotonic() < end, f"the server was not ready in time:\n{self.said()}"
            time.sleep(0.1)

    def listens(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}static/js/bokeh.min.js", timeout=5):
                return True
        except OSError:
            return False

    def is_warm(self) -> bool:
        return "the echo engine is ready" in self.said()

    def stop(self) -> None:
        """End it; nothing it said may be a traceback."""
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(15)
        assert "Traceback" not in self.said(), self.said()


@pytest.fixture(scope="session")
def server(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The server of all tests, warmed up. Asks for the browser first: without it, no server."""
    one = Server(tmp_path_factory.mktemp("server") / "log.txt")
    try:
        one.wait(one.listens, UP)
        one.wait(one.is_warm, WARM)
        yield one
    finally:
        one.stop()


@pytest.fixture
def cold_server(browser: Any, tmp_path: Path) -> Iterator[Server]:
    """A server that has just begun to listen."""
    one = Server(tmp_path / "log.txt")
    try:
        one.wait(one.listens, UP)
        yield one
    finally:
        one.stop()


@pytest.fixture(scope="session")
def context_for(browser: Any) -> Iterator[Callable[[dict[str, Any]], Any]]:
    """Browser contexts by their options, kept so that scripts are fetched and compiled once."""
    contexts: dict[str, Any] = {}

    def context(options: dict[str, Any]) -> Any:
        options = {"viewport": DESKTOP, "color_scheme": "light", **options}
        key = str(sorted(options.items()))
        if key not in contexts:
            contexts[key] = browser.new_context(**options)
        return contexts[key]

    yield context
    for one in contexts.values():
        one.close()


@pytest.fixture
def visit(context_for: Any, server: Server) -> Iterator[Callable[..., Visitor]]:
    """Open the page as a new visitor; options are those of a browser context."""
    came: list[Visitor] = []

    def open_page(address: str = "", ready: bool = True, **options: Any) -> Visitor:
        one = Visitor(context_for(options), address or server.address)
        came.append(one)
        one.open(ready=ready)
        return one

    yield open_page
    problems = [problem for one in came for problem in one.leave()]
    assert not problems, problems


@pytest.fixture
def lab(visit: Callable[..., Visitor]) -> Visitor:
    """A visitor with the page at 1280×720, in light."""
    return visit()
