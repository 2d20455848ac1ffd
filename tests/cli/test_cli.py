"""The command as a user types it: what it prints, writes, refuses."""

import re
import subprocess
import sys
from pathlib import Path

import music21  # noqa: TID251 (reads back what we wrote)
import pytest
from click.testing import CliRunner, Result

import harmonise
from harmonise.cli import main
from harmonise.cli.topics import read_topic

ROOT = Path(__file__).parents[2]
STEPS = ROOT / "tunes" / "morning_steps.txt"
README = (ROOT / "README.md").read_text("utf-8")


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str, given: str | None = None) -> Result:
    return CliRunner().invoke(main, list(words), input=given)


def test_arrange_prints_what_readme_shows() -> None:
    done = run("arrange", str(STEPS))
    assert done.exit_code == 0
    shown = re.findall(r"```text\n(.*?)```", README, re.DOTALL)[0]
    assert done.stdout == shown


def test_explain_prints_what_help_shows() -> None:
    block = (
        read_topic("chords")
        .split("(`tunes/bobby_shafto.txt`):\n\n```\n")[1]
        .split("```")[0]
    )
    assert "Also good" in block
    assert block in run("explain", str(ROOT / "tunes" / "bobby_shafto.txt")).stdout


def test_the_score_lies_where_you_stand() -> None:
    run("arrange", str(STEPS))
    score = music21.converter.parseData(Path("morning_steps.musicxml").read_text())
    parts = score.parts
    assert len(parts) == 2
    first = parts[0].getElementsByClass("Measure")[0].chordify()
    top = [chord.pitches[-1].nameWithOctave for chord in first.notes]
    assert top == ["E4", "E4", "G4", "E4"]


def test_the_program_itself_is_the_same_command() -> None:
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-m", "harmonise", "arrange", str(STEPS)],
        capture_output=True,
        check=False,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == run("arrange", str(STEPS), "--force").stdout


def test_the_same_tune_gives_the_same_bytes_in_every_form() -> None:
    for name in ("a.musicxml", "b.mxl", "c.xml"):
        run("arrange", str(STEPS), "-o", name)
        first = Path(name).read_bytes()
        run("arrange", str(STEPS), "-o", name, "--force")
        assert Path(name).read_bytes() == first
    assert Path("a.musicxml").read_bytes() == Path("c.xml").read_bytes()


def test_a_dash_reads_what_is_piped_in() -> None:
    done = run("arrange", "-", given="Title: Two Bars\nKey: C\nC E G E | C - - -")
    assert done.exit_code == 0
    assert Path("two-bars.musicxml").is_file()


def test_several_tunes_give_several_scores() -> None:
    text = "Title: One\nKey: C\nC - - -\nTitle: Two\nKey: G\nG - - -\n"
    Path("book.txt").write_text(text)
    assert run("arrange", "book.txt").exit_code == 0
    assert sorted(p.name for p in Path().glob("*.musicxml")) == [
        "book-1.musicxml",
        "book-2.musicxml",
    ]


def test_an_existing_score_is_kept_without_force() -> None:
    Path("morning_steps.musicxml").write_text("mine")
    done = run("arrange", str(STEPS))
    assert done.exit_code == 1
    assert "Traceback" not in done.output
    assert "--force" in done.stderr
    assert Path("morning_steps.musicxml").read_text() == "mine"
    assert run("arrange", str(STEPS), "--force").exit_code == 0


def test_the_tune_itself_is_never_written_over() -> None:
    Path("tune.xml").write_text("Key: C\nC - - -")
    done = run("arrange", "tune.xml", "-o", "tune.xml", "--force")
    assert done.exit_code == 1
    assert done.stderr == (
        "tune.xml: tune.xml is the tune itself, and is never written over. "
        "Name another file with -o.\n"
    )
    assert Path("tune.xml").read_text() == "Key: C\nC - - -"


