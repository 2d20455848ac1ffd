"""A copy of the package that grows by what a contributor adds, and words run in it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import harmonise

ROOT = Path(harmonise.__file__).parents[1]


def copied(folder: Path) -> Path:
    """Copy the package into a folder, and return the folder."""
    away = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "harmonise", folder / "harmonise", ignore=away)
    return folder


def put_before(path: Path, mark: str, added: str) -> None:
    """Put a text before one that the file has once."""
    text = path.read_text("utf-8")
    assert text.count(mark) == 1
    path.write_text(text.replace(mark, f"{added}{mark}"), "utf-8")


def put_at_end(path: Path, added: str) -> None:
    with path.open("a", encoding="utf-8") as file:
        file.write(added)


def run(house: Path, *words: str) -> str:
    """Return what Python prints in a copy, whatever it is told to run."""
    done = subprocess.run(  # noqa: S603 (our own interpreter and code)
        [sys.executable, *words],
        cwd=house,
        env={**os.environ, "PYTHONPATH": str(house)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout
