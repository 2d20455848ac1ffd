"""Serving: a free port of this machine, the browser opened, a quiet end by Ctrl-C."""

import http.client
import os
import secrets
import socket
import threading
import webbrowser
from collections.abc import Mapping, Sequence
from contextlib import ExitStack, closing, suppress
from types import MappingProxyType
from typing import TYPE_CHECKING

from harmonise.errors import LibraryError, OutputError
from harmonise.page.sharing import home_address, tell_shared
from harmonise.page.site import HOSTS, PageAddress, new_token
from harmonise.page.token_file import user_token

if TYPE_CHECKING:
    from uvicorn import Server

    from harmonise.page.site import Site

USUAL_PORT = 8642
"""Where the page is unless that is taken: browsers keep tunes for one port."""
_PATIENCE = 2
"""Seconds that running answers get when the server is stopped."""
_SOON = 0.5
"""Seconds after which the browser is opened."""
_KNOCK = 2
"""Seconds that a program on our port gets to say that it is one of ours."""


def serve(
    port: int = 0,
    *,
    browser: bool = True,
    share: bool = False,
    usual: Mapping[str, str] = MappingProxyType({}),
) -> None:
    """Serve the page until Ctrl-C, or open the one that is served already.

    Args:
        port: The port; 0 for the usual one, or a free one where that is taken.
        browser: Whether the browser is opened.
        share: Whether it is served on the home network too, by a token of its own.
        usual: Paper, labels and level with which new work begins, by these names.

    Raises:
        OutputError: If the port is taken, there is no home network, the page that is to
            be shared runs already, or a library is missing.
    """
    token = user_token()
    running = PageAddress(token, port or USUAL_PORT)
    if _is_ours(running):
        if share:
            # On another port the tunes of this browser would not be there.
            raise OutputError(
                "The page is running already.", None, "Stop it, then share it."
            )
        _tell(f"The page is running already, at {running.address}")
        if browser:
            webbrowser.open(running.address)
        return
    home = home_address() if share else ""
    with ExitStack() as stack:
        place = stack.enter_context(_bind(HOSTS[0], port or USUAL_PORT, spare=not port))
        number = place.getsockname()[1]
        doors, places = [PageAddress(token, number)], [place]
        if home:
            # Another token: who has this one has it until the program stops.
            doors.append(PageAddress(new_token(), number, (home,)))
            places.append(stack.enter_context(_bind(home, number, spare=False)))
        server, site = _server(doors, usual)
        _tell(f"The page is at {doors[0].address}")
        if home:
            tell_shared(doors[1].address)
        _tell("Stop it with Ctrl-C.")
        if browser:
            opening = threading.Timer(_SOON, webbrowser.open, [doors[0].address])
            opening.daemon = True
            opening.start()
        with suppress(KeyboardInterrupt):
            server.run(sockets=places)
    if site.close():
        # A thread cannot be stopped, and nothing it makes is wanted any more.
        os._exit(0)


def _tell(line: str) -> None:
    print(line, flush=True)  # noqa: T201 - what the user is told


def _is_ours(running: PageAddress) -> bool:
    """Whether this user's own page is served at an address.

    The token is not shown to whoever is there: only who has it can answer.
    """
    nonce = secrets.token_hex(16)
    asking = http.client.HTTPConnection(HOSTS[0], running.port, timeout=_KNOCK)
    with closing(asking), suppress(OSError, http.client.HTTPException):
        asking.request("GET", f"/same/{nonce}")
        answer = asking.getresponse().read(100).decode("ascii", "replace")
        return secrets.compare_digest(answer.encode(), running.seal(nonce).encode())
    return False


def _server(
    doors: Sequence[PageAddress], usual: Mapping[str, str]
) -> "tuple[Server, Site]":
    """Return the server, which does not listen yet, and its workshops."""
    try:
        import uvicorn  # noqa: PLC0415 - slow to load, and only the page needs it

        from harmonise.page.connections import PatientProtocol  # noqa: PLC0415
        from harmonise.page.server import make_app  # noqa: PLC0415
        from harmonise.page.site import new_site  # noqa: PLC0415
    except ImportError as error:
        raise LibraryError("The page needs", "starlette", "uvicorn") from error
    shared = doors[1].address if len(doors) > 1 else ""
    site = new_site(shared=shared, usual=usual)
    config = uvicorn.Config(
        make_app(site, *doors),
        http=PatientProtocol,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="none",
        lifespan="off",
        timeout_graceful_shutdown=_PATIENCE,
    )
    return uvicorn.Server(config), site


def _bind(host: str, port: int, *, spare: bool) -> socket.socket:
    """Return a port, or any free one in its place if `spare` allows it."""
    # With its protocol named, asyncio lets what is accepted send at once (TCP_NODELAY);
    # otherwise a body waits 40 ms for the receipt of its headers.
    place = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if os.name != "nt":
        # On Windows this would let two servers share a port.
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind((host, port))
        # From now on a browser that comes early is kept waiting, not turned away.
        place.listen()
    except (OSError, OverflowError) as error:
        place.close()
        if spare:
            return _bind(host, 0, spare=False)
        raise OutputError(
            f"Port {port} cannot be had.", None, "Choose another, or none."
        ) from error
    return place
