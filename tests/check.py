"""Run every check of the project: format, lint, types, tests.

    python tests/check.py              all of it, as CI does
    python tests/check.py --quick      one case of each quick test: a minute
    python tests/check.py choice form  the quick tests of these rooms alone

Exits with 1 if any check fails; the later ones still run.
"""

import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

ROOT = Path(__file__).resolve().parent.parent
STATIC = (("ruff", "format", "--check", "."), ("ruff", "check", "."))
TYPES = ("mypy", "harmonise", "tests")
PLUGINS = ("-p", "xdist", "-p", "_hypothesis_pytestplugin")
"""What pytest loads; the others that are installed cost each process two seconds."""
QUICK = ("-m", "not slow", "--few", "1")


def tests(words: list[str]) -> tuple[str, ...]:
    """Return the command that runs the tests.

    Raises:
        SystemExit: If a word names no room.
    """
    # Whoever has nothing left takes from the other, for some files take minutes.
    everything = ("pytest", "-q", *PLUGINS, "-n", "auto", "--dist", "worksteal")
    if words == ["--quick"]:
        return (*everything, *QUICK)
    if words:
        folders = [folder for room in words for folder in folders_of(room)]
        return ("pytest", "-q", *PLUGINS, *QUICK, *folders)
    return everything


def folders_of(room: str) -> list[str]:
    """Return where a room's code and its tests stand.

    Raises:
        SystemExit: If there is no such room.
    """
    found = [f"{top}/{room}" for top in ("harmonise", "tests")]
    found = [folder for folder in found if (ROOT / folder).is_dir()]
    if not found:
        rooms = sorted(p.name for p in (ROOT / "harmonise").iterdir() if p.is_dir())
        raise SystemExit(f"{room} is no room. Rooms: {', '.join(rooms)}.")
    return found


def begin(
    command: tuple[str, ...], environment: dict[str, str], told: IO[str] | None = None
) -> subprocess.Popen[str]:
    """Start one of Python's programs; what it tells may go to a file."""
    return subprocess.Popen(  # noqa: S603 (our own commands)
        [sys.executable, "-m", *command],
        cwd=ROOT,
        env=environment,
        stdout=told,
        stderr=told,
        text=True,
    )


def main() -> int:
    """Run the checks; return the exit status."""
    words = sys.argv[1:]
    last = tests(words)
    environment = {
        **({} if words else {"HYPOTHESIS_PROFILE": "ci"}),
        **os.environ,
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",
    }
    # Where nothing is kept, each process of the tests compiles the package again.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    failed = []
    with TemporaryFile("w+", encoding="utf-8") as told:
        # It needs one core for most of a minute, and waits for nobody.
        types = begin(TYPES, environment, told)
        for command in (*STATIC, last):
            print(f"$ {' '.join(command)}", flush=True)  # noqa: T201 (it reports)
            if begin(command, environment).wait():
                failed.append(command[0])
        if types.wait():
            failed.append(TYPES[0])
        told.seek(0)
        print(f"$ {' '.join(TYPES)}\n{told.read()}")  # noqa: T201
    if failed:
        print(f"Failed: {', '.join(failed)}")  # noqa: T201
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
