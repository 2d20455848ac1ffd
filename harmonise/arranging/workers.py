"""The work on a book: by several processes at once, and what becomes of one that dies.

Only the caller reads and writes files. A worker gets what a tune's file holds and gives
back what is to be written, so that it needs no disk, and a tune that is begun again
leaves nothing behind. The result is the same whatever the number of workers: each tune
is worked out by itself, and they are told in the book's order.

A worker may be killed, most often because memory runs out. The tunes that were under
way are then begun again, one after the other: the one that costs a second worker is
named, and the others lose nothing.
"""

import os
import signal
import warnings
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import BrokenExecutor
from contextlib import closing, contextmanager
from functools import cache, partial
from itertools import islice
from threading import Thread, current_thread, main_thread
from time import sleep
from typing import NamedTuple

from harmonise.arranging.book import BookPiece, Outcome, Work, opened
from harmonise.errors import HarmoniseError

_IN_PROCESS = 4
"""So few tunes are done sooner than another process starts."""
_AT_ONCE = 32
"""Tunes a worker that are held in memory at once."""
_LOOK = 1
"""Seconds between a worker's looks for the process that started it."""
_DEATH = (
    "The process that worked on this tune has ended, twice: most often memory runs "
    "out. Arrange it by itself, or with fewer --workers."
)

Outcomes = tuple[Outcome, ...]
Yielded = Generator[Outcomes, None, None]


class Team(NamedTuple):
    """Who works on a book.

    Attributes:
        do: Does the work on pieces, and yields what became of them, in order; raises
            `BrokenExecutor` if one of them costs a worker.
        size: How many pieces are worked on at once.
    """

    do: Callable[[Work, Sequence[BookPiece]], Yielded]
    size: int


def run_book(
    pieces: Sequence[BookPiece],
    work: Work,
    team: Team | None = None,
    before: Callable[[BookPiece], Outcomes | None] | None = None,
) -> Yielded:
    """Yield what became of each piece, in order.

    Args:
        pieces: The tunes.
        work: What is done with each; it can be pickled.
        team: Who works; by default a process for each core.
        before: Returns what became of a piece in an earlier run, where that still
            holds; it gets the piece with its content.
    """
    team = team or team_here()
    if len(pieces) <= _IN_PROCESS:
        team = team_here(1)
    rest = iter(pieces)
    while steps := [_step(each, before) for each in islice(rest, _AT_ONCE * team.size)]:
        given = [step for step in steps if isinstance(step, BookPiece)]
        with closing(_surviving(team, work, given)) as done:
            for step in steps:
                yield next(done) if isinstance(step, BookPiece) else step


def team_here(workers: int = 0) -> Team:
    """Return processes of this machine as a team.

    Args:
        workers: How many; 0 for one a core. One is no process of its own.
    """
    workers = workers or os.cpu_count() or 1
    return Team(
        _by_oneself if workers == 1 else partial(_by_processes, workers), workers
    )


def _step(
    piece: BookPiece, before: Callable[[BookPiece], Outcomes | None] | None
) -> BookPiece | Outcomes:
    """Return a piece that is to be worked on, or what there is to tell without that."""
    try:
        piece = opened(piece)
    except HarmoniseError as error:
        return (Outcome(piece.name, failure=str(error)),)
    return (before(piece) if before else None) or piece


def _surviving(team: Team, work: Work, pieces: Sequence[BookPiece]) -> Yielded:
    """Yield what became of each piece, though workers die."""
    left = deque(pieces)
    while left:
        try:
            with closing(team.do(work, tuple(left))) as done:
                for outcomes in done:
                    left.popleft()
                    yield outcomes
        except BrokenExecutor:
            # So many may have been begun: any of them may have been the cause.
            for _ in range(min(2 * team.size, len(left))):
                yield _begun_again(team, work, left.popleft())


def _begun_again(team: Team, work: Work, piece: BookPiece) -> Outcomes:
    try:
        with closing(team.do(work, (piece,))) as done:
            return next(done)
    except BrokenExecutor:
        return (Outcome(piece.name, failure=_DEATH),)


def _by_oneself(work: Work, pieces: Sequence[BookPiece]) -> Yielded:
    yield from (kept_going(work, piece) for piece in pieces)


def _by_processes(workers: int, work: Work, pieces: Sequence[BookPiece]) -> Yielded:
    """Yield what processes of this machine make of pieces.

    Raises:
        BrokenExecutor: If one of them dies.
    """
    from joblib import Parallel, delayed  # noqa: PLC0415 (slow to load)

    caller = os.getpid()
    jobs = [delayed(_in_worker)(caller, work, piece) for piece in pieces]
    team = Parallel(workers, return_as="generator", batch_size=1)
    yield from taken_from(team, jobs)


def taken_from(
    team: Callable[[Sequence[object]], Yielded], jobs: Sequence[object]
) -> Yielded:
    """Yield what joblib's workers make of jobs, in order.

    Args:
        team: joblib's `Parallel`.
        jobs: Calls, delayed.
    """
    with _deaf_children():
        done = team(jobs)
    try:
        for outcomes in done:  # noqa: UP028 (it would close the team with its warning)
            yield outcomes
    finally:
        with warnings.catch_warnings():
            # Who stops in the middle knows that the rest is not used.
            warnings.simplefilter("ignore")
            done.close()


@contextmanager
def _deaf_children() -> Iterator[None]:
    """Keep Ctrl-C from processes that start inside: a terminal sends it to all.

    What is blocked here is blocked in them for good; here it is only late.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _in_worker(caller: int, work: Work, piece: BookPiece) -> Outcomes:
    _end_with(caller)
    return kept_going(work, piece)


@cache
def _end_with(caller: int) -> None:
    """End this process as soon as its caller is gone, even if that was killed.

    A worker waits for its caller to take what it has made, and would wait for ever.
    Ctrl-C is the caller's: a worker that was started late must not cry out.
    """
    if current_thread() is main_thread():
        signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == caller:
            sleep(_LOOK)
        os._exit(1)

    Thread(target=watch, daemon=True).start()


def kept_going(work: Work, piece: BookPiece) -> Outcomes:
    """Do the work; a failure becomes an outcome."""
    try:
        return work(piece)
    except HarmoniseError as error:
        failure = str(error)
    except MemoryError:
        failure = "There is not enough memory for it. Use fewer --workers."
    except Exception as error:  # noqa: BLE001 (one tune must not stop a book)
        fault = f"This is a fault of the program ({type(error).__name__}: {error})."
        failure = f"{fault} Please tell its makers."
    return (Outcome(piece.name, failure=failure),)
