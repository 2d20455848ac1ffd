"""No command loses a file of the user's: what it reads, what it writes, what is odd."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import mido
import pytest
from click.testing import CliRunner, Result

from harmonise import arrange_file
from harmonise.cli import main
from harmonise.errors import OutputError

TUNE = "Key: C\nC E G E | F A G - |\n"
OTHER = "Key: G\nG B D B | A A G - |\n"
BARS = "D E F G | E G C - |\n"
WORK = "1.1: C | C4 E4 | C3\n"


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str, given: str | bytes | None = None) -> Result:
    done = CliRunner().invoke(main, list(words), input=given)
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done


def lay(**texts: str) -> None:
    """Write files; two underscores stand for the point of a name, one for a slash."""
    for name, text in texts.items():
        path = Path(name.replace("__", ".").replace("_", "/"))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


def everything() -> dict[str, bytes]:
    """Return all files below where we stand, and what they hold."""
    files = (path for path in Path().rglob("*") if path.is_file())
    return {path.as_posix(): path.read_bytes() for path in files}


MARK = ("mark", "ada.txt", "--against", "task.txt")
OVER_INPUTS = [
    ("arrange", "tune.xml", "-o", "tune.xml"),
    ("arrange", "tune.txt", "--sheet", "letters", "-o", "tune.txt"),
    ("arrange", "tune.txt", "--singers-table", "table.xml", "-o", "table.xml"),
    ("arrange", "book", "-o", "book", "--file-ending", "txt", "--workers", "1"),
    ("arrange", "book", "-o", "book", "--file-ending", "txt", "--workers", "2"),
    ("arrange", "many.abc", "-o", ".", "--file-ending", "abc"),
    ("listen", "tune.mid", "-o", "tune.mid"),
    ("worksheet", "tune-A.pdf", "-o", "tune.pdf"),
    ("singers", "tune.txt", "-o", "tune.txt"),
    ("singers", "--singers-table", "table.xml", "-o", "table.xml"),
    (*MARK, "-o", "ada.txt"),
    (*MARK, "-o", "task.txt"),
    (*MARK, "--points", "points.txt", "-o", "points.txt"),
    ("mark", "--points", "points.txt", "--write-points", "points.txt"),
    ("mark", "--against", "task.txt", "--write-points", "task.txt"),
    ("mark", "class", "--against", "task.txt", "-o", "class", "--workers", "1"),
    ("mark", "class", "--against", "task.txt", "-o", "class", "--workers", "2"),
]


@pytest.mark.parametrize("words", OVER_INPUTS, ids=" ".join)
def test_no_command_writes_over_what_it_reads(words: tuple[str, ...]) -> None:
    for name in ("tune.xml", "tune.txt", "tune.mid", "tune.pdf", "tune-A.pdf"):
        Path(name).write_text(TUNE)
    lay(task__txt=TUNE, ada__txt=WORK, points__txt="[M06]\ndeduct = 0.5\n")
    lay(table__xml='[choir]\ncomfortable = "C4-C5"\n')
    Path("many.abc").write_text("X:1\nK:C\nCEGE|\n\nX:2\nK:G\nGBdB|\n")
    Path("many-1.abc").hardlink_to("many.abc")
    for number in range(6):
        for folder, text in (("book", TUNE), ("class", WORK)):
            Path(folder).mkdir(exist_ok=True)
            Path(folder, f"n{number}.txt").write_text(text)
    before = everything()
    done = run(*words, "--force")
    after = everything()
    assert done.exit_code == 1
    assert "and is never written over." in done.output + done.stderr
    assert {name: after[name] for name in before} == before


SPELLINGS = {
    "itself": "tune.xml",
    "with a point": "./tune.xml",
    "from above": "../{here}/tune.xml",
    "absolute": "{all}/tune.xml",
    "a link": "soft.xml",
    "a second name": "hard.xml",
}


@pytest.mark.parametrize("spelling", SPELLINGS.values(), ids=SPELLINGS)
def test_no_spelling_of_a_name_gets_round_it(tmp_path: Path, spelling: str) -> None:
    tune = Path("tune.xml")
    tune.write_text(TUNE)
    Path("soft.xml").symlink_to("tune.xml")
    Path("hard.xml").hardlink_to("tune.xml")
    target = spelling.format(here=tmp_path.name, all=tmp_path)
    done = run("arrange", "tune.xml", "-o", target, "--force")
    assert done.stderr == (
        f"tune.xml: {target.removeprefix('./')} is the tune itself, and is never "
        "written over. Name another file with -o.\n"
    )
    assert tune.read_text() == TUNE


def test_a_call_from_python_keeps_its_tune_too(tmp_path: Path) -> None:
    tune = tmp_path / "tune.xml"
    tune.write_text(TUNE)
    with pytest.raises(OutputError, match="never written over"):
        arrange_file(tune, tune, force=True)
    # The next call knows nothing of this one: it may replace what that only read.
    tune.with_name("other.txt").write_text(OTHER)
    arrange_file(tmp_path / "other.txt", tune, force=True)
    assert tune.read_text() != TUNE


LONG = "1" * 5000
OPTIONS = [
    ("arrange", "tune.txt", "--sections", f"{LONG} held"),
    ("arrange", "tune.txt", "--sections", f"1-{LONG} held"),
    ("arrange", "tune.txt", "--transpose", LONG),
    ("arrange", "tune.txt", "--transpose", f"+{LONG}"),
    ("arrange", "tune.txt", "--keys", LONG),
    ("arrange", "tune.txt", "--keys", " "),
    ("arrange", "tune.txt", "--keys", ","),
    ("listen", "tune.txt", "--loop", LONG),
    ("listen", "tune.txt", "--loop", f"1-{LONG}"),
    ("drill", "--keys", f"C{LONG}"),
    ("drill", "--progression", f"I IV{LONG} I"),
    ("mark", "tune.txt", "--against", "tune.txt", "--key", LONG, "--kind", "faults"),
]


@pytest.mark.parametrize("words", OPTIONS, ids=lambda own: " ".join(own)[:40])
def test_an_endless_or_empty_option_is_told_in_a_short_sentence(
    words: tuple[str, ...],
) -> None:
    lay(tune__txt=TUNE)
    done = run(*words)
    assert done.exit_code == 1
    assert 20 < len(done.stderr) < 400
    assert list(everything()) == ["tune.txt"]


DEEP = f"a = {'[' * 2000}"
TABLES = {
    "deep brackets": (DEEP, "brackets stand too deep in each other."),
    "a long number": (f"[choir]\na = {LONG}", "a number has too many digits."),
    "a sign of no text": (
        "a = \0",
        "Invalid value (at line 1, column 5).",
    ),
    "a sign of no text in a comment": (
        "# \0",
        "Found invalid character that cannot be seen (at line 1, column 3).",
    ),
    "no table": ("a = = b", "Invalid value (at line 1, column 5)."),
}


@pytest.mark.parametrize(("text", "fault"), TABLES.values(), ids=TABLES)
def test_a_table_of_ones_own_that_is_too_large_is_told(text: str, fault: str) -> None:
    lay(tune__txt=TUNE, table__toml=text, ada__txt=WORK)
    done = run("singers", "--singers-table", "table.toml")
    told = f"harmonise singers: The table of voices cannot be read: {fault} "
    assert (done.exit_code, done.stderr.startswith(told)) == (1, True)
    done = run("mark", "ada.txt", "--against", "tune.txt", "--points", "table.toml")
    told = f"ada.txt: The table of points cannot be read: {fault} "
    assert (done.exit_code, done.stderr.startswith(told)) == (1, True)


def test_a_compass_of_many_digits_is_no_pitch() -> None:
    lay(table__toml=f'[choir]\ncomfortable = "C4-C{LONG}"\n')
    done = run("singers", "--singers-table", "table.toml")
    assert (done.exit_code, len(done.stderr) < 400) == (1, True)


SCRIPTS = [
    f"1.1: C | C{LONG} | C3",
    f"1.1: C | C4 | {LONG}",
    f"Bar {LONG}.\nBeat 1. Chord C.",
    f"{LONG}.1: C | C4 | C3",
    "1.1 1/0: C | C4 E4 | C3",
    f"Bar 1.\nBeat {LONG}.",
]


@pytest.mark.parametrize("text", SCRIPTS, ids=lambda own: own[:12])
def test_an_odd_work_stops_no_other_of_its_class(text: str) -> None:
    lay(task__txt=TUNE, class_ada__txt=WORK, class_bob__txt=text)
    done = run("mark", "class", "--against", "task.txt", "-o", "slips")
    assert (done.exit_code, "1 of 2 works marked." in done.stdout) == (1, True)
    assert "fault of the program" not in done.stdout
    assert Path("slips/ada.txt").is_file()


def test_a_beat_divided_by_nought_is_no_beat() -> None:
    lay(task__txt=TUNE + 4 * BARS, ada__txt="1.2 1/0: wrong root | F")
    done = run("mark", "ada.txt", "--against", "task.txt", "--kind", "faults")
    assert done.exit_code == 1
    assert (
        done.stderr == 'ada.txt: "2 1/0" is no beat. Write a beat such as 2 or 2 1/2.\n'
    )


def test_a_damaged_member_of_a_packed_score_is_told() -> None:
    lay(tune__txt=TUNE)
    assert run("arrange", "tune.txt", "-o", "tune.mxl").exit_code == 0
    with zipfile.ZipFile("tune.mxl") as whole, zipfile.ZipFile("z.mxl", "w") as packed:
        for name in whole.namelist():
            packed.writestr(name, whole.read(name), zipfile.ZIP_LZMA)
    for at in range(0, Path("z.mxl").stat().st_size, 97):
        damaged = bytearray(Path("z.mxl").read_bytes())
        damaged[at : at + 8] = b"\xff" * 8
        Path("broken.mxl").write_bytes(damaged)
        done = run("explain", "broken.mxl")
        assert done.exit_code in (0, 1)
        assert done.exit_code == 0 or done.stderr.startswith("broken.mxl: ")


@pytest.mark.parametrize(
    "line",
    [
        "arrange EMPTY",
        "explain EMPTY",
        "listen EMPTY",
        "worksheet EMPTY",
        "voices EMPTY",
        "mark EMPTY --against tune.txt",
        "arrange tune.txt -o EMPTY",
        "mark tune.txt -o EMPTY",
    ],
)
def test_an_empty_word_is_not_the_folder_where_one_stands(line: str) -> None:
    lay(tune__txt=TUNE)
    done = run(*(word.replace("EMPTY", "") for word in line.split()))
    assert (done.exit_code, "is empty." in done.stderr) == (2, True)
    assert list(everything()) == ["tune.txt"]


def shell(line: str) -> subprocess.CompletedProcess[str]:
    """Run the program itself, as a shell connects it."""
    line = line.replace("harmonise", f"{sys.executable} -m harmonise", 1)
    return subprocess.run(  # noqa: S603 (our own words)
        ["/bin/bash", "-c", line], capture_output=True, text=True, check=False
    )


FULL = "harmonise: standard output fails: no space left on device.\n"
CLOSED = "harmonise: standard output fails: bad file descriptor.\n"
SHUT = "standard input: It is closed. Pipe a tune into it, or name a file.\n"
PIPES = [
    ("harmonise explain tune.txt >/dev/full", 1, FULL),
    ("harmonise drill --list >/dev/full", 1, FULL),
    ("harmonise --help >/dev/full", 1, FULL),
    ("harmonise explain tune.txt >&-", 1, CLOSED),
    ("harmonise explain tune.txt >&- 2>&-", 1, ""),
    ("harmonise explain - <&-", 1, SHUT),
    ("harmonise explain tune.txt | head -1", 0, ""),
    ("harmonise arrange <(cat tune.txt) -o a.musicxml", 0, ""),
    ("harmonise singers <(cat tune.txt)", 0, ""),
    ("harmonise worksheet <(cat tune.txt) -o a.pdf", 0, ""),
]


@pytest.mark.skipif(sys.platform != "linux", reason="needs /dev/full and pipes by name")
@pytest.mark.parametrize(
    ("line", "status", "told"), PIPES, ids=[own[0] for own in PIPES]
)
def test_pipes_end_in_a_sentence_and_the_right_status(
    line: str, status: int, told: str
) -> None:
    lay(tune__txt=TUNE)
    done = shell(line)
    assert (done.returncode, done.stderr) == (status, told)


def test_a_page_is_written_before_the_words_that_cannot_be_printed() -> None:
    lay(tune__txt=TUNE)
    shell("harmonise arrange tune.txt -o a.musicxml >&-")
    written = Path("a.musicxml").read_text("utf-8").splitlines()
    assert written[-2] == "</score-partwise>"


def made_of(words: str, told: str) -> list[str]:
    """Run a command, and return what it says it wrote: all of it is there."""
    done = run(*words.split())
    assert done.exit_code == 0, done.output
    assert told in done.stdout
    target = Path(words.rpartition(" ")[2])
    found = (path.relative_to(target).as_posix() for path in target.rglob("*.*"))
    return sorted(name for name in found if not name.startswith(".harmonise"))


def titled(number: int) -> str:
    return f"Title: Tune {number}\n{TUNE}"


@pytest.mark.parametrize("workers", [1, 2])
def test_every_tune_of_a_book_has_a_file_of_its_own(workers: int) -> None:
    lay(book_a__txt=TUNE, book_a__abc="X:1\nK:C\nCEGE|\n", book_A__txt=OTHER)
    Path("book/a-txt.txt").write_text(OTHER)
    Path("book/airs.abc").write_text("X:1\nK:C\nCEGE|\n\nX:2\nK:G\nGBdB|\n")
    Path("book/airs-1.txt").write_text(TUNE)
    Path("book/songs.txt").write_text("\n".join(map(titled, (1, 2, 3))))
    Path("book/songs-2.txt").write_text(OTHER)
    Path("book/contents.abc").write_text("X:1\nK:C\nCEGE|\n")
    words = f"arrange book --ending txt --sheet letters --workers {workers} -o pages"
    found = made_of(words, "Written: 12 files and contents.txt")
    assert len({name.casefold() for name in found}) == 13
    assert {"contents.txt", "contents-no2.txt", "songs-2.txt", "songs-4.txt"} <= {
        *found
    }
    listed = Path("pages/contents.txt").read_text()
    assert all(f"    {name}\n" in listed for name in found if name != "contents.txt")
    assert "G B D B" in Path("pages/songs-2.txt").read_text()


def test_a_further_page_is_no_other_tune() -> None:
    lay(book_b__txt=TUNE)
    Path("book/a.txt").write_text(TUNE + 70 * BARS)
    Path("book/a-2.txt").write_text(TUNE)
    Path("book/a-3.txt").write_text(TUNE)
    found = made_of("arrange book --ending png -o pages", "4 of 4 tunes arranged.")
    assert {"a.png", "a-2.png", "a-2-no2.png", "a-3-no2.png", "b.png"} <= {*found}


def test_pupils_of_one_name_have_slips_of_their_own() -> None:
    lay(task__txt=TUNE, one_ada__txt=WORK, two_ada__txt=WORK, two_class__txt=WORK)
    lay(two_bob__txt=WORK, two_bob__xml=WORK, three_7b_eve__txt=WORK)
    lay(four_7b_eve__txt=WORK, two_Ada__txt=WORK)
    # No two pupils hand in the same, letter by letter.
    for number, path in enumerate(sorted(Path().rglob("*/*.*"))):
        path.write_text(f"{WORK}{number * chr(10)}")
    words = "mark one two three/7b four/7b two/bob.txt --against task.txt -o slips"
    found = made_of(words, "8 of 8 works marked.")
    assert [name for name in found if name.endswith(".txt")] == [
        *("7b-eve-no2.txt", "7b-eve.txt", "Ada.txt", "bob-txt.txt", "bob-xml.txt"),
        *("class-no2.txt", "one-ada.txt", "two-ada.txt"),
    ]
    rows = Path("slips/class.csv").read_text().splitlines()
    # Works of one name are tries of one pupil.
    names = [row.partition(",")[0] for row in rows[1:-1]]
    assert names == ["ada", "Ada", "bob", "class", "eve"]


def test_a_key_that_is_named_twice_is_one_page() -> None:
    lay(tune__txt=TUNE)
    done = run("arrange", "tune.txt", "--keys", "C, C, D, C major", "-o", "k.musicxml")
    assert done.exit_code == 0
    assert sorted(everything()) == ["k-C.musicxml", "k-D.musicxml", "tune.txt"]


SHEETS = ("chart", "spoken", "letters", "sol-fa")
OWN = [
    *(f"arrange tune.txt -o page.{end}" for end in ("musicxml", "xml", "mxl", "pdf")),
    *(f"arrange tune.txt -o page.{end}" for end in ("svg", "png", "mid", "wav", "abc")),
    *(f"arrange tune.txt --sheet {sheet} -o page.txt" for sheet in SHEETS),
    "arrange tune.txt --sheet chart -o page.pdf",
    "arrange tune.txt --sheet guitar -o page.png",
    "arrange tune.txt --keys C,D -o page.musicxml",
    "listen tune.txt -o page.mid --count-in",
    "worksheet tune.txt -o sheet.pdf",
    "drill -o drill.pdf",
    "drill -o drill.musicxml",
    "drill -o drill.mid",
    "mark ada.txt --against tune.txt -o slip.pdf",
    "mark ada.txt --against tune.txt -o slip.txt",
    "mark class --against tune.txt -o slips --workers 1",
    "singers -o own-voices.toml",
    "mark --write-points own-points.toml",
]


@pytest.mark.parametrize("command", OWN)
def test_edit_run_edit_run_needs_no_force(command: str) -> None:
    lay(tune__txt=TUNE, ada__txt=WORK, class_bob__txt=WORK)
    assert run(*command.split()).exit_code == 0
    before = everything()
    worked = WORK.replace("C3", "D3")
    lay(tune__txt=OTHER, ada__txt=worked, class_bob__txt=worked)
    done = run(*command.split())
    assert (done.exit_code, done.stderr.replace("Marking\n", "")) == (0, "")
    after = everything()
    assert after.keys() == before.keys()
    # Drills and tables are made of no file that could be edited.
    same = {name for name in before if after[name] == before[name]}
    assert all(name.startswith(("drill", "own")) for name in same)


def changed(name: str) -> bytes:
    """Return a page that was written here as another program leaves it."""
    data, ending = Path(name).read_bytes(), Path(name).suffix
    if ending == ".mid":
        # A sequencer keeps texts, and the player has made one note louder.
        file = mido.MidiFile(name, charset="latin-1")
        next(own for own in file.tracks[1] if own.type == "note_on").velocity += 1
        file.save(name)
        return Path(name).read_bytes()
    # Who edits a score by hand leaves the name of the program.
    more = b"1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\nstartxref\n9\n%%EOF\n"
    return {
        ".pdf": data + more,
        ".png": data[:-20] + bytes([data[-20] ^ 1]) + data[-19:],
        ".svg": data.replace(b"<path", b"<PATH", 1),
        ".wav": data[:1000]
        + bytes([data[1000] ^ 1] if data[1000:] else [])
        + data[1001:],
        ".musicxml": data.replace(b"<step>C<", b"<step>D<", 1),
    }.get(ending, data.replace(b"C", b"D", 1))


CHANGED = [
    *(f"arrange tune.txt -o page.{end}" for end in ("musicxml", "pdf", "svg", "png")),
    *(f"arrange tune.txt -o page.{end}" for end in ("mid", "wav", "abc", "txt")),
    "arrange tune.txt --sheet spoken -o page.txt",
    "voices -o page.toml",
]


@pytest.mark.parametrize("command", CHANGED)
def test_what_another_program_has_changed_is_kept(command: str) -> None:
    name = command.rsplit(maxsplit=1)[-1]
    lay(tune__txt=TUNE)
    assert run(*command.split()).exit_code == 0
    mine = changed(name)
    Path(name).write_bytes(mine)
    done = run(*command.split())
    assert (done.exit_code, "exists already." in done.stderr) == (1, True)
    assert Path(name).read_bytes() == mine
    assert run(*command.split(), "--force").exit_code == 0


def test_a_recording_says_who_made_it_as_its_format_asks() -> None:
    """A RIFF file is chunks of a name, a length and so many bytes, padded to even."""
    lay(tune__txt=TUNE)
    assert run("listen", "tune.txt").exit_code == 0
    data = Path("tune.wav").read_bytes()
    assert data[:4] + data[8:12] == b"RIFFWAVE"
    assert int.from_bytes(data[4:8], "little") == len(data) - 8
    chunks, at = {}, 12
    while at < len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        chunks[data[at : at + 4]] = data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    assert at == len(data)
    assert list(chunks) == [b"fmt ", b"data", b"LIST"]
    told = chunks[b"LIST"]
    assert told.startswith(b"INFOISFT")
    assert int.from_bytes(told[8:12], "little") == len(told[12:].rstrip(b"\0")) + 1
    assert told[12:].startswith(b"Written by harmonise (")


@pytest.mark.parametrize(
    "content",
    [b"mine", b"", b"PK\x03\x04broken", b"%PDF-1.7 harmonise", b"harmonise"],
)
@pytest.mark.parametrize(
    "ending", ["musicxml", "mxl", "pdf", "svg", "png", "wav", "mid"]
)
def test_a_file_of_somebody_else_is_kept(ending: str, content: bytes) -> None:
    lay(tune__txt=TUNE)
    Path(f"page.{ending}").write_bytes(content)
    done = run("arrange", "tune.txt", "-o", f"page.{ending}")
    assert (done.exit_code, "--force" in done.stderr) == (1, True)
    assert Path(f"page.{ending}").read_bytes() == content


def test_a_shorter_tune_leaves_no_pages_of_the_longer_one() -> None:
    lay(tune__txt=TUNE + 110 * BARS)
    assert run("arrange", "tune.txt", "-o", "pg.png").exit_code == 0
    pages = sorted(set(everything()) - {"tune.txt"})
    assert len(pages) > 3
    Path("pg-3.png").write_bytes(b"mine")
    Path("other.txt").write_text(TUNE)
    assert run("arrange", "other.txt", "-o", "pg-4.png").exit_code == 0
    Path("tune.txt").write_text(TUNE)
    assert run("arrange", "tune.txt", "-o", "pg.png").exit_code == 0
    left = set(everything()) - {"tune.txt", "other.txt"}
    assert left == {*pages, "pg.png"} - {"pg-2.png"}
    assert Path("pg-3.png").read_bytes() == b"mine"


def test_leftovers_of_a_killed_run_are_tidied_and_fill_no_folder() -> None:
    lay(book_a__txt=TUNE, pages_x__txt="")
    Path("pages/x.txt").unlink()
    old, new = Path("pages/.harmonise-1-2"), Path("pages/.harmonise-3-4")
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    assert run("arrange", "book", "-o", "pages").exit_code == 0
    # One that is young may be another run's that is still at work.
    assert (old.exists(), new.exists()) == (False, True)
    Path("book/a.txt").write_text(OTHER)
    assert run("arrange", "book", "-o", "pages").exit_code == 0


def test_a_book_can_be_made_again_into_its_own_folder() -> None:
    lay(book_a__txt=TUNE, book_deep_b__txt=OTHER)
    words = ("arrange", "book", "-o", "pages")
    assert run(*words).exit_code == 0
    Path("book/a.txt").write_text(OTHER)
    before = everything()
    assert run(*words).exit_code == 0
    after = everything()
    assert after["pages/a.musicxml"] != before["pages/a.musicxml"]
    lay(book_bad__txt="Key: C\nC C C C C | C - - - |\n")
    run(*words)
    told = run(*words)
    assert (told.exit_code, told.stdout.count("2 of 3 tunes")) == (1, 1)
    # What was told on the screen and kept by the user is the user's.
    Path("pages/told.txt").write_text(told.stdout)
    assert "is not empty." in run(*words).stderr
    Path("pages/told.txt").unlink()
    Path("pages/deep/mine.txt").write_text("mine")
    done = run(*words)
    assert (done.exit_code, "is not empty." in done.stderr) == (1, True)
