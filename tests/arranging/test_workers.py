"""Books and what happens to them: workers that die, signals, files that are shut."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest
from click._termui_impl import ProgressBar
from click.testing import CliRunner
from makers.profiles import PROFILE

from harmonise.arranging import book, record
from harmonise.arranging.book import BookList, BookPiece, Outcome
from harmonise.arranging.workers import run_book, team_here
from harmonise.cli import main

TUNE = "Key: C\nC E G E | F A G - |\n"
linux = pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc")


def deadly(marks: Path, piece: BookPiece) -> tuple[Outcome, ...]:
    """Die of one tune each time, and of another one the first time only."""
    once = marks / piece.stem
    if piece.stem == "t4" or (piece.stem == "t2" and not once.exists()):
        once.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    if piece.stem == "t6":
        raise MemoryError
    return (Outcome(piece.name, "done"),)


def test_a_worker_that_dies_costs_its_own_tune_alone(tmp_path: Path) -> None:
    pieces = [BookPiece(f"tune {n}", f"t{n}", b"") for n in range(9)]
    steps = run_book(pieces, partial(deadly, tmp_path), team_here(2))
    done = [outcome for outcomes in steps for outcome in outcomes]
    assert [outcome.name for outcome in done] == [piece.name for piece in pieces]
    failures = {outcome.name: outcome.failure for outcome in done if outcome.failure}
    assert failures == {
        "tune 4": "The process that worked on this tune has ended, twice: most often "
        "memory runs out. Arrange it by itself, or with fewer --workers.",
        "tune 6": "There is not enough memory for it. Use fewer --workers.",
    }


def songs(number: int) -> None:
    Path("songs").mkdir()
    for at in range(number):
        Path(f"songs/{at:02}.txt").write_text(f"Title: Tune {at}\n{TUNE * 4}")


@pytest.mark.skipif(os.name != "posix", reason="rights of files")
def test_a_file_that_cannot_be_opened_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    songs(3)
    Path("songs/loop.txt").symlink_to("loop.txt")
    Path("songs/shut.abc").write_text("X:1\nK:C\nCEGE|\n")
    opening = Path.open

    def refuse(path: Path, *how: str, **more: str) -> object:
        if path.name == "shut.abc":
            raise PermissionError(13, "Permission denied", str(path))
        return opening(path, *how, **more)  # type: ignore[call-overload]

    # Whoever runs this may be allowed everything.
    monkeypatch.setattr(Path, "open", refuse)
    done = CliRunner().invoke(main, ["arrange", "songs", "-o", "pages"])
    assert done.exit_code == 1
    assert "3 of 4 tunes arranged. Not arranged:\n  shut.abc: " in done.stdout
    assert "shut.abc cannot be opened: Permission denied." in done.stdout


def session(number: int) -> list[int]:
    """Return the processes of a session that live; a dead one may wait to be reaped."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, whose = path.read_text().rpartition(")")[2].split()[:4]
        except OSError:
            continue
        if int(whose) == number and state != "Z":
            found.append(int(path.parent.name))
    return found


def pages() -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in Path("pages").glob("*.musicxml")}


ENDS = [
    pytest.param(signal.SIGINT, os.killpg, 130, id="Ctrl-C in a terminal"),
    pytest.param(signal.SIGTERM, os.kill, 143, id="terminated"),
    pytest.param(signal.SIGINT, os.kill, 130, id="interrupted"),
    pytest.param(signal.SIGKILL, os.kill, -9, id="killed"),
]
ENDS = ENDS if PROFILE == "night" else ENDS[:2]


@linux
@pytest.mark.slow
@pytest.mark.parametrize(("number", "how", "status"), ENDS)
def test_a_book_that_was_ended_goes_on_and_leaves_no_process(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    number: signal.Signals,
    how: object,
    status: int,
) -> None:
    monkeypatch.chdir(tmp_path)
    songs(120)
    words = ("arrange", "songs", "-o", "pages", "--workers", "2")
    book = subprocess.Popen(  # noqa: S603 (our own words)
        [sys.executable, "-m", "harmonise", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while len(pages()) < 4 and book.poll() is None:
        time.sleep(0.01)
    assert callable(how)
    how(book.pid, number)
    told, noise = book.communicate()
    until = time.monotonic() + 20
    while session(book.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert session(book.pid) == []
    before = pages()
    assert book.returncode == status
    assert 4 <= len(before) < 120
    if status > 0:
        # A process that is only starting may cry out on a machine at its limits.
        assert noise.split()[:1] == ["Arranging"], noise
        if PROFILE == "night":
            assert noise.split() == ["Arranging"], noise
        listed = Path("pages/contents.txt").read_text()
        told_last = f"{len(before)} of 120 tunes arranged. Stopped: the same command"
        assert told_last in listed
        assert told.startswith(told_last)
        assert all(f"    {name}\n" in listed for name in before)
    places = {name: Path("pages", name).stat().st_ino for name in before}
    done = CliRunner().invoke(main, list(words))
    assert "120 of 120 tunes arranged." in done.stdout
    # Of a run that was killed the last page may not be in the record yet.
    same = [n for n in before if Path("pages", n).stat().st_ino == places[n]]
    assert len(same) >= len(before) - (status < 0)
    assert {name: pages()[name] for name in before} == before


@pytest.mark.parametrize(
    "busy",
    [
        (book, "write_pages"),
        (record, "hash_file"),
        (BookList, "add"),
        (ProgressBar, "update"),
    ],
    ids=["writing", "recording", "listing", "counting"],
)
def test_a_signal_while_a_page_is_taken_in_is_answered_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, busy: tuple[object, str]
) -> None:
    monkeypatch.chdir(tmp_path)
    songs(6)
    doing, calls = getattr(*busy), list[int]()

    def disturbed(*what: object, **more: object) -> object:
        calls.append(len(calls))
        if len(calls) in {3, 4}:
            signal.raise_signal(signal.SIGTERM)
        return doing(*what, **more)

    monkeypatch.setattr(*busy, disturbed)
    words = ["arrange", "songs", "-o", "pages", "--workers", "1"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 143
    assert len(pages()) == 3
    listed = Path("pages/contents.txt").read_text()
    assert "3 of 6 tunes arranged. Stopped: the same command goes on." in listed
    assert all(f"    {name}\n" in listed for name in pages())
    places = {name: Path("pages", name).stat().st_ino for name in pages()}
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, words)
    assert "6 of 6 tunes arranged." in done.stdout
    assert "Written: 3 files and contents.txt in pages; 3 were there" in done.stdout
    assert all(Path("pages", name).stat().st_ino == at for name, at in places.items())
