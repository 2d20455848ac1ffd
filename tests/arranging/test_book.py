"""Books: every tune by itself, failures named, the same whatever the workers."""

import filecmp
import shutil
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from makers.corpus import abc_blocks
from makers.profiles import spread

from harmonise.arranging.book import (
    BookList,
    BookPiece,
    Outcome,
    format_contents,
    pieces_of,
)
from harmonise.arranging.workers import run_book, team_here
from harmonise.cli import main
from harmonise.errors import HarmoniseError, NotationError

TUNES = Path(__file__).parents[2] / "tunes"
BAD = "Key: C\nC C C C C | C - - - |\n"
ABC = "X:{n}\nT:Tune {n}\nM:4/4\nL:1/4\nK:{key}\n{body}\n\n"


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def folder_of_tunes() -> Path:
    """A folder with good and bad tunes of several kinds, in two layers."""
    folder = Path("songs")
    (folder / "more").mkdir(parents=True)
    shutil.copy(TUNES / "morning_steps.txt", folder)
    shutil.copy(TUNES / "ferry_steps.txt", folder / "more")
    (folder / "bad.txt").write_text(BAD)
    (folder / "picture.png").write_bytes(b"no tune")
    (folder / ".hidden.txt").write_text(BAD)
    book = "".join(
        ABC.format(n=n, key=key, body=body)
        for n, (key, body) in enumerate(
            [("G", "GABG|d4|G4|]"), ("H", "C4|]"), ("D", "DFAF|D4|]")], 1
        )
    )
    (folder / "book.abc").write_text(book)
    return folder


def test_a_part_that_is_named_is_taken_from_every_tune_of_a_book() -> None:
    voices = "V:High\nGABG|d4|G4|]\nV:Low\nB,CDC|D4|G,4|]"
    book = "".join(ABC.format(n=n, key="G", body=voices) for n in (1, 2))
    Path("two.abc").write_text(book)
    done = run("arrange", "two.abc", "--part", "Low", "-o", "low.txt")
    assert done.exit_code == 0, done.output
    for number in (1, 2):
        text = Path(f"low-{number}.txt").read_text()
        assert "\nB3 C D C | D - - - | G3 - - - |\n" in text
    refused = run("arrange", "two.abc", "--part", "Middle", "-o", "middle.txt")
    assert refused.exit_code == 1
    assert refused.output.count('"High"') == 2


def test_a_folder_is_arranged_and_failures_stop_nothing() -> None:
    folder_of_tunes()
    done = run("arrange", "songs")
    assert done.exit_code == 1
    assert "4 of 6 tunes arranged. Not arranged:" in done.stdout
    assert "bad.txt: Bar 1 has 5 beats" in done.stdout
    assert "book.abc, tune 2 (Tune 2): " in done.stdout
    assert "Written: 4 files and contents.txt in songs-arranged" in done.stdout
    found = sorted(
        path.relative_to("songs-arranged").as_posix()
        for path in Path("songs-arranged").rglob("*.musicxml")
    )
    assert found == [
        "book-1.musicxml", "book-3.musicxml", "more/ferry_steps.musicxml",
        "morning_steps.musicxml",
    ]  # fmt: skip


def test_the_contents_name_every_tune_and_its_file() -> None:
    folder_of_tunes()
    run("arrange", "songs", "-o", "pages")
    text = Path("pages/contents.txt").read_text("utf-8")
    assert "more/ferry_steps.txt: Ferry Steps: 8 bars of 4/4, D major" in text
    assert "    more/ferry_steps.musicxml\n" in text
    assert text.index("4 of 6 tunes") > text.index("morning_steps.musicxml")


def test_progress_is_shown_beside_the_result() -> None:
    folder_of_tunes()
    assert "Arranging" in run("arrange", "songs").stderr


def assert_same(left: Path, right: Path) -> None:
    found = filecmp.dircmp(left, right)
    assert not found.left_only
    assert not found.right_only
    files = [p.relative_to(left) for p in left.rglob("*") if p.is_file()]
    assert files
    for path in files:
        assert (left / path).read_bytes() == (right / path).read_bytes()


def test_the_result_is_the_same_whatever_the_number_of_workers() -> None:
    folder_of_tunes()
    texts = []
    for workers in ("1", "2", "3"):
        done = run("arrange", "songs", "-o", f"by-{workers}", "--workers", workers)
        texts.append(done.stdout.replace(f"by-{workers}", ""))
    assert texts[0] == texts[1] == texts[2]
    assert_same(Path("by-1"), Path("by-2"))
    assert_same(Path("by-1"), Path("by-3"))


