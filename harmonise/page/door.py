"""The way in: the address of the page and the token that opens it."""

import secrets
from typing import NamedTuple

HOSTS = ("127.0.0.1", "localhost")
"""Names of this machine, for itself alone."""


class Door(NamedTuple):
    """Where the page is and who may come in."""

    token: str
    port: int

    @property
    def address(self) -> str:
        """The page's address with its token."""
        return f"http://{HOSTS[0]}:{self.port}/?token={self.token}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """Names by which the page may be asked for."""
        return tuple(f"{host}:{self.port}" for host in HOSTS)

    def fits(self, token: str) -> bool:
        """Whether a token is ours; takes as long for every wrong one."""
        return secrets.compare_digest(token.encode(), self.token.encode())


def new_token() -> str:
    """Return a token that cannot be guessed."""
    return secrets.token_urlsafe(24)
