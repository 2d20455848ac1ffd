"""Booklets: a folder of tunes in one PDF, read back by poppler's programs."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from oracles.poppler import poppler

from harmonise.cli import main

TUNES = Path(__file__).parents[2] / "tunes"
TUNE = "Key: C\nC E G E | F A G - |\n"


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(line: str, status: int = 0) -> Result:
    done = CliRunner().invoke(main, line.split())
    assert done.exit_code == status, done.output
    return done


def lay(*names: str) -> None:
    """Lay tunes of the project's own into a folder `songs`."""
    Path("songs").mkdir(exist_ok=True)
    for name in names:
        shutil.copy(TUNES / f"{name}.txt", "songs")


def pages_of(name: str) -> list[list[str]]:
    """Return the lines of each page, without those that are empty."""
    pages = poppler(Path(name).read_bytes(), "-layout").split("\f")[:-1]
    return [
        [" ".join(line.split()) for line in page.splitlines() if line.strip()]
        for page in pages
    ]


def listed(name: str) -> list[tuple[str, str, int]]:
    """Return title, note and page of each line of the contents."""
    rows = [line for line in pages_of(name)[1] if ". . ." in line]
    found = []
    for row in rows:
        title, _, rest = row.partition(" . ")
        note, _, number = rest.strip(". ").rpartition(" ")
        found.append((title, note, int(number)))
    return found


def test_a_folder_becomes_a_booklet_with_title_contents_and_pages() -> None:
    done = run(f"arrange {TUNES} -o book.pdf")
    assert done.stdout.endswith("\n17 of 17 tunes arranged.\nWritten: book.pdf\n")
    pages = pages_of("book.pdf")
    assert pages[0] == ["Tunes", "17 tunes", "for two hands at the piano"]
    assert pages[1][0] == "Contents"
    rows = listed("book.pdf")
    assert len(rows) == 17
    for title, _, number in rows:
        assert [at for at, page in enumerate(pages, 1) if title in page] == [number]
    for number, page in enumerate(pages[1:], 2):
        assert page[-1] == f"Tunes {number} / {len(pages)}"
    # Every page begins with a tune: none of ours is longer than one.
    titles = {title for title, _, _ in rows}
    torn = [at for at, page in enumerate(pages[2:], 3) if page[0] not in titles]
    assert torn == []


def test_a_reader_is_told_titles_and_structure() -> None:
    lay("morning_steps", "boat_round")
    run("arrange songs -o book.pdf --title Rounds")
    pdf = Path("book.pdf").read_bytes()
    about = poppler(pdf, program="pdfinfo")
    assert "Title:           Rounds\n" in about
    assert "Tagged:          yes" in about
    structure = poppler(pdf, "-struct-text", program="pdfinfo")
    assert structure.count("H1") == 2
    assert structure.index("Boat Round") < structure.index("Morning Steps")


# The orders are typed from the headers of the tunes; that an article does not count is
# common practice in song books, as is taking few sharps or flats first in tutors.
ORDERS = {
    "folder": ["Mr Shafto", "The Bucket", "The Early Morning", "Yankee Doodle"],
    "title": ["The Bucket", "The Early Morning", "Mr Shafto", "Yankee Doodle"],
    "key": ["The Early Morning", "The Bucket", "Yankee Doodle", "Mr Shafto"],
}


@pytest.mark.parametrize("order", ORDERS)
def test_tunes_stand_in_the_order_that_was_asked_for(order: str) -> None:
    lay("bobby_shafto", "yankee_doodle", "the_bucket", "the_early_morning")
    # In the folder the title that comes third is the first file.
    path = Path("songs/bobby_shafto.txt")
    text = path.read_text("utf-8").replace("Title: Bobby", "Title: Mr")
    path.write_text(text, "utf-8")
    run(f"arrange songs -o book.pdf --tunes-by {order} --sheet chart")
    found = [title for title, _, _ in listed("book.pdf")]
    assert found == ORDERS[order]


def test_numbers_in_titles_count_as_numbers() -> None:
    Path("songs").mkdir()
    for number in (1, 2, 10):
        Path(f"songs/{number}.txt").write_text(f"Title: Étude {number}\n{TUNE}")
    Path("songs/x.txt").write_text(f"Title: An Eve\n{TUNE}")
    run("arrange songs -o book.pdf --tunes-by title --sheet chart")
    titles = [title for title, _, _ in listed("book.pdf")]
    assert titles == ["Étude 1", "Étude 2", "Étude 10", "An Eve"]


