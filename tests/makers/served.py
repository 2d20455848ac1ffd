"""The local page as a process of its own, on a free port."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple


class Served(NamedTuple):
    """A running page.

    Attributes:
        process: Its process.
        base: Its address without the token.
        token: Its token.
    """

    process: subprocess.Popen[str]
    base: str
    token: str

    @property
    def address(self) -> str:
        """The whole address, with the token."""
        return f"{self.base}/#token={self.token}"

    def stop(self) -> tuple[int, str]:
        """Press Ctrl-C; return the exit status and what went wrong."""
        self.process.send_signal(signal.SIGINT)
        _, err = self.process.communicate(timeout=30)
        return self.process.returncode, err


@contextmanager
def served(*options: str, state: Path | None = None) -> Iterator[Served]:
    """Start the page and yield it; kill it if it still runs at the end.

    Args:
        options: Options of the command besides.
        state: Folder in which it keeps its token; a new one, which goes at the end, by
            default, so that no two pages of a test are one.
    """
    with TemporaryDirectory() as folder:
        yield from _served(options, state or Path(folder))


def _served(options: Sequence[str], state: Path) -> Iterator[Served]:
    process = subprocess.Popen(  # noqa: S603 (our own interpreter)
        [sys.executable, "-m", "harmonise", "page", "--no-browser", *options],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONUNBUFFERED": "1", "XDG_STATE_HOME": str(state)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        line = process.stdout.readline() if process.stdout else ""
        found = re.search(r"(http://127\.0\.0\.1:\d+)/#token=([\w-]+)$", line.strip())
        if not found:
            raise AssertionError(line + process.communicate(timeout=30)[1])
        yield Served(process, found[1], found[2])
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()
