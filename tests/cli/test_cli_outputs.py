"""Every page and sound that a user may ask for, from one and the same arrangement."""

import re
import wave
from fractions import Fraction
from pathlib import Path

import mido
import music21  # noqa: TID251 (reads back what we wrote)
import pytest
from click.testing import CliRunner, Result
from oracles.poppler import poppler

from harmonise.arranging.job import arrange
from harmonise.cli import main
from harmonise.cli.topics import read_topic
from harmonise.errors import OutputError
from harmonise.notation.files import PRINTED
from harmonise.notation.formats import read_tune, read_tunes
from harmonise.notation.outputs import Output, Sheet, format_output
from harmonise.notation.spoken.spoken_reading import parse_spoken
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[2] / "tunes"
LANG_SYNE = str(TUNES / "auld_lang_syne.txt")
STEPS = str(TUNES / "morning_steps.txt")


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def heard(tune: Tune) -> list[tuple[Fraction, Fraction, str]]:
    return [(n.onset, n.length, str(n.pitch)) for n in tune.notes]


EVERY = [
    pytest.param(sheet, ending, id=f"{sheet.value} {ending}")
    for sheet in Sheet
    for ending in sheet.row.endings
]


def test_help_lists_every_sheet() -> None:
    table = (
        read_topic("sheets")
        .partition("| `--sheet` | what it is |")[2]
        .partition("\n\n")[0]
    )
    told = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    names = [name for cell in told for name in re.findall(r"`([a-z-]+)`", cell)]
    assert names == [sheet.value for sheet in Sheet]


@pytest.mark.parametrize(("sheet", "ending"), EVERY)
def test_every_sheet_is_written_with_each_of_its_endings(
    sheet: Sheet, ending: str
) -> None:
    name = f"page{ending}"
    done = run("arrange", LANG_SYNE, "--sheet", sheet.value, "-o", name)
    assert done.exit_code == 0, done.output
    assert Path(name).stat().st_size > 100
    again = run("arrange", LANG_SYNE, "--sheet", sheet.value, "-o", f"again{ending}")
    assert again.exit_code == 0
    assert Path(name).read_bytes() == Path(f"again{ending}").read_bytes()
    if ending == ".txt":
        text = Path(name).read_text("utf-8")
        assert text.endswith("\n")
        assert not text.endswith("\n\n")


@pytest.mark.parametrize("sheet", ["letters", "numbers", "sol-fa", "abc"])
@pytest.mark.parametrize("tune", ["auld_lang_syne", "ferry_steps", "old_hundredth"])
def test_the_tune_alone_is_read_back_the_same(tune: str, sheet: str) -> None:
    source = TUNES / f"{tune}.txt"
    ending = "abc" if sheet == "abc" else "txt"
    done = run("arrange", str(source), "--sheet", sheet, "-o", f"tune.{ending}")
    assert done.exit_code == 0, done.output
    before, after = read_tune(source), read_tune(Path(f"tune.{ending}"))
    assert heard(after) == heard(before)
    assert (after.key, after.title) == (before.key, before.title)


DOORS = ("letters", "numbers", "sol-fa", "abc", "score", "lead-sheet")


@pytest.mark.parametrize("name", ["auld_lang_syne", "morning_steps", "ferry_steps"])
def test_a_tune_is_the_same_through_every_door(name: str) -> None:
    # F01: letters, numbers, sol-fa, ABC, MusicXML and MIDI.
    source = TUNES / f"{name}.txt"
    tune = read_tune(source)
    wanted = heard(tune)
    for sheet in DOORS:
        ending = {"abc": ".abc", "score": ".musicxml", "lead-sheet": ".mxl"}
        path = f"{sheet}{ending.get(sheet, '.txt')}"
        assert run("arrange", str(source), "--sheet", sheet, "-o", path).exit_code == 0
        assert heard(read_tune(Path(path))) == wanted, sheet
    assert run("arrange", str(source), "-o", "tune.mid").exit_code == 0
    assert heard(read_tune(Path("tune.mid"))) == wanted


def test_a_file_name_may_say_which_sheet() -> None:
    assert run("arrange", STEPS, "-o", "steps.abc").exit_code == 0
    assert Path("steps.abc").read_text("utf-8").startswith("%abc-2.1")
    assert run("arrange", STEPS, "-o", "steps.txt").exit_code == 0
    assert "Key: C major" in Path("steps.txt").read_text("utf-8")


