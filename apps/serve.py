"""The site: one server process, the pages, and the engine warmed up in the background."""

from __future__ import annotations

import contextlib
import errno
import logging
import socket
import sys
import webbrowser
from importlib.resources import files
from typing import Any

import panel as pn

from apps.compute import stop, warm
from apps.pages.open_lab import open_lab

USUAL_PORT = 8472
HOST = "127.0.0.1"
MAX_MESSAGE = 2**20  # bytes a browser may send at once; ours are far smaller


def free_port(wanted: int | None) -> int:
    """The wanted port, or the usual one, or any free one when the usual one is taken.

    Raises
    ------
    ValueError
        When a port was asked for by number and cannot be had.
    """
    for port in [wanted] if wanted else [USUAL_PORT, 0]:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((HOST, port))
                return int(probe.getsockname()[1])
            except OSError as error:
                if wanted:
                    taken = error.errno == errno.EADDRINUSE
                    why = "is taken" if taken else "cannot be used"
                    raise ValueError(
                        f"port must be free; {wanted} {why}. Try another, or leave --port out."
                    ) from None
    raise ValueError("no port is free on this machine. Close a program that listens, and retry.")


def page() -> Any:
    """The Open lab in a page of our own, which asks nothing from outside."""
    html = (files("apps") / "page.html").read_text(encoding="utf-8")
    template = pn.Template(html)
    template.add_panel("page", open_lab())
    return template


def serve(port: int | None = None, browser: bool = True) -> None:
    """Serve the site on this machine until interrupted.

    Raises
    ------
    ValueError
        When the port asked for cannot be had.
    """
    logging.basicConfig(format="%(name)s: %(message)s", level=logging.WARNING)
    logging.getLogger("archwise").setLevel(logging.INFO)
    chosen = free_port(port)
    address = f"http://{HOST}:{chosen}/"
    warm.start()
    server = pn.serve(
        {"/": page},
        port=chosen,
        address=HOST,
        websocket_origin=[f"{HOST}:{chosen}", f"localhost:{chosen}"],
        websocket_max_message_size=MAX_MESSAGE,
        show=False,
        start=False,
        verbose=False,
        title={"/": "Archwise: Open lab"},
        check_unused_sessions_milliseconds=10_000,
        unused_session_lifetime_milliseconds=30_000,
    )
    print(f"Archwise is at {address}  (stop it with Ctrl+C)", flush=True)
    if browser:
        server.io_loop.call_later(0.5, lambda: webbrowser.open(address))
    server.start()
    with contextlib.suppress(KeyboardInterrupt):
        server.io_loop.start()
    stop()
    print("stopped", file=sys.stderr)