def test_the_guitarist_and_the_singer_get_the_same_booklet() -> None:
    lay("auld_lang_syne", "morning_steps")
    run("arrange songs -o guitar.pdf --sheet guitar")
    run("arrange songs -o singer.pdf --sheet lead-sheet --large-print")
    assert pages_of("guitar.pdf")[0][1:] == ["2 tunes", "for the guitar"]
    assert pages_of("singer.pdf")[0][1:] == ["2 tunes", "tune, words and chords"]
    notes = [note for _, note, _ in listed("guitar.pdf")]
    assert notes == ["F major, capo 3", "C major"]
    assert [note for _, note, _ in listed("singer.pdf")] == ["F major", "C major"]


def test_a_tune_in_several_keys_stands_there_in_each() -> None:
    lay("morning_steps")
    run("arrange songs -o book.pdf --keys C,Eb --sheet chart")
    rows = [(title, note) for title, note, _ in listed("book.pdf")]
    assert rows == [("Morning Steps", "C major"), ("Morning Steps", "E♭ major")]


MANY = "".join(f"X:{n}\nT:Air {n}\nM:4/4\nL:1/4\nK:G\nGBdB|G4|]\n\n" for n in (1, 2))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("two_airs.abc", MANY),
        ("two_airs.txt", f"Title: Air 1\n{TUNE}\nTitle: Air 2\n{TUNE}"),
    ],
)
def test_a_file_with_many_tunes_is_a_booklet_too(name: str, text: str) -> None:
    Path(name).write_text(text)
    run(f"arrange {name} -o book.pdf --sheet chart")
    assert pages_of("book.pdf")[0][0] == "Two airs"
    assert [title for title, _, _ in listed("book.pdf")] == ["Air 1", "Air 2"]
    assert {path.name for path in Path().glob("*.pdf")} == {"book.pdf"}


def test_a_tune_that_fails_is_named_and_one_without_title_is_called_as_its_file() -> (
    None
):
    Path("songs").mkdir()
    Path("songs/bad.txt").write_text("Key: C\nC C C C C | C - - - |\n")
    Path("songs/my_air.txt").write_text(TUNE)
    done = run("arrange songs -o book.pdf --sheet chart", 1)
    assert "1 of 2 tunes arranged. Not arranged:\n  bad.txt: Bar 1" in done.stdout
    assert done.stdout.endswith("Written: book.pdf\n")
    assert [title for title, _, _ in listed("book.pdf")] == ["my air"]
    Path("songs/my_air.txt").unlink()
    Path("book.pdf").unlink()
    assert "0 of 1" in run("arrange songs -o book.pdf", 1).stdout
    assert not Path("book.pdf").exists()


def test_a_booklet_is_made_again_only_if_something_has_changed() -> None:
    lay("morning_steps", "boat_round", "ferry_steps", "kitchen_clock", "bobby_shafto")
    line = "arrange songs -o book.pdf --sheet chart"
    first = run(line).stdout
    before = Path("book.pdf").stat().st_ino
    content = Path("book.pdf").read_bytes()
    same = run(line).stdout
    assert same == first.replace(
        "Written: book.pdf", "book.pdf was there already: nothing has changed."
    )
    assert Path("book.pdf").stat().st_ino == before
    run(f"{line} --again --workers 2")
    assert Path("book.pdf").stat().st_ino != before
    assert Path("book.pdf").read_bytes() == content
    for change in ("--title Other", "--tunes-by key", "--level 3"):
        run(f"{line} {change}")
        assert Path("book.pdf").read_bytes() != content
    Path("songs/ferry_steps.txt").unlink()
    run(line)
    assert Path("book.pdf").read_bytes() != content
    Path("book.pdf").write_text("mine")
    assert '"book.pdf" exists already.' in run(line, 1).stderr
    assert Path("book.pdf").read_text() == "mine"


def test_what_cannot_be_a_booklet_is_refused_before_any_work() -> None:
    lay("morning_steps")
    told = run("arrange songs -o book.pdf --sheet walk", 1).stderr
    assert 'songs: "book.pdf" does not end in .txt, as walk does.' in told
    told = run("arrange songs -o book.mid", 1).stderr
    assert told == (
        'songs: "book.mid" is the name of one file, and each tune gets a page. Name a '
        "folder, -o book --file-ending mid, or a booklet, book.pdf.\n"
    )
    Path("airs.abc").write_text("".join(f"X:{n}\nK:C\nC|\n\n" for n in range(1001)))
    told = run("arrange airs.abc -o book.pdf", 1).stderr
    assert told == (
        "airs.abc: A booklet holds 1000 tunes at most, and here are 1001. Arrange a "
        "part of them, or a page for each: -o NAME --file-ending pdf.\n"
    )
    assert not list(Path().glob("book*"))
