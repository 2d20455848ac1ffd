"""A book on a cluster: a real scheduler and its workers, one of which is killed.

dask itself is what is asked how many workers there are; nothing of it is imitated.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest
from makers.profiles import PROFILE

from harmonise.arranging.book import BookPiece, Outcome
from harmonise.arranging.workers import run_book
from harmonise.errors import OutputError

pytest.importorskip("distributed")

TUNE = "Title: Tune {n}\nKey: C\nC E G E | F A G - |\n"
ROOT = Path(__file__).parents[2]
PATHS = os.pathsep.join([str(ROOT), str(ROOT / "tests")])


def begin(*words: str, **settings: str) -> subprocess.Popen[str]:
    """Start a program that stays, with its words thrown away."""
    return subprocess.Popen(  # noqa: S603 (our own words)
        [sys.executable, "-m", *words],
        env={**os.environ, "PYTHONPATH": PATHS, **settings},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        text=True,
    )


@contextmanager
def scheduler(
    folder: Path, **settings: str
) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Give a scheduler that nobody works for yet, with its address."""
    told = folder / "scheduler.json"
    told.unlink(missing_ok=True)
    words = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    started = begin(
        "dask", "scheduler", *words, "--scheduler-file", str(told), **settings
    )
    try:
        while not (told.exists() and told.read_text().rstrip().endswith("}")):
            assert started.poll() is None
            time.sleep(0.05)
        yield json.loads(told.read_text())["address"], started
    finally:
        started.kill()
        started.wait()


@contextmanager
def worker(address: str, folder: Path, *words: str) -> Iterator[subprocess.Popen[str]]:
    """Give a worker that stands in a folder of its own."""
    place = ("--local-directory", str(folder), "--no-dashboard")
    started = begin("dask", "worker", address, "--nthreads", "1", *place, *words)
    try:
        yield started
    finally:
        # A worker that restarts has its process ended with it.
        started.terminate()
        started.wait()


def songs(number: int) -> None:
    """Lay tunes into a folder `songs` where one stands."""
    Path("songs").mkdir()
    for n in range(number):
        Path(f"songs/{n:02}.txt").write_text(TUNE.format(n=n))


def arrange(target: str, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(  # noqa: S603 (our own words)
        [sys.executable, "-m", "harmonise", "arrange", "songs", "-o", target, *words],
        env={**os.environ, "PYTHONPATH": PATHS},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.slow
def test_a_cluster_makes_the_same_bytes_though_one_of_its_workers_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    songs(30)
    Path("songs/bad.txt").write_text("Key: C\nC C C C C | C - - - |\n")
    away = tmp_path / "away"
    with (
        scheduler(tmp_path) as (address, _),
        worker(address, away, "--no-nanny") as first,
        worker(address, away, "--no-nanny"),
    ):
        book = arrange("far", "--cluster", address)
        while len(list(Path("far").glob("*.musicxml"))) < 6 and book.poll() is None:
            time.sleep(0.01)
        first.kill()
        told, noise = book.communicate()
        assert noise.split() == ["Arranging"]
        assert "30 of 31 tunes arranged. Not arranged:\n  bad.txt: Bar 1" in told
        assert book.returncode == 1
        # The workers wrote nothing where the tunes and pages are.
        here = arrange("near", "--workers", "1")
        here_told, _ = here.communicate()
    assert told == here_told.replace(" near", " far")
    near = {path.name: path.read_bytes() for path in Path("near").iterdir()}
    far = {path.name: path.read_bytes() for path in Path("far").iterdir()}
    assert len(near) == 32
    assert far == near


def deadly(piece: BookPiece) -> tuple[Outcome, ...]:
    """End the worker that is given tune 3."""
    if piece.stem == "t3":
        os.kill(os.getpid(), signal.SIGKILL)
    return (Outcome(piece.name, "done"),)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_tune_that_kills_the_workers_of_a_cluster_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from harmonise.arranging import cluster  # noqa: PLC0415 (slow to load)

    monkeypatch.setattr(cluster, "_PATIENCE", 1)
    no_scheduler = r"^No scheduler answers at 127\.0\.0\.1:1\. Start one with: dask sch"
    with (
        pytest.raises(OutputError, match=no_scheduler),
        cluster.cluster_at("127.0.0.1:1"),
    ):
        pass
    pieces = [BookPiece(f"tune {n}", f"t{n}", b"") for n in range(8)]
    # By itself dask tries four workers, and a minute goes by.
    allowed = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
    with scheduler(tmp_path, **allowed) as (address, _):
        with (
            pytest.raises(OutputError, match=r"has no worker\. Start one on each mac"),
            cluster.cluster_at(address),
        ):
            pass
        # A machine that is busy with other tests starts a worker slowly.
        monkeypatch.setattr(cluster, "_PATIENCE", 120)
        with worker(address, tmp_path), cluster.cluster_at(address) as team:
            steps = list(run_book(pieces, partial(deadly), team))
        # Nobody starts this worker again.
        monkeypatch.setattr(cluster, "_LONELY", 1)
        with (
            worker(address, tmp_path, "--no-nanny"),
            cluster.cluster_at(address) as team,
            pytest.raises(OutputError, match=r"^All workers of .* have been lost\. S"),
        ):
            list(run_book(pieces, partial(deadly), team))
    failures = [outcome.failure[:47] for (outcome,) in steps]
    assert [outcome.name for (outcome,) in steps] == [piece.name for piece in pieces]
    wanted = [""] * len(pieces)
    wanted[3] = "The process that worked on this tune has ended,"
    assert failures == wanted


@pytest.mark.slow
@pytest.mark.skipif(PROFILE != "night", reason="by night")
def test_a_scheduler_that_is_lost_in_the_middle_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    songs(40)
    with (
        scheduler(tmp_path) as (address, started),
        worker(address, tmp_path / "away", "--no-nanny"),
    ):
        book = arrange("far", "--cluster", address)
        while len(list(Path("far").glob("*"))) < 5 and book.poll() is None:
            time.sleep(0.01)
        started.kill()
        done, told = book.communicate()
    assert book.returncode == 1
    assert "tunes arranged. Stopped: the same command goes on.\n" in done
    assert told.endswith(
        f"The scheduler at {address} has been lost. The same command goes on.\n"
    )
