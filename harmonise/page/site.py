"""One running server: its address and token, its limits, and its workshops.

Work is done off the server's own thread: by few threads, with a bounded queue before
them. A thread cannot be stopped from outside. So a job that takes too long is answered
for and runs on; one that has not begun when its caller gives up never does.
"""

import hmac
import secrets
import threading
from asyncio import wrap_future
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from types import MappingProxyType
from typing import NamedTuple, TypeVar

from harmonise.notation.formats import LARGEST

HOSTS = ("127.0.0.1", "localhost")
"""Names of this machine, for itself alone."""


class PageAddress(NamedTuple):
    """Where the page is and who may come in.

    Attributes:
        token: What lets in.
        port: The port.
        names: Names of the machine; the first is the one that is told.
    """

    token: str
    port: int
    names: tuple[str, ...] = HOSTS

    @property
    def address(self) -> str:
        """The page's address with its token, which browsers keep to themselves there.

        What stands behind # is never sent (RFC 9110, section 4.2.5).
        """
        return f"http://{self.hosts[0]}/#token={self.token}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """Names by which the page may be asked for."""
        return tuple(f"{name}:{self.port}" for name in self.names)

    def fits(self, token: str) -> bool:
        """Whether a token is ours; takes as long for every wrong one."""
        return secrets.compare_digest(token.encode(), self.token.encode())

    def seal(self, nonce: str) -> str:
        """Return what only a program that knows the token can make of a word."""
        return hmac.new(self.token.encode(), nonce.encode(), "sha256").hexdigest()


def new_token() -> str:
    """Return a token that cannot be guessed."""
    return secrets.token_urlsafe(24)


_Made = TypeVar("_Made")
_QUICK = 4
"""Jobs that a thread does in a second, at a guess."""


class BusyError(Exception):
    """The queue is full; its argument is the seconds after which to ask again."""


class Workshop:
    """Some threads with a bounded queue before them."""

    def __init__(self, name: str, threads: int, most: int) -> None:
        """Set up the threads; they start when they are needed.

        Args:
            name: Name of the threads.
            threads: How many.
            most: Most jobs that wait or run.
        """
        self._threads, self._most = threads, most
        self._here = 0
        self._lock = threading.Lock()
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix=name)

    async def do(self, job: Callable[..., _Made], *given: object) -> _Made:
        """Return what a job makes.

        Raises:
            BusyError: If the queue is full.
        """
        with self._lock:
            if self._here >= self._most:
                raise BusyError(1 + self._most // (_QUICK * self._threads))
            self._here += 1
        future = self._pool.submit(job, *given)
        # Counted down when the job is over, not when its caller has gone.
        future.add_done_callback(self._leave)
        return await wrap_future(future)

    @property
    def works(self) -> bool:
        """Whether a job waits or runs."""
        return self._here > 0

    def close(self) -> None:
        """Give up what waits; what runs ends by itself."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _leave(self, _: Future[_Made]) -> None:
        with self._lock:
            self._here -= 1


PATIENCE = 30.0
"""Seconds that a connection may say nothing, or half of something."""


class Limits(NamedTuple):
    """What one request may cost.

    Attributes:
        bytes: Largest body: a file of the largest size that is read, in base64.
        seconds: Longest time from its first byte to its answer.
        patience: Longest time until all of it has come.
        arranging: Most jobs of arranging that wait or run.
        engraving: Most jobs of engraving that wait or run.
    """

    bytes: int = LARGEST * 4 // 3 + 100_000
    seconds: float = 60
    patience: float = PATIENCE
    arranging: int = 48
    engraving: int = 32


USUAL = Limits()


class Site(NamedTuple):
    """One running server.

    Attributes:
        limits: What one request may cost.
        arranger: Where tunes are read and arranged, and files written.
        engraver: Where music is engraved, one score at a time.
        shared: Its address on the home network, with the token; "" if it has none.
        usual: Paper, labels and level with which new work begins, by these names.
    """

    limits: Limits
    arranger: Workshop
    engraver: Workshop
    shared: str = ""
    usual: Mapping[str, str] = MappingProxyType({})

    def close(self) -> bool:
        """Give up what waits; return whether something still runs."""
        self.arranger.close()
        self.engraver.close()
        return self.arranger.works or self.engraver.works


def new_site(
    limits: Limits = USUAL,
    shared: str = "",
    usual: Mapping[str, str] = MappingProxyType({}),
) -> Site:
    """Return a server's workshops: two threads arrange, and one engraves.

    A second engraver would read the music font again into a toolkit of its own.
    """
    return Site(
        limits,
        Workshop("arranger", 2, limits.arranging),
        Workshop("engraver", 1, limits.engraving),
        shared,
        usual,
    )