def test_abc_carries_the_chosen_chords() -> None:
    run("arrange", STEPS, "-o", "steps.abc")
    symbols = [str(own.chord) for own in read_tune(Path("steps.abc")).symbols]
    assert symbols == ["C", "G", "C", "G", "F", "C", "G", "C"]
    # music21 reads the same symbols at the same bars.
    score = music21.converter.parse("steps.abc")
    found = score.recurse().getElementsByClass(music21.harmony.ChordSymbol)
    assert [own.figure for own in found] == symbols


def test_spoken_text_says_every_note_of_the_score() -> None:
    run("arrange", STEPS, "--sheet", "spoken", "--level", "3")
    done = arrange(read_tune(STEPS), Style(level=3), explained=False)
    text = Path("morning_steps-spoken.txt").read_text("utf-8")
    assert parse_spoken(text) == done.notes


@pytest.mark.parametrize("key", ["Eb", "F#", "B"])
def test_the_guitar_sheet_follows_every_transposition(key: str) -> None:
    run("arrange", STEPS, "--transpose", key, "--sheet", "guitar", "-o", "guitar.txt")
    text = Path("guitar.txt").read_text("utf-8")
    name = key.replace("b", " flat").replace("#", " sharp")
    assert f"the piano is in {name}." in text
    run("arrange", STEPS, "--transpose", key, "-o", "piano.abc")
    assert str(read_tune(Path("piano.abc")).key) == f"{key} major"


def test_a_capo_on_another_fret_may_be_asked_for() -> None:
    done = run("arrange", LANG_SYNE, "--sheet", "guitar", "--capo", "5", "-o", "g.txt")
    assert done.exit_code == 0
    assert "Capo 5, play C; the piano is in F." in Path("g.txt").read_text("utf-8")
    done = run("arrange", LANG_SYNE, "--sheet", "guitar", "--capo", "2", "-o", "h.txt")
    assert (done.exit_code, Path("h.txt").exists()) == (1, False)
    assert done.stderr.endswith(
        "With a capo on fret 2, no easy shapes give F major. Take fret 3 (play D "
        "major) or 5 (play C major) or 1 (play E major).\n"
    )


def test_keys_give_a_file_each_and_one_pdf() -> None:
    done = run("arrange", STEPS, "--keys", "C, Eb, F#", "-o", "steps.musicxml")
    assert done.exit_code == 0, done.output
    assert "Keys: C major, Eb major, F# major\n" in done.stdout
    names = ["steps-C", "steps-E-flat", "steps-F-sharp"]
    for name, signs in zip(names, (0, -3, 6), strict=True):
        tune = read_tune(Path(f"{name}.musicxml"))
        assert tune.key.fifths == signs
    done = run("arrange", STEPS, "--keys", "C, Eb", "-o", "steps.pdf")
    assert done.exit_code == 0
    assert poppler(Path("steps.pdf").read_bytes()).count("\f") == 2
    minor = str(TUNES / "kitchen_clock.txt")
    assert run("arrange", minor, "--keys", "F#", "-o", "k.mxl").exit_code == 0
    assert Path("k.mxl").is_file()


def test_nothing_is_written_where_one_of_the_files_exists() -> None:
    Path("steps-D.musicxml").write_text("mine")
    done = run("arrange", STEPS, "--keys", "C, D", "-o", "steps.musicxml")
    assert done.exit_code == 1
    assert not Path("steps-C.musicxml").exists()
    assert Path("steps-D.musicxml").read_text() == "mine"


@pytest.mark.parametrize(
    ("sheet", "name", "told"),
    [
        ("lead-sheet", "a.mid", "a.musicxml or a.pdf"),
        ("spoken", "a.pdf", "a.txt"),
        ("chart", "a.svg", "a.txt or a.pdf"),
        ("abc", "a.mxl", "a.abc"),
    ],
)
def test_an_ending_that_a_sheet_does_not_have_is_refused(
    sheet: str, name: str, told: str
) -> None:
    done = run("arrange", STEPS, "--sheet", sheet, "-o", name)
    assert done.exit_code == 1
    assert f'"{name}" does not end in ' in done.stderr
    assert f", as {sheet} does. Call it {told}.\n" in done.stderr


def test_what_a_text_cannot_say_is_refused_with_its_place() -> None:
    source = "X:1\nM:4/4\nL:1/4\nK:C\nCD{e}EF|C4|]"
    Path("grace.abc").write_text(source)
    done = run("arrange", "grace.abc", "-o", "grace.txt")
    assert (done.exit_code, Path("grace.txt").exists()) == (1, False)
    assert done.stderr == (
        "grace.abc: Bar 1, beat 3: a grace note cannot be typed in tune text. Write "
        "MusicXML instead.\n"
    )


