"""Work off the server's own thread: few threads, a bounded queue before them.

A thread cannot be stopped from outside. So a job that takes too long is answered for
and runs on; one that has not begun when its caller gives up never does.
"""

import threading
from asyncio import wrap_future
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

_Made = TypeVar("_Made")
_QUICK = 4
"""Jobs that a thread does in a second, at a guess."""


class BusyError(Exception):
    """The queue is full; `seconds` says when to ask again."""

    def __init__(self, seconds: int) -> None:
        """Keep the seconds."""
        super().__init__(f"Ask again in {seconds} seconds.")
        self.seconds = seconds


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
