"""Terminals and files that lack signs: every command goes on, and writes them out."""

import atexit
import gc
import os
import subprocess
import sys
from collections.abc import Iterator
from errno import ENOSPC
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import NamedTuple

import pytest
from click import Context

from harmonise.__main__ import main
from harmonise.cli import main as commands

ENCODINGS = ("cp1252", "latin-1", "cp437", "ascii")
TUNE = """\
Title: Été B♭ – ½ Bjørn’s 𝄫 歌
Key: Bb
Bb C5 D5 E5 | F5 - - Ab5 | G5 F5 Eb5 D5 | Bb - - - |
"""
WORK = "1.1: Bb | D4 F4 Bb4 | Bb2\n2.1: F | A4 C5 F5 | F2\n4.1: F# | C#4 F#4 | C3\n"
SCORE = ("arrange", "tune.txt", "--force", "-o")


class Said(NamedTuple):
    """What a command printed, as bytes, and its exit status."""

    out: bytes
    err: bytes
    status: object


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(TUNE, "utf-8")
    Path("book").mkdir()
    Path("book/tüne – ♭.txt").write_text(TUNE, "utf-8")
    Path("class").mkdir()
    for name in ("Ann", "Zoë ♯"):
        Path(f"class/{name}.txt").write_text(WORK, "utf-8")
    usual = gc.get_threshold()
    monkeypatch.setattr(atexit, "register", lambda _: None)
    yield
    gc.set_threshold(*usual)


def say(encoding: str, *words: str) -> Said:
    """Return what the command prints where its streams have an encoding."""
    written = BytesIO(), BytesIO()
    streams = [TextIOWrapper(one, encoding=encoding) for one in written]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["harmonise", *words])
        patch.setattr(sys, "stdout", streams[0])
        patch.setattr(sys, "stderr", streams[1])
        with pytest.raises(SystemExit) as ended:
            main()
    for stream in streams:
        stream.flush()
    out, err = (one.getvalue() for one in written)
    return Said(out, err, ended.value.code)


CALLS: dict[str, list[tuple[str, ...]]] = {
    "arrange": [
        (*SCORE, "a.musicxml", "--promises"),
        (*SCORE, "a.pdf", "--keys", "all", "--labels", "figures"),
        (*SCORE, "a.txt", "--sheet", "guitar", "--singers", "age-8-9"),
        ("arrange", "book", "-o", "made", "--force"),
    ],
    "explain": [("explain", "tune.txt", "--level", "4", "--chords", "Bb Bbm7b5")],
    "listen": [("listen", "tune.txt", "-o", "a.mid", "--force")],
    "click": [("click", "-o", "c.wav", "--force")],
    "drill": [
        ("drill", "--list"),
        ("drill", "D3", "D11", "--plan", "-o", "d.pdf", "--force"),
    ],
    "new": [("new", "--help")],
    "help": [("help",), ("help", "typing")],
    "singers": [("singers",), ("singers", "tune.txt")],
    "worksheet": [("worksheet", "tune.txt", "-o", "w.pdf", "--force")],
    "mark": [
        ("mark", "class/Ann.txt", "--against", "tune.txt", "-o", "s.txt", "--force"),
        ("mark", "class", "--against", "tune.txt", "-o", "marked", "--force"),
    ],
    "page": [("page", "--help")],
}


def test_every_command_is_tried() -> None:
    assert set(CALLS) == set(commands.list_commands(Context(commands)))


EVERY = [call for calls in CALLS.values() for call in calls]
EVERY += [(name, "--help") for name in CALLS if name != "page"]


@pytest.mark.parametrize("call", EVERY, ids=" ".join)
def test_every_command_ends_well_where_signs_are_lacking(call: tuple[str, ...]) -> None:
    usual = say("utf-8", *call)
    assert usual.status == 0, usual.err.decode()
    asked = usual.out.decode().count("?")
    for encoding in ENCODINGS:
        said = say(encoding, *call)
        assert said.status == 0, said.err
        text = said.out.decode(encoding)
        # Of all that is printed here, one sign alone has nothing to stand for it.
        unknown = usual.out.decode().count("歌")
        assert text.count("?") == asked + unknown
        assert len(text.splitlines()) == len(usual.out.decode().splitlines())
        for sign in set(usual.out.decode()) & set("–’½é"):
            assert (sign in text) == _has(encoding, sign)


