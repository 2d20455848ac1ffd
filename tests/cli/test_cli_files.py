"""No command loses a file of the user's: what it reads, what it writes, what is odd."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise import arrange_file
from harmonise.cli import main
from harmonise.errors import OutputError

TUNE = "Key: C\nC E G E | F A G - |\n"
OTHER = "Key: G\nG B D B | A A G - |\n"
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
    ("arrange", "tune.txt", "--voices-table", "table.xml", "-o", "table.xml"),
    ("arrange", "book", "-o", "book", "--ending", "txt", "--workers", "1"),
    ("arrange", "book", "-o", "book", "--ending", "txt", "--workers", "2"),
    ("arrange", "many.abc", "-o", ".", "--ending", "abc"),
    ("listen", "tune.mid", "-o", "tune.mid"),
    ("worksheet", "tune-A.pdf", "-o", "tune.pdf"),
    ("voices", "tune.txt", "-o", "tune.txt"),
    ("voices", "--voices-table", "table.xml", "-o", "table.xml"),
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
        "written over. Name another score with -o.\n"
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
