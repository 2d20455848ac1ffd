"""A book on several machines: by the workers of a dask scheduler, through joblib.

    dask scheduler
    dask worker tcp://HOST:8786

The workers need this program in the same version, and no disk of the caller's. dask
begins a tune again where a worker is lost; one that loses it four workers in a row is
the tune's fault. This module is loaded only for a cluster: its library is optional.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Future
from contextlib import contextmanager, suppress
from functools import partial
from socket import gethostname
from threading import Event, Thread
from time import monotonic
from typing import Any

from distributed import Client, KilledWorker
from joblib import Parallel, delayed
from joblib._dask import DaskDistributedBackend

from harmonise.arranging.book import BookPiece, Outcome, Work
from harmonise.arranging.record import edition
from harmonise.arranging.workers import Outcomes, Team, Yielded, kept_going, taken_from
from harmonise.errors import OutputError

_PATIENCE = 10
"""Seconds until an address that does not answer, or a scheduler that has no worker, is
told."""
_LONELY = 60
"""Seconds without any worker after which a book waits no longer."""
_LOOK = 1
"""Seconds between looks for workers."""
_SAME_VERSION = "Install the same version of harmonise on every machine."


# joblib has no types.
class _Backend(DaskDistributedBackend):  # type: ignore[misc]
    """joblib's way to dask; what fails there without an answer fails here too.

    joblib waits for ever for a task that dask has given up, and dask for one that has
    no worker.
    """

    def __init__(self, client: Client) -> None:
        """Begin with no batch handed in."""
        super().__init__(client=client)
        self._given: dict[Future[object], Callable[[object], None]] = {}

    def effective_n_jobs(self, n_jobs: int) -> int:
        """Return how many tunes the cluster works on at once, for joblib's planning.

        If it were one, joblib would do the work itself.
        """
        return max(2, int(super().effective_n_jobs(n_jobs)))

    def submit(
        self, func: object, callback: Callable[[object], None]
    ) -> "Future[object]":
        """Hand in a batch, and see that a failure of dask's own is told."""
        job: Future[object] = super().submit(func, callback)
        job.add_done_callback(partial(_tell_failure, callback))
        self._given[job] = callback
        return job

    def give_up(self) -> None:
        """Let all batches fail that have brought nothing yet."""
        for job, callback in tuple(self._given.items()):
            if not job.done():
                callback(_LonelyError())

    def retrieve_result_callback(self, out: object) -> Any:  # noqa: ANN401 (any result)
        """Return the result of a batch, or raise what came instead."""
        if isinstance(out, BaseException):
            raise out
        return super().retrieve_result_callback(out)


class _LonelyError(Exception):
    """No worker is left."""


@contextmanager
def _watched(client: Client, backend: _Backend) -> Iterator[None]:
    """Have a backend give up if there is no worker for too long."""
    over = Event()

    def watch() -> None:
        seen = monotonic()
        while not over.wait(_LOOK):
            # A scheduler that is lost is told by dask itself.
            with suppress(Exception):
                seen = monotonic() if client.ncores() else seen
            if monotonic() - seen > _LONELY:
                backend.give_up()
                return

    Thread(target=watch, daemon=True).start()
    try:
        yield
    finally:
        over.set()


def _tell_failure(callback: Callable[[object], None], job: "Future[object]") -> None:
    if job.exception():
        callback(job.exception())


@contextmanager
def cluster_at(address: str) -> Iterator[Team]:
    """Give the workers of a scheduler as a team.

    Raises:
        OutputError: If there is no scheduler at the address, or no worker that could do
            the work.
    """
    with _silent_logs():
        try:
            client = Client(address, timeout=_PATIENCE, set_as_default=False)
        except (OSError, ValueError) as error:
            raise OutputError(
                f"No scheduler answers at {address}.",
                None,
                "Start one with: dask scheduler; it prints its address.",
            ) from error
        try:
            _assert_able(client, address)
            size = max(2, sum(client.ncores().values()))
            yield Team(partial(_by_cluster, client, address), size)
        finally:
            with suppress(OSError):
                client.close(timeout=1)


@contextmanager
def _silent_logs() -> Iterator[None]:
    """Keep logs from the screen: what goes wrong is told in sentences of ours."""
    before = logging.root.manager.disable
    logging.disable()
    try:
        yield
    finally:
        logging.disable(before)


def _assert_able(client: Client, address: str) -> None:
    """Guard that there are workers, and that they would make the same pages.

    Raises:
        OutputError: If not.
    """
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except TimeoutError as error:
        what = f"The scheduler at {address} has no worker."
        remedy = f"Start one on each machine with: dask worker {address}"
        raise OutputError(what, None, remedy) from error
    try:
        editions = client.run(edition)
    except Exception as error:  # whatever another machine raises
        what = f"A worker of {address} cannot do it: {error}."
        raise OutputError(what, None, _SAME_VERSION) from error
    for worker, found in editions.items():
        if found != edition():
            raise OutputError(_other_version(worker), None, _SAME_VERSION)


def _other_version(worker: str) -> str:
    return f"The worker at {worker} has another version of harmonise."


def _by_cluster(
    client: Client, address: str, work: Work, pieces: Sequence[BookPiece]
) -> Yielded:
    """Yield what the workers of a scheduler make of pieces.

    Raises:
        BrokenExecutor: If one of the pieces costs too many workers.
        OutputError: If the scheduler is lost, or all workers are.
    """
    jobs = [delayed(_on_worker)(edition(), work, piece) for piece in pieces]
    backend = _Backend(client=client)
    team = Parallel(-1, backend=backend, return_as="generator", batch_size=1)
    try:
        with _watched(client, backend):
            yield from taken_from(team, jobs)
    except KilledWorker as error:
        raise BrokenExecutor from error
    except (_LonelyError, OSError, CancelledError) as error:
        # joblib's own word for it is a TimeoutError, which is an OSError.
        if isinstance(error, _LonelyError) or "no worker" in str(error):
            what = f"All workers of {address} have been lost."
            remedy = "Start one; the same command goes on, here too without --cluster."
        else:
            what = f"The scheduler at {address} has been lost."
            remedy = "The same command goes on."
        raise OutputError(what, None, remedy) from error


def _on_worker(asked: str, work: Work, piece: BookPiece) -> Outcomes:
    """Do the work if this program is the caller's; a worker may have come later."""
    if edition() != asked:
        failure = f"{_other_version(gethostname())} {_SAME_VERSION}"
        return (Outcome(piece.name, failure=failure),)
    return kept_going(work, piece)
