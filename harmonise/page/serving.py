"""Serving: a free port of this machine, the browser opened, a quiet end by Ctrl-C."""

import os
import socket
import threading
import webbrowser
from contextlib import suppress
from typing import TYPE_CHECKING

from harmonise.errors import LibraryError, OutputError
from harmonise.page.site import HOSTS, PageAddress, new_token

if TYPE_CHECKING:
    from uvicorn import Server

    from harmonise.page.site import Site

USUAL_PORT = 8642
"""Where the page is unless that is taken: browsers keep tunes for one port."""
_PATIENCE = 2
"""Seconds that running answers get when the server is stopped."""
_SOON = 0.5
"""Seconds after which the browser is opened."""


def serve(port: int = 0, *, browser: bool = True) -> None:
    """Serve the page until Ctrl-C.

    Args:
        port: The port; 0 for the usual one, or a free one where that is taken.
        browser: Whether the browser is opened.

    Raises:
        OutputError: If the port is taken, or a library is missing.
    """
    with _bind(port or USUAL_PORT, spare=not port) as place:
        door = PageAddress(new_token(), place.getsockname()[1])
        server, site = _server(door)
        # The one thing that the user is told.
        print(f"The page is at {door.address}", flush=True)  # noqa: T201
        print("Stop it with Ctrl-C.", flush=True)  # noqa: T201
        if browser:
            opening = threading.Timer(_SOON, webbrowser.open, [door.address])
            opening.daemon = True
            opening.start()
        with suppress(KeyboardInterrupt):
            server.run(sockets=[place])
    if site.close():
        # A thread cannot be stopped, and nothing it makes is wanted any more.
        os._exit(0)


def _server(door: PageAddress) -> "tuple[Server, Site]":
    """Return the server, which does not listen yet, and its workshops."""
    try:
        import uvicorn  # noqa: PLC0415 - slow to load, and only the page needs it

        from harmonise.page.server import make_app  # noqa: PLC0415
        from harmonise.page.site import new_site  # noqa: PLC0415
    except ImportError as error:
        raise LibraryError("The page needs", "starlette", "uvicorn") from error
    site = new_site()
    config = uvicorn.Config(
        make_app(door, site),
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="none",
        lifespan="off",
        timeout_graceful_shutdown=_PATIENCE,
    )
    return uvicorn.Server(config), site


def _bind(port: int, *, spare: bool) -> socket.socket:
    """Return a port, or any free one in its place if `spare` allows it."""
    place = socket.socket()
    if os.name != "nt":
        # On Windows this would let two servers share a port.
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind((HOSTS[0], port))
        # From now on a browser that comes early is kept waiting, not turned away.
        place.listen()
    except (OSError, OverflowError) as error:
        place.close()
        if spare:
            return _bind(0, spare=False)
        raise OutputError(
            f"Port {port} cannot be had.", None, "Choose another, or none."
        ) from error
    return place
