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

ROOT = Path(__file__).resolve().parent.parent
STATIC = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy", "harmonise", "tests"),
)
QUICK = ("-m", "not slow", "--few", "1")


def commands(words: list[str]) -> tuple[tuple[str, ...], ...]:
    """Return the checks in the order in which they run.

    Raises:
        SystemExit: If a word names no room.
    """
    # Whoever has nothing left takes from the other, for some files take minutes.
    everything = ("pytest", "-q", "-n", "auto", "--dist", "worksteal")
    if words == ["--quick"]:
        return (*STATIC, (*everything, *QUICK))
    if words:
        folders = [folder for room in words for folder in folders_of(room)]
        return (*STATIC, ("pytest", "-q", *QUICK, *folders))
    return (*STATIC, everything)


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


def main() -> int:
    """Run the checks; return the exit status."""
    words = sys.argv[1:]
    whole = {} if words else {"HYPOTHESIS_PROFILE": "ci"}
    failed = []
    for command in commands(words):
        print(f"$ {' '.join(command)}", flush=True)  # noqa: T201 (it reports)
        done = subprocess.run(  # noqa: S603 (our own commands)
            [sys.executable, "-m", *command],
            cwd=ROOT,
            check=False,
            env={**whole, **os.environ},
        )
        if done.returncode:
            failed.append(command[0])
    if failed:
        print(f"Failed: {', '.join(failed)}")  # noqa: T201
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