def _has(encoding: str, sign: str) -> bool:
    return sign in bytes(range(256)).decode(encoding, "ignore")


@pytest.mark.parametrize(
    ("encoding", "title"),
    [
        ("utf-8", "Été B♭ – ½ Bjørn’s 𝄫 歌"),
        ("cp1252", "Été B flat – ½ Bjørn’s double flat ?"),
        ("latin-1", "Été B flat - ½ Bjørn's double flat ?"),
        ("cp437", "Été B flat - ½ Bjorn's double flat ?"),
        ("ascii", "Ete B flat - 1/2 Bjorn's double flat ?"),
    ],
)
def test_signs_that_are_lacking_are_written_out(encoding: str, title: str) -> None:
    call = ("explain", "tune.txt", "--level", "4", "--chords", "Bb Bbm7b5")
    text = say(encoding, *call).out.decode(encoding)
    assert text.splitlines()[0] == title
    mark = "ø" if encoding not in ("cp437", "ascii") else " half-dim "
    assert f"Bbm7b5 (i{mark}7)" in text
    assert (
        say(encoding, "drill", "--list")
        .out.decode(encoding)
        .startswith(
            "D1  I–IV–I–V–I. "
            if encoding in ("utf-8", "cp1252")
            else "D1  I-IV-I-V-I. "
        )
    )


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_failures_are_told_in_what_signs_there_are(encoding: str) -> None:
    said = say(encoding, "arrange", "B♭ – ½.txt")
    assert said.status == 1
    dash, half = ("–" if encoding == "cp1252" else "-"), "½"
    name = f"B flat {dash} {half if encoding != 'ascii' else '1/2'}.txt"
    assert said.err.decode(encoding) == (
        f"{name}: There is no file {name}. Check the name.\n"
    )


def test_a_letter_and_its_accent_apart_stay_one_letter() -> None:
    Path("tune.txt").write_text("Title: Ete\u0301\nC D E F |", "utf-8")
    assert say("ascii", "explain", "tune.txt").out.startswith(b"Ete\r\n"[:3] + b"\n")


@pytest.mark.parametrize("encoding", [*ENCODINGS, "utf-8"])
def test_the_real_streams_of_a_process_lack_no_sign(encoding: str) -> None:
    # As a redirect on an older system has them.
    call = [sys.executable, "-m", "harmonise", "mark", "class/Ann.txt"]
    done = subprocess.run(  # noqa: S603 (our own command)
        [*call, "--against", "tune.txt", "-o", "slip.txt"],
        env={**os.environ, "PYTHONIOENCODING": f"{encoding}:strict"},
        capture_output=True,
        check=True,
    )
    # The file says in its last line who wrote it.
    slip, _, _ = Path("slip.txt").read_text("utf-8").rpartition("Written by")
    told = done.stdout.decode(encoding).splitlines()
    assert len(told) == len(slip.splitlines()) + 2
    taken = [line for line in slip.splitlines() if "−" in line]
    assert taken
    for line in taken:
        assert (line if encoding == "utf-8" else line.replace("−", "-")) in told


class Full(TextIOWrapper):
    """A stream that has no room for anything."""

    def write(self, text: str) -> int:
        """Refuse a text."""
        raise OSError(ENOSPC, f"No room for {text!r}")


@pytest.mark.parametrize(
    "call",
    [
        (*SCORE, "a.musicxml"),
        ("listen", "tune.txt", "-o", "a.mid"),
        ("drill", "D1", "-o", "a.musicxml"),
        ("mark", "class/Ann.txt", "--against", "tune.txt", "-o", "a.txt"),
        ("singers", "-o", "a.toml"),
    ],
    ids=" ".join,
)
def test_files_come_before_what_is_printed(
    call: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", Full(BytesIO(), encoding="utf-8"))
    with pytest.raises((OSError, SystemExit)):
        commands(call, standalone_mode=False)
    assert [path.name for path in Path.cwd().glob("a.*")] == [call[-1]]