FAILURES = [
    pytest.param(
        "Key: C\nC D H E",
        (
            'tune.txt: Bar 1, beat 3: "H" is not a note name. Notes are A to G '
            "(the note a semitone below C is B)."
        ),
        id="a wrong letter",
    ),
    pytest.param("", "tune.txt: There is no tune yet.", id="an empty file"),
    pytest.param("MThd\x00\x00\x00\x06", "tune.txt: ", id="broken MIDI"),
    pytest.param("Doh: C\n:x |", "tune.txt: ", id="broken sol-fa"),
    pytest.param("<score-partwise>", "tune.txt: ", id="a broken score"),
]


@pytest.mark.parametrize(("text", "sentence"), FAILURES)
def test_what_cannot_be_read_fails_with_a_sentence(text: str, sentence: str) -> None:
    Path("tune.txt").write_text(text)
    done = run("arrange", "tune.txt")
    assert done.exit_code == 1
    assert done.stderr.startswith(sentence)
    assert done.stderr.count("\n") == 1
    assert not list(Path().glob("*.musicxml"))


def test_a_missing_file_fails_with_a_sentence() -> None:
    done = run("arrange", "nowhere.txt")
    assert (done.exit_code, done.stderr) == (
        1,
        "nowhere.txt: There is no file nowhere.txt. Check the name.\n",
    )


WRONG_USES = [
    ["arrange"],
    ["arrange", str(STEPS), "--level", "5"],
    ["arrange", str(STEPS), "--key", "H"],
    ["arrange", str(STEPS), "--harmonic-rhythm", "often"],
    ["arrange", str(STEPS), "--texture", "thick"],
    ["arrang", str(STEPS)],
]


@pytest.mark.parametrize("words", WRONG_USES, ids=" ".join)
def test_wrong_usage_ends_with_2(words: list[str]) -> None:
    assert run(*words).exit_code == 2


def test_a_score_of_another_kind_is_refused_before_any_work() -> None:
    done = run("arrange", str(STEPS), "-o", "page.doc")
    assert (done.exit_code, done.stderr) == (
        1,
        (
            f'{STEPS}: "page.doc" does not end in .musicxml, .xml, .mxl, .pdf, '
            ".svg, .png, .mid, .midi or .wav. Call it page.musicxml or page.pdf.\n"
        ),
    )


OPTIONS = [
    pytest.param(["--harmonic-rhythm", "bar"], "a chord a bar at most", id="rhythm"),
    pytest.param(["--chords", "C | G7 | Am"], "1  C  | G7 | Am", id="chords"),
    pytest.param(["--level", "auto"], "Level 1 is the lowest that keeps", id="level"),
    pytest.param(["--key", "A minor"], "A minor", id="key"),
    pytest.param(
        ["--player", "beginner", "--level", "4"],
        "where a beginner is promised level 1",
        id="level against player",
    ),
    pytest.param(["--player", "advanced", "--level", "1"], "Level 1,", id="typed 1"),
    pytest.param(
        ["--transpose", "Eb", "--singers", "alto"], "you asked for: Eb", id="voices"
    ),
]


@pytest.mark.parametrize(("options", "shown"), OPTIONS)
def test_an_option_shows_in_what_is_printed(options: list[str], shown: str) -> None:
    done = run("arrange", str(STEPS), *options)
    assert done.exit_code == 0, done.output
    assert shown in done.stdout


def test_a_level_up_has_more_chords() -> None:
    # Degree 4 between 7 and 3 is the seventh of V: common practice from level 2 on.
    tune = "Key: C\nE - G - | D F B F | E - C -"
    plain = run("arrange", "-", "-o", "a.mxl", given=tune).stdout
    more = run("arrange", "-", "-o", "b.mxl", "--level", "2", given=tune).stdout
    assert "G7 |" not in plain
    assert "G7 |" in more


