"""The site's server: its own page, nothing from outside, a free port, a clean end."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from urllib.parse import urljoin, urlparse

import pytest

from apps.serve import HOST, USUAL_PORT, free_port

ROOT = Path(__file__).parents[2]
PATIENCE = 90.0  # s; the machines are shared
SERVED = ("text/javascript", "application/javascript", "text/css", "image/png")
ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/")


class Site:
    """A server in a process of its own, as a visitor starts it."""

    def __init__(self, *words: str, browser: str | None = None) -> None:
        options = [] if browser else ["--no-browser"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "apps.cli", *words, *options],
            cwd=ROOT,
            env={**os.environ, **({"BROWSER": browser} if browser else {})},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        self.lines: Queue[str] = Queue()
        self.errors: list[str] = []
        self._readers = [Thread(target=self._read), Thread(target=self._hear)]
        for reader in self._readers:
            reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line)

    def _hear(self) -> None:
        assert self.process.stderr is not None
        self.errors += list(self.process.stderr)

    @property
    def address(self) -> str:
        """Where it says it is; waits for the line."""
        if not hasattr(self, "_address"):
            try:
                line = self.lines.get(timeout=PATIENCE)
            except Empty:
                raise AssertionError(f"no address; stderr: {self.errors}") from None
            found = ADDRESS.search(line)
            assert found, line
            self._address = found[0]
        return self._address

    def end(self) -> tuple[int, str]:
        """Ctrl+C; exit code and all of stderr."""
        self.process.send_signal(signal.SIGINT)
        return self.ended()

    def ended(self) -> tuple[int, str]:
        try:
            code = self.process.wait(PATIENCE)
        finally:
            if self.process.poll() is None:
                self.process.kill()
        for reader in self._readers:
            reader.join(PATIENCE)
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()
        return code, "".join(self.errors)


@contextlib.contextmanager
def running(*words: str) -> Iterator[Site]:
    site = Site(*words)
    try:
        yield site
    finally:
        if site.process.poll() is None:
            site.process.kill()
        site.ended()


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    with running() as one:
        yield one


def get(address: str) -> tuple[str, bytes]:
    """Content type and body; a server just started may need another try."""
    end = time.monotonic() + PATIENCE
    while True:
        try:
            with urllib.request.urlopen(address, timeout=PATIENCE) as answer:
                return answer.headers.get_content_type(), answer.read()
        except urllib.error.HTTPError:
            raise
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)


def outside(text: str) -> list[str]:
    """Addresses a browser would fetch from elsewhere; a name space is only a name."""
    fetched = re.findall(
        r"""(?:src|href|action|data-src|poster)\s*=\s*["']([^"']+)|url\(\s*["']?([^"')]+)|"""
        r"""@import\s+["']([^"']+)|\bfrom\s+["'](https?:[^"']+)|import\(\s*["']([^"']+)""",
        text,
    )
    links = [link for group in fetched for link in group if link]
    return [x for x in links if re.match(r"(https?:)?//", x) and urlparse(x).hostname != HOST]


@contextlib.contextmanager
def listening(port: int = 0) -> Iterator[int]:
    with socket.socket() as other:
        other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        other.bind((HOST, port))
        other.listen()
        yield other.getsockname()[1]


def test_a_port_asked_for_is_taken() -> None:
    with listening() as port:
        pass
    assert free_port(port) == port


def test_a_taken_port_is_refused_in_words() -> None:
    with listening() as port, pytest.raises(ValueError, match=f"{port} is taken") as caught:
        free_port(port)
    assert str(caught.value).startswith("port must be free; ")
    assert "leave --port out" in str(caught.value)


def test_the_usual_port_gives_way_when_taken() -> None:
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(OSError):  # another program may hold it: all the same here
            stack.enter_context(listening(USUAL_PORT))
        port = free_port(None)
        assert port != USUAL_PORT
        with listening(port):
            pass  # it is indeed free


def test_the_page_is_ours_and_asks_nothing_from_outside(site: Site) -> None:
    kind, body = get(site.address)
    html = body.decode("utf-8")
    assert kind == "text/html"
    assert "<title>Archwise: Open lab</title>" in html
    assert '<html lang="en"' in html
    assert 'name="viewport"' in html
    assert "needs JavaScript" in html
    assert outside(html) == []
    # not even as text, but for the name space of the picture in the tab
    left = html.replace("http://www.w3.org/2000/svg", "").replace(site.address, "")
    assert re.findall(r"https?://[^\s\"'<>]+", left) == []


def test_what_the_page_needs_comes_from_this_server(site: Site) -> None:
    html = get(site.address)[1].decode("utf-8")
    links = re.findall(r"""<(?:script|link)[^>]+(?:src|href)=["']([^"']+)["']""", html)
    wanted = [urljoin(site.address, link) for link in links if not link.startswith("data:")]
    assert any("static/" in link for link in wanted)
    for link in wanted:
        assert link.startswith(site.address)
        kind, body = get(link)
        assert kind in SERVED, link
        assert len(body) > 100


def test_an_unknown_page_is_not_found_and_tells_nothing(site: Site) -> None:
    for path in ("nowhere", "static/../../pyproject.toml", "assets/../pyproject.toml"):
        with pytest.raises(urllib.error.HTTPError) as caught:
            get(site.address + path)
        with caught.value as answer:
            assert answer.code in (400, 403, 404)
            assert b"Traceback" not in answer.read()


def test_only_this_machine_can_reach_it(site: Site) -> None:
    port = int(ADDRESS.search(site.address)[1])  # type: ignore[index]
    own = {i[4][0] for i in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    for address in own - {HOST} - {a for a in own if a.startswith("127.")}:
        with (
            pytest.raises(OSError, match=r"refused|timed out"),
            socket.create_connection((address, port), 2),
        ):
            pass


def test_a_second_server_picks_another_port_and_both_end_on_ctrl_c(site: Site) -> None:
    with running() as second:
        assert second.address != site.address
        assert "Open lab" in get(second.address)[1].decode("utf-8")
        code, err = second.end()
        assert (code, err.splitlines()[-1:]) == (0, ["stopped"])
        assert "Traceback" not in err
        assert "Error" not in err
        with pytest.raises(OSError, match=r"refused|timed out"):
            urllib.request.urlopen(second.address, timeout=2)
    assert get(site.address)[0] == "text/html"  # the first goes on


def test_ctrl_c_ends_it_at_once_even_while_it_warms_up() -> None:
    with running() as fresh:
        assert get(fresh.address)[0] == "text/html"  # a visitor waits for a picture
        start = time.monotonic()
        code, err = fresh.end()
        assert code == 0
        assert "Traceback" not in err
        assert time.monotonic() - start < 20.0


def test_a_taken_port_asked_for_ends_with_2_and_one_line() -> None:
    with listening() as port:
        taken = Site("--port", str(port))
        code, err = taken.ended()
    assert code == 2
    assert err == (
        f"archwise: port must be free; {port} is taken. Try another, or leave --port out.\n"
    )
    assert taken.lines.empty()


def test_the_browser_is_opened_at_the_address_unless_told_not_to(tmp_path: Path) -> None:
    note = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > "{note}"\n')
    browser.chmod(0o755)
    opened = Site(browser=f"{browser} %s")
    try:
        address = opened.address
        end = time.monotonic() + PATIENCE
        while not (note.exists() and note.read_text()) and time.monotonic() < end:
            time.sleep(0.05)
        assert note.read_text().strip() == address
    finally:
        opened.end()