def test_a_folder_that_is_not_empty_is_kept_without_force() -> None:
    folder_of_tunes()
    Path("pages").mkdir()
    Path("pages/mine.txt").write_text("mine")
    done = run("arrange", "songs", "-o", "pages")
    assert done.exit_code == 1
    assert done.stderr.splitlines()[-1] == (
        'songs: The folder "pages" is not empty. Name another with -o, or overwrite '
        "files of the same name with --force."
    )
    assert run("arrange", "songs", "-o", "pages", "--force").exit_code == 1
    assert Path("pages/mine.txt").read_text() == "mine"
    assert Path("pages/morning_steps.musicxml").is_file()


def test_a_folder_without_tunes_is_told() -> None:
    Path("empty").mkdir()
    done = run("arrange", "empty")
    assert done.exit_code == 1
    assert "There is no tune in the folder empty. Tunes are files that end" in (
        done.stderr
    )


def test_files_of_one_name_and_several_kinds_are_kept_apart() -> None:
    Path("songs").mkdir()
    shutil.copy(TUNES / "morning_steps.txt", "songs/a.txt")
    Path("songs/a.abc").write_text(ABC.format(n=1, key="G", body="GABG|G4|]"))
    assert [piece.stem for piece in pieces_of(Path("songs"))] == ["a-abc", "a-txt"]


def test_a_file_with_many_tunes_goes_on_past_a_bad_one() -> None:
    folder_of_tunes()
    done = run("arrange", "songs/book.abc")
    assert done.exit_code == 1
    assert sorted(path.name for path in Path().glob("*.musicxml")) == [
        "book-1.musicxml",
        "book-3.musicxml",
    ]
    assert "book.abc, tune 2 (Tune 2): " in done.stdout
    assert "2 of 3 tunes arranged." in done.stdout
    Path("book-1.musicxml").write_text("mine")
    again = run("arrange", "songs/book.abc")
    assert '"book-1.musicxml" exists already.' in again.stdout
    assert "1 of 3 tunes arranged." in again.stdout
    assert Path("book-1.musicxml").read_text() == "mine"
    assert run("arrange", "songs/book.abc", "-o", "pages").exit_code == 1
    assert Path("pages/contents.txt").is_file()


def test_the_ending_says_what_is_made_and_on_which_page() -> None:
    folder_of_tunes()
    run("arrange", "songs", "-o", "plain", "--file-ending", "pdf")
    run("arrange", "songs", "-o", "large", "--file-ending", "pdf", "--large-print")
    name = "morning_steps.pdf"
    assert Path("plain", name).read_bytes() != Path("large", name).read_bytes()
    done = run("arrange", "songs", "-o", "texts", "--file-ending", "txt")
    assert "4 of 6 tunes arranged." in done.stdout
    assert "Key: C major" in Path("texts/morning_steps.txt").read_text("utf-8")


def test_several_keys_of_every_tune_may_be_had() -> None:
    folder_of_tunes()
    run("arrange", "songs", "-o", "pages", "--keys", "C, Eb")
    names = {path.name for path in Path("pages").glob("morning*")}
    assert names == {"morning_steps-C.musicxml", "morning_steps-E-flat.musicxml"}


def _told(piece: BookPiece) -> tuple[Outcome, ...]:
    if "3" in piece.stem:
        message = "No."
        raise NotationError(message)
    if "4" in piece.stem:
        raise ZeroDivisionError(piece.stem)
    return (Outcome(piece.name, piece.stem),)


@pytest.mark.parametrize("workers", [1, 2])
def test_faults_of_our_own_stop_no_book_either(workers: int) -> None:
    pieces = [BookPiece(f"tune {n}", f"t{n}", b"") for n in range(9)]
    done = [
        own
        for found in run_book(pieces, partial(_told), team_here(workers))
        for own in found
    ]
    assert [own.name for own in done] == [piece.name for piece in pieces]
    assert done[3].failure == "No."
    assert done[4].failure.startswith(
        "This is a fault of the program (ZeroDivisionError: t4)."
    )
    told = BookList()
    assert told.add(done) == 9
    assert told.result().startswith("7 of 9 tunes arranged. Not arranged:\n")
    assert format_contents(done).endswith("tell its makers.\n")


def test_a_missing_file_is_told() -> None:
    with pytest.raises(HarmoniseError, match="no file"):
        pieces_of(Path("nowhere.abc"))


@pytest.mark.slow
def test_a_printed_book_of_airs_is_arranged() -> None:
    # Aird's Selection of Scotch, English, Irish and Foreign Airs, book 1 (1782), as
    # music21's corpus carries it, by night all 200; four tunes there are broken ABC,
    # and are mended with a remark.
    airs = spread(abc_blocks("airdsAirs/book1.abc"), 50)
    Path("airs.abc").write_text("\n".join(airs), "utf-8")
    done = run("arrange", "airs.abc", "-o", "airs")
    number = len(airs)
    assert f"{number} of {number} tunes arranged." in done.stdout
    assert len(list(Path("airs").glob("*.musicxml"))) == number