def test_numerals_and_fingering_are_written_as_asked() -> None:
    run("arrange", str(STEPS), "-o", "plain.musicxml", "--no-numerals")
    run("arrange", str(STEPS), "-o", "full.musicxml", "--fingering")
    plain, full = Path("plain.musicxml").read_text(), Path("full.musicxml").read_text()
    assert "<fingering" not in plain
    assert "<fingering" in full
    assert "<text>IV</text>" not in plain
    assert "<text>IV</text>" in full


def test_chord_symbols_of_a_score_are_kept_as_asked() -> None:
    Path("sheet.abc").write_text('X:1\nL:1/4\nM:4/4\nK:C\n"Am"CEGE|"F"A4|"C"C4|]')
    assert "Am" not in run("arrange", "sheet.abc").stdout
    kept = run("arrange", "sheet.abc", "--keep-chords", "--force").stdout
    assert "1  Am | F  | C |" in kept


def test_strict_refuses_and_writes_nothing() -> None:
    Path("t.txt").write_text("Key: C\nE - - - | F# - - - | G - - - | C - - -")
    done = run("arrange", "t.txt", "--strict", "--harmonic-rhythm", "bar")
    assert done.exit_code == 1
    assert done.stderr.startswith("t.txt: Bar 2, beat 1: no chord of level 1")
    assert not Path("t.musicxml").exists()


def test_the_public_names_are_there_and_sorted() -> None:
    assert harmonise.__all__ == sorted(harmonise.__all__)
    assert all(getattr(harmonise, name) for name in harmonise.__all__)


def test_explain_tells_every_chord_and_writes_nothing() -> None:
    before = set(Path().iterdir())
    done = run("explain", str(STEPS), "--level", "2")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[2] == "Level 2, a chord a half-bar at most"
    first = "Bar 1, beat 1: C (I). Tune E (3): of C, F, G and G7 only C has an E."
    assert first in lines
    assert sum(line.startswith("Bar ") for line in lines) == 15
    assert any(line.startswith("    Also good: ") for line in lines)
    assert set(Path().iterdir()) == before


def test_explain_fails_with_the_place_and_no_traceback() -> None:
    done = run("explain", "-", given="Key: C\nE H G E")
    assert done.exit_code == 1
    assert "standard input: Bar 1, beat 2: " in done.stderr
    assert "Traceback" not in done.output


def test_explain_tells_each_of_many_tunes() -> None:
    book = "X:1\nT:One\nK:C\nCDEC|\n\nX:2\nT:Two\nK:G\nGABG|\n"
    done = run("explain", "-", given=book)
    assert done.exit_code == 0, done.output
    assert "One\n" in done.stdout
    assert "\nTwo\n" in done.stdout


SLOW = (
    "numpy.ma",
    "tomllib",
    "joblib",
    "verovio",
    "typst",
    "music21",
    "mido",
    "msgspec",
)
"""Modules that take longer to load than a typed tune takes to be arranged."""


def test_a_typed_tune_waits_for_no_slow_module(tmp_path: Path) -> None:
    code = (
        "import sys; from harmonise.__main__ import main\n"
        f"sys.argv = ['harmonise', 'arrange', {str(STEPS)!r}, '-o', 'a.musicxml']\n"
        "try: main()\nexcept SystemExit: pass\n"
        f"print('numpy' in sys.modules, [n for n in {SLOW} if n in sys.modules])"
    )
    line = [sys.executable, "-c", code]
    done = subprocess.run(  # noqa: S603 (our own command)
        line, capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout.splitlines()[-1] == "True []"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("listen tune.txt --speed nan", '"nan" is no number.'),
        ("listen tune.txt --speed inf", "inf is not in the range 0.1<=x<=4."),
        ("arrnge tune.txt", "No such command 'arrnge'. Did you mean 'arrange'?"),
        ("zzz", "No such command 'zzz'.\n"),
    ],
)
def test_wrong_usage_is_told_with_what_may_be_meant(words: str, told: str) -> None:
    done = CliRunner().invoke(main, words.split())
    assert done.exit_code == 2
    assert told in done.stderr
