"""Jobs that take long: how far they are, and where they may be ended."""

import signal
import sys
import threading
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

import click

from harmonise.errors import HarmoniseError
from harmonise.notation.files import PRINTED

_Value = TypeVar("_Value")
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Stopped(KeyboardInterrupt):
    """A long job is to end now, by Ctrl-C or because the system ends the program.

    Attributes:
        status: The exit status that tells which.
    """

    def __init__(self, number: int) -> None:
        """Keep what the signal's number makes the status."""
        super().__init__()
        self.status = 128 + number


class Stops:
    """Ends a long job where it waits, so that nothing stays half told.

    A signal that comes while a page is written, or put into a list, is answered when
    the job waits again.
    """

    def __init__(self) -> None:
        """Begin where nothing has been asked for."""
        self._number, self._waits = 0, False

    def take(self, number: int, _: object) -> None:
        """Answer a signal; what follows is disturbed by no second one.

        Raises:
            Stopped: If the job waits now.
        """
        for each in _SIGNALS:
            signal.signal(each, signal.SIG_IGN)
        self._number = number
        if self._waits:
            raise Stopped(number)

    @contextmanager
    def waiting(self) -> Iterator[None]:
        """Wait, or do what may be left half done.

        Raises:
            Stopped: If the job is to end.
        """
        self._waits = True
        try:
            if self._number:
                raise Stopped(self._number)
            yield
        finally:
            self._waits = False

    def between(
        self, steps: Generator[_Value, None, None]
    ) -> Generator[_Value, None, None]:
        """Yield the steps of a job; only the wait for each can be ended.

        Raises:
            Stopped: If the job is to end.
        """
        with closing(steps):
            while True:
                with self.waiting():
                    try:
                        step = next(steps)
                    except StopIteration:
                        return
                yield step


@contextmanager
def stoppable() -> Iterator[Stops]:
    """Answer Ctrl-C and the system's wish to end the program as a job can bear it."""
    stops = Stops()
    if threading.current_thread() is not threading.main_thread():
        yield stops
        return
    before = [signal.signal(each, stops.take) for each in _SIGNALS]
    try:
        yield stops
    finally:
        for each, handler in zip(_SIGNALS, before, strict=True):
            signal.signal(each, handler)


def tell_start(target: Path) -> None:
    """Say on a terminal what is begun, where that takes a second or more."""
    doing = {".wav": "Playing"} | dict.fromkeys(PRINTED, "Engraving")
    ending = target.suffix.lower()
    if ending in doing and sys.stderr.isatty():
        click.echo(f"{doing[ending]} {target} …", err=True)


def gathered(
    label: str, count: int, steps: Generator[_Value, None, None]
) -> tuple[list[_Value], int]:
    """Return what the steps of a long job bring, and show how far it is.

    Args:
        label: What is done.
        count: How many steps there are.
        steps: Yields what each brings.

    Returns:
        What the steps brought, and the exit status if the job did not come to its end,
        else 0; what ended it is told.
    """
    brought: list[_Value] = []
    try:
        with click.progressbar(
            length=count, label=label, file=sys.stderr, show_pos=True
        ) as bar:
            for each in steps:
                bar.update(1)
                brought.append(each)
    except Stopped as stopped:
        return brought, stopped.status
    except HarmoniseError as error:
        click.echo(error, err=True)
        return brought, 1
    finally:
        steps.close()
    return brought, 0