def test_pictures_of_a_long_tune_have_a_file_a_page() -> None:
    tune = read_tune(STEPS)
    done = arrange(tune, explained=False)
    for sheet in Sheet:
        for ending in set(sheet.row.endings) & set(PRINTED):
            assert len(format_output(done, ending, Output(sheet))) == 1


def test_a_spoken_page_of_another_kind_fails_alone() -> None:
    with pytest.raises(OutputError):
        format_output(arrange(read_tune(STEPS)), ".txt", Output(Sheet.GUITAR, fret=1))


def test_listening_counts_in_loops_and_slows_down() -> None:
    done = run("listen", STEPS)
    assert done.exit_code == 0, done.output
    assert done.stdout.endswith("and rest tired hands.\n")
    with wave.open("morning_steps.wav") as file:
        plain = file.getnframes() / file.getframerate()
    run("listen", STEPS, "--speed", "0.5", "-o", "slow.wav")
    with wave.open("slow.wav") as file:
        slow = file.getnframes() / file.getframerate()
    # 31 crotchets sound, at 96 a minute and at half of that.
    assert slow - plain == pytest.approx(31 * 60 / 96, abs=0.05)
    run("listen", STEPS, "--loop", "5-6", "--times", "3", "--count-in", "-o", "l.mid")
    played = music21.converter.parse("l.mid")
    # A bar of clicks, then two bars three times: 28 crotchets.
    assert played.highestTime == 28


def test_a_tempo_counts_dotted_beats_where_there_are_some() -> None:
    Path("jig.txt").write_text("Time: 6/8\nC D E F G A | C5 - - C5 - -\n")
    run("listen", "jig.txt", "--tempo", "80", "-o", "jig.mid")
    marks = [each for each in mido.MidiFile("jig.mid") if each.type == "set_tempo"]
    # 80 dotted crotchets are 120 crotchets of 500,000 microseconds.
    assert {mark.tempo for mark in marks} == {500_000}


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--loop", "five"], '"five" are no bars. Write two numbers such as 5-8.'),
        (["-o", "a.mp3"], '"a.mp3" does not end in .wav or .mid. Call it a.wav.'),
    ],
)
def test_what_cannot_be_played_is_told(words: list[str], sentence: str) -> None:
    done = run("listen", STEPS, *words)
    assert (done.exit_code, done.stderr) == (1, f"{STEPS}: {sentence}\n")
    assert not list(Path().iterdir())


def test_bars_that_do_not_exist_are_told() -> None:
    done = run("listen", STEPS, "--loop", "7-12")
    assert done.exit_code == 1
    assert "12" in done.stderr
    assert not list(Path().iterdir())


def test_singers_are_listed_and_keys_ranked() -> None:
    listed = run("singers").stdout
    assert listed.splitlines()[5] == (
        "congregation       comfortable C4–C5, limits A3–D5: mixed congregation, early "
        "morning"
    )
    ranked = run("singers", LANG_SYNE, "--singers", "age-10-11").stdout
    assert ranked.startswith("Compass C4–D5. For age 10 to 11: comfortable C4–D5")
    assert "  1. F major, where it is: C4–D5; every note is comfortable; 1 flat.\n" in (
        ranked
    )
    assert len(run("singers", LANG_SYNE).stdout.split("\n\n")) == 13


def test_a_table_of_ones_own_counts() -> None:
    assert run("singers", "-o", "voices.toml").exit_code == 0
    path = Path("voices.toml")
    text = path.read_text("utf-8").replace("[congregation]", "[st-anne]")
    path.write_text(text, encoding="utf-8")
    words = ("arrange", LANG_SYNE, "--singers", "st-anne")
    done = run(*words, "--singers-table", "voices.toml")
    assert done.exit_code == 0
    assert "For mixed congregation, early morning" in done.stdout
    failed = run(*words, "--force")
    assert failed.exit_code == 1
    assert 'There are no voices "st-anne". Choose from: age-4-5,' in failed.stderr


def test_explaining_follows_the_transposition() -> None:
    done = run("explain", STEPS, "--transpose", "D")
    assert "Bar 1, beat 1: D (I)." in done.stdout
    assert len(read_tunes(STEPS)) == 1
