"""A book that is arranged again: only what is missing or changed is made."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise.arranging import record
from harmonise.cli import main

TUNE = "Key: C\nC E G E | F A G - |\n"
OTHER = "Key: G\nG B D B | A A G - |\n"
WORDS = ("arrange", "songs", "-o", "pages")


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("songs").mkdir()
    for name in ("a", "b", "c"):
        Path(f"songs/{name}.txt").write_text(TUNE)


def run(*words: str, status: int = 0) -> Result:
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == status, done.output
    return done


def made(*words: str, status: int = 0) -> set[str]:
    """Return the pages that a command made anew: a file that is written is another."""
    before = {path: path.stat().st_ino for path in Path().rglob("*")}
    told = run(*words, status=status).stdout
    after = {path: path.stat().st_ino for path in Path().rglob("*")}
    anew = {path.name for path in after if after[path] != before.get(path)}
    listed = {line.strip() for line in told.splitlines()}
    assert listed
    return anew - {"pages", "contents.txt", ".harmonise.jsonl"}


def test_what_has_not_changed_is_not_made_again() -> None:
    assert made(*WORDS) == {"a.musicxml", "b.musicxml", "c.musicxml"}
    first = Path("pages/contents.txt").read_bytes()
    assert made(*WORDS) == set()
    assert Path("pages/contents.txt").read_bytes() == first
    Path("songs/b.txt").write_text(OTHER)
    Path("pages/c.musicxml").unlink()
    assert made(*WORDS) == {"b.musicxml", "c.musicxml"}
    assert made(*WORDS, "--again") == {"a.musicxml", "b.musicxml", "c.musicxml"}


def test_how_much_was_there_already_is_told() -> None:
    assert "Written: 3 files and contents.txt in pages\n" in run(*WORDS).stdout
    Path("songs/b.txt").write_text(OTHER)
    told = run(*WORDS).stdout
    assert "3 of 3 tunes arranged.\n" in told
    assert "Written: 1 file and contents.txt in pages; 2 were there already\n" in told


@pytest.mark.parametrize(
    "words",
    ["--level 3", "--transpose D", "--fingering", "--sheet lead-sheet", "--amen"],
)
def test_another_wish_makes_every_page_anew(words: str) -> None:
    run(*WORDS)
    wished = (*WORDS, *words.split())
    assert made(*wished) == {"a.musicxml", "b.musicxml", "c.musicxml"}
    assert made(*wished) == set()


def test_what_was_asked_reads_the_same_in_every_process() -> None:
    wishes = "--verses 2 --last-verse tonic-pedal --singers alto --key C"
    times = []
    for seed in ("1", "2"):
        subprocess.run(  # noqa: S603 (our own words)
            [sys.executable, "-m", "harmonise", *WORDS, *wishes.split()],
            check=True,
            capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        times.append(Path("pages/a.musicxml").stat().st_ino)
    assert times[0] == times[1]


def test_what_python_writes_beside_the_program_changes_no_edition(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record, "_PACKAGE", tmp_path)
    Path(tmp_path, "a.py").write_text("A = 1\n")
    before = record.edition.__wrapped__()
    # CPython writes there under such a name first, and renames it (from memory).
    Path(tmp_path, "__pycache__").mkdir()
    Path(tmp_path, "__pycache__", "a.cpython-311.pyc.140234").write_bytes(b"half")
    assert record.edition.__wrapped__() == before
    Path(tmp_path, "a.py").write_text("A = 2\n")
    assert record.edition.__wrapped__() != before


def test_a_text_of_a_changed_tune_is_replaced_and_a_changed_text_kept() -> None:
    words = (*WORDS, "--file-ending", "txt")
    run(*words)
    Path("songs/a.txt").write_text(OTHER)
    assert made(*words) == {"a.txt"}
    Path("pages/b.txt").write_text("mine")
    done = run(*words, status=1)
    assert 'b.txt: "pages/b.txt" exists already.' in done.stdout
    assert "The folder" not in done.stderr
    assert Path("pages/b.txt").read_text() == "mine"
    assert made(*words, "--force") == {"b.txt"}


def test_a_tune_that_failed_is_tried_again() -> None:
    Path("songs/b.txt").write_text("Key: C\nC C C C C | C - - - |\n")
    assert made(*WORDS, status=1) == {"a.musicxml", "c.musicxml"}
    assert "b.txt: Bar 1 has 5 beats" in run(*WORDS, status=1).stdout
    Path("songs/b.txt").write_text(TUNE)
    assert made(*WORDS) == {"b.musicxml"}


@pytest.mark.parametrize("harm", ["torn", "no record", "odd", "gone"])
def test_a_damaged_record_costs_work_and_nothing_else(harm: str) -> None:
    run(*WORDS)
    record = Path("pages/.harmonise.jsonl")
    lines = record.read_bytes().splitlines()
    if harm == "torn":
        record.write_bytes(b"\n".join([*lines[:-1], lines[-1][:40]]))
        expected = {"c.musicxml"}
    elif harm == "odd":
        record.write_bytes(b'["a", 1, [], {}]\n\xff\xfe\n[]\n{"a": 2}')
        expected = {"a.musicxml", "b.musicxml", "c.musicxml"}
    else:
        record.unlink()
        expected = {"a.musicxml", "b.musicxml", "c.musicxml"}
    assert made(*WORDS) == expected
    assert made(*WORDS) == set()


def test_the_record_does_not_grow_with_every_run() -> None:
    run(*WORDS)
    size = Path("pages/.harmonise.jsonl").stat().st_size
    for text in (OTHER, TUNE, OTHER, TUNE):
        Path("songs/a.txt").write_text(text)
        run(*WORDS)
    assert Path("pages/.harmonise.jsonl").stat().st_size == size


def test_pages_beside_or_below_their_tunes_are_no_tunes() -> None:
    run("arrange", "songs", "-o", "songs", "--force")
    told = run("arrange", "songs", "-o", "songs", "--force").stdout
    assert "3 of 3 tunes arranged." in told
    words = ("arrange", "songs", "-o", "songs/deep", "--workers", "1")
    run(*words)
    assert "6 of 6" in run(*words).stdout


def test_a_file_with_many_tunes_goes_on_too() -> None:
    book = "".join(f"X:{n}\nT:Tune {n}\nK:C\nCEGE|\n\n" for n in (1, 2, 3))
    Path("many.abc").write_text(book)
    words = ("arrange", "many.abc", "-o", "m.mid")
    assert {"m-1.mid", "m-2.mid", "m-3.mid"} <= made(*words)
    assert made(*words) == set()
    Path("many.abc").write_text(book.replace("T:Tune 2", "T:Second"))
    assert made(*words) - {".harmonise.m.jsonl"} == {"m-2.mid"}


@pytest.mark.skipif(sys.platform != "linux", reason="names of bytes")
def test_a_name_that_is_no_text_is_arranged_and_listed() -> None:
    name = os.fsdecode(b"caf\xe9.txt")
    Path("songs", name).write_text(TUNE)
    for _ in range(2):
        assert "4 of 4 tunes arranged." in run(*WORDS).stdout
    listed = Path("pages/contents.txt").read_bytes()
    assert b"    caf\xe9.musicxml\n" in listed
    assert Path("pages", name).with_suffix(".musicxml").is_file()
