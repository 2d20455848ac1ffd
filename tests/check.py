"""Run every check of the project: format, lint, types, tests.

    python tests/check.py            all of it
    python tests/check.py --quick    without the slow corpus tests

Exits with 1 if any check fails; the later ones still run.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def commands(*, quick: bool) -> tuple[tuple[str, ...], ...]:
    """Return the checks in the order in which they run."""
    tests = ["pytest", "-q", "-n", "auto"]
    if quick:
        tests += ["-m", "not slow"]
    return (
        ("ruff", "format", "--check", "."),
        ("ruff", "check", "."),
        ("mypy", "harmonise", "tests"),
        tuple(tests),
    )


def main() -> int:
    """Run the checks; return the exit status."""
    failed = []
    for command in commands(quick="--quick" in sys.argv[1:]):
        print(f"$ {' '.join(command)}", flush=True)  # noqa: T201 (it reports)
        done = subprocess.run(  # noqa: S603 (our own commands)
            [sys.executable, "-m", *command], cwd=ROOT, check=False
        )
        if done.returncode:
            failed.append(command[0])
    if failed:
        print(f"Failed: {', '.join(failed)}")  # noqa: T201
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
