"""What is released: a source archive, and a wheel made of it that works by itself."""

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def say(*words: str, cwd: Path, path: Path | None = None) -> str:
    """Return what a program of Python prints."""
    environment = {**os.environ, "PYTHONPATH": str(path) if path else ""}
    return subprocess.run(  # noqa: S603 (our own words)
        [sys.executable, "-m", *words],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    ).stdout


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where the wheel lies unpacked: made of the sources that are released."""
    folder = tmp_path_factory.mktemp("release")
    say("hatchling", "build", "-t", "sdist", "-d", str(folder), cwd=ROOT)
    (sources,) = folder.glob("*.tar.gz")
    with tarfile.open(sources) as archive:
        archive.extractall(folder / "sources", filter="data")
    (root,) = (folder / "sources").iterdir()
    say("hatchling", "build", "-t", "wheel", "-d", str(folder), cwd=root)
    (wheel,) = folder.glob("*.whl")
    assert wheel.stat().st_size < 4_000_000
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "there")  # noqa: S202 (made here, just now)
    return folder / "there"


def test_the_wheel_has_all_that_the_package_has(unpacked: Path) -> None:
    ours = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "harmonise").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    there = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*")}
    assert ours <= there


def test_the_wheel_works_where_no_checkout_is(unpacked: Path, tmp_path: Path) -> None:
    say("harmonise", "new", cwd=tmp_path, path=unpacked)
    told = say(
        "harmonise", "arrange", "mytune.txt", "-o", "t.pdf", cwd=tmp_path, path=unpacked
    )
    assert told.endswith("Written: t.pdf\n")
    home = say("harmonise", "--version", cwd=tmp_path, path=unpacked)
    assert home.startswith("python -m harmonise ")
    # The package that was found is the one that was unpacked.
    told = say("inspect", "--details", "harmonise", cwd=tmp_path, path=unpacked)
    assert str(unpacked) in told
    assert "Typing a tune" in say("harmonise", "help", cwd=tmp_path, path=unpacked)
