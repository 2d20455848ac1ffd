"""Runs that are killed at a system call that writes, and what they do up to there.

In CI a run is a process that a server of forks begins, with the package loaded. It is
killed before the n-th call that opens a file for writing, makes a folder, gives a file
its name, its rights or its end, or puts it on the disk; or in the midst of a file, as
soon as one has so many bytes, whoever writes them: the system counts these.

By night a run is a command of its own under `strace` (Debian's), which sees every call
of every library and kills at the one that is named.
"""

import os
import re
import resource
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from pkgutil import walk_packages
from typing import NamedTuple

import harmonise
from harmonise.__main__ import main

_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CALLS = ("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.chmod", "os.truncate")
_SERVER = get_context("forkserver")
_SERVER.set_forkserver_preload(
    [
        *("msgspec", "mido", "numpy", "typst", "verovio", "joblib", "oracles.killed"),
        *(own.name for own in walk_packages(harmonise.__path__, "harmonise.")),
    ]
)
KILLED = (-signal.SIGKILL, -signal.SIGXFSZ, 128 + signal.SIGKILL)
"""Exit codes of runs that did not come to their end."""


class Point(NamedTuple):
    """Where a run is killed.

    Attributes:
        call: Before which call that writes, from 0; -1 for none.
        size: How many bytes a file may have; -1 for any number.
        name: Name of the call, if it is one that strace counts by itself, from 1.
    """

    call: int = -1
    size: int = -1
    name: str = ""


WHOLE = Point()
"""A run that is let alone."""


def run(folder: Path, words: Sequence[str], point: Point, log: Path) -> int | None:
    """Return the exit code of a run.

    Args:
        folder: Where it runs; calls count where they write below it.
        words: The command, without the name of the program.
        point: Where it is killed.
        log: Where its calls are listed, a line each; outside the folder.
    """
    if point.name:
        inject = f"{point.name}:signal=SIGKILL:when={point.call}"
        options = ("-e", f"trace={point.name}", "-e", f"inject={inject}")
        return _under_strace(folder, words, *options)
    child = _SERVER.Process(target=_run, args=(str(folder), words, point, str(log)))
    child.start()
    child.join()
    return child.exitcode


def _run(folder: str, words: Sequence[str], point: Point, log: str) -> None:
    os.chdir(folder)
    sys.argv = ["harmonise", *words]
    silent = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(silent, stream)
    noted = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    seen = 0

    def call(what: str, path: object) -> None:
        nonlocal seen
        if seen == point.call:
            os.kill(os.getpid(), signal.SIGKILL)
        seen += 1
        os.write(noted, f"{what} {os.path.relpath(str(path), folder)}\n".encode())

    _watch(folder, call)
    if point.size >= 0:
        # The system itself counts the bytes; Python would take the signal for an error.
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_FSIZE, (point.size, point.size))
    main()


def _watch(folder: str, call: Callable[[str, object], None]) -> None:
    """Have every call told that writes below a folder, before it is made."""
    root = os.path.realpath(folder)

    def below(path: object) -> bool:
        named = isinstance(path, str | bytes | os.PathLike)
        return named and os.path.realpath(os.fsdecode(path)).startswith(root)  # type: ignore[arg-type]

    def heard(event: str, given: tuple[object, ...]) -> None:
        opens = event == "open" and isinstance(given[2], int) and given[2] & _WRITES
        if (opens or event in _CALLS) and below(given[0]):
            call(event, os.fsdecode(given[0]))  # type: ignore[arg-type]

    def put_on_disk(real: Callable[[int], None], file: int) -> None:
        call("fsync", Path(f"/proc/self/fd/{file}").readlink())
        real(file)

    sys.addaudithook(heard)
    # The one call of these that Python tells nobody of.
    os.fsync = partial(put_on_disk, os.fsync)


_TRACED = (
    "open,openat,creat,write,pwrite64,writev,fsync,fdatasync,rename,renameat,renameat2,"
    "unlink,unlinkat,mkdir,mkdirat,rmdir,chmod,fchmod,fchmodat,truncate,ftruncate,link,"
    "linkat,symlink,symlinkat"
)
_CALL = re.compile(r"(\d+) +(\w+)\((.*)")
_OPENED = re.compile(r"O_(WRONLY|RDWR|CREAT|TRUNC|APPEND)")


def _under_strace(folder: Path, words: Sequence[str], *options: str) -> int:
    command = ("strace", "-f", "-qq", *options, sys.executable, "-m", "harmonise")
    # One thread: strace counts the calls of each by itself.
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(  # noqa: S603 (our own words)
        [*command, *words],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    ).returncode


def all_points(folder: Path, words: Sequence[str], log: Path) -> Iterator[Point]:
    """Yield every system call of a run that writes below a folder; it comes to its end.

    Args:
        folder: Where it runs.
        words: The command.
        log: Where strace lists its calls; outside the folder.
    """
    code = _under_strace(folder, words, "-y", "-e", f"trace={_TRACED}", "-o", str(log))
    assert code == 0
    counts: Counter[tuple[str, str]] = Counter()
    for line in log.read_text("utf-8", "replace").splitlines():
        call = _CALL.match(line)
        if not call:
            continue
        process, name, given = call.groups()
        counts[process, name] += 1
        # A path that does not begin at the root begins in the folder.
        here = str(folder) in given or re.match(r'"[^/]', given)
        if here and (not name.startswith("open") or _OPENED.search(given)):
            yield Point(call=counts[process, name], name=name)
