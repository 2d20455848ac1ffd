"""The page on a home network: which address this machine has there, and its code.

A home network's addresses are those that routers give out behind one address of the
world (RFC 1918; RFC 4193 is for the other kind of address). On any other network the
page is not shared: everybody could reach it.
"""

import io
import socket
from contextlib import suppress
from ipaddress import ip_address, ip_network
from typing import TYPE_CHECKING

from harmonise.errors import LibraryError, OutputError

if TYPE_CHECKING:
    from segno import QRCode

_HOME = tuple(map(ip_network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")))
_ANYWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737); nothing is sent to it."""
WARNING = (
    "Whoever is on this network and has the address can use the page until you stop "
    "it, and what is sent can be read there. Share it at home only."
)


def home_address() -> str:
    """Return the address that this machine has on its home network.

    Raises:
        OutputError: If it is on none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            # Only looks up by which of its addresses the machine would send.
            asking.connect(_ANYWHERE)
            found = str(asking.getsockname()[0])
        except OSError:
            found = "127.0.0.1"
    if not any(ip_address(found) in network for network in _HOME):
        known = "" if found.startswith("127.") else f", for its address is {found}"
        raise OutputError(
            f"This machine is on no home network{known}.",
            None,
            "Join your own network, or leave out --share.",
        )
    return found


def scan_code(address: str) -> str:
    """Return a code to scan, in block letters for a terminal (ISO/IEC 18004).

    Raises:
        LibraryError: If segno is not installed.
    """
    drawn = io.StringIO()
    _code(address).terminal(drawn, compact=True)
    return drawn.getvalue()


def scan_rows(address: str) -> tuple[str, ...]:
    """Return a code to scan as rows of modules without its margin, 1 for a dark one.

    Raises:
        LibraryError: If segno is not installed.
    """
    return tuple("".join(map(str, row)) for row in _code(address).matrix)


def _code(address: str) -> "QRCode":
    try:
        import segno  # noqa: PLC0415 - only a shared page needs it
    except ImportError as error:
        raise LibraryError("A code to scan needs", "segno") from error
    return segno.make(address, error="l", micro=False)


def tell_shared(address: str) -> None:
    """Print where the page is shared, a code of it, and what that means."""
    code = scan_code(address)
    print(f"Shared on your network at {address}")  # noqa: T201 - told to the user
    with suppress(UnicodeEncodeError):  # A terminal without the letters.
        print(code)  # noqa: T201
    print(WARNING, flush=True)  # noqa: T201
