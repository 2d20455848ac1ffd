"""Introduction, verses and ending as a user asks for them."""

from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import music21  # noqa: TID251 (reads back what we wrote)
import pytest
from click.testing import CliRunner, Result
from oracles.poppler import poppler

from harmonise.cli import main
from harmonise.notation.formats import read_tune

ROOT = Path(__file__).parents[2]
HUNDREDTH = str(ROOT / "tunes" / "old_hundredth.txt")
STEPS = str(ROOT / "tunes" / "morning_steps.txt")
SUNDAY = (
    "--introduction", "last-line", "--verses", "3", "--last-verse", "tune-octaves",
    "--slow-ending", "--amen",
)  # fmt: skip
ORDER = "Introduction – verse 1 – verse 2 – last verse – Amen"


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_a_page_for_sunday_has_all_that_is_sung_and_says_the_order() -> None:
    done = run("arrange", HUNDREDTH, *SUNDAY, "-o", "page.pdf")
    assert done.exit_code == 0, done.output
    assert done.stdout.endswith(f"Order: {ORDER}\n")
    text = poppler(Path("page.pdf").read_bytes())
    for words in ("Introduction", "Last verse", "Amen", "rit.", ORDER):
        assert words in " ".join(text.split())


def pitches_by_bar(path: str) -> dict[str, list[str]]:
    """Return what is printed in the numbered bars of the right hand."""
    part = ET.parse(path).getroot().find("part")  # noqa: S314 (our own file)
    assert part is not None
    return {
        str(bar.get("number")): ["".join(note.itertext()) for note in bar.iter("pitch")]
        for bar in part.iter("measure")
    }


def test_the_verse_itself_is_not_touched() -> None:
    run("arrange", HUNDREDTH, "-o", "plain.musicxml")
    run("arrange", HUNDREDTH, *SUNDAY, "-o", "sunday.musicxml")
    plain = pitches_by_bar("plain.musicxml")
    sunday = pitches_by_bar("sunday.musicxml")
    for number in map(str, range(1, 9)):
        assert plain[number] == sunday[number]


def test_the_tune_alone_stays_the_tune_alone() -> None:
    done = run("arrange", HUNDREDTH, *SUNDAY, "-o", "tune.txt")
    assert done.exit_code == 0, done.output
    assert read_tune("tune.txt").notes[:9] == read_tune(HUNDREDTH).notes[:9]
    assert read_tune("tune.txt").end == read_tune(HUNDREDTH).end


def crotchets(path: str) -> Fraction:
    """Return when the last event of a MIDI file happens."""
    file = mido.MidiFile(path)
    ticks = max(sum(message.time for message in track) for track in file.tracks)
    return Fraction(ticks, file.ticks_per_beat)


def test_the_whole_form_is_heard() -> None:
    run("listen", HUNDREDTH, "-o", "once.mid", "--verses", "1")
    run("listen", HUNDREDTH, *SUNDAY, "-o", "sunday.mid")
    assert crotchets("once.mid") == 32
    # A line of eight crotchets, three verses, two bars of Amen.
    assert crotchets("sunday.mid") == 8 + 3 * 32 + 8


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["--last-verse", "loud", "--verses", "2"],
            (
                'A last verse cannot be varied by "loud". Choose from: left-octaves, '
                "tune-octaves, walking-bass, richer-chords, tonic-pedal, "
                "dominant-pedal, up-a-semitone, up-a-tone."
            ),
        ),
        (
            ["--last-verse", "up-a-tone"],
            (
                "There is one verse only, so no last verse can be varied. Ask for two "
                "verses or more, or leave the last verse as it is."
            ),
        ),
        (
            ["--last-verse", "up-a-tone, up-a-semitone", "--verses", "2"],
            (
                "A last verse cannot have up-a-semitone and up-a-tone at once. Choose "
                "one of them."
            ),
        ),
    ],
    ids=["unknown", "one verse", "contradiction"],
)
def test_what_cannot_be_had_is_told(words: list[str], sentence: str) -> None:
    done = run("arrange", STEPS, *words)
    assert (done.exit_code, done.stderr) == (1, f"{STEPS}: {sentence}\n")
    assert not list(Path().iterdir())


def test_a_minor_tune_may_end_in_major() -> None:
    clock = str(ROOT / "tunes" / "kitchen_clock.txt")
    done = run("arrange", clock, "--major-amen", "-o", "page.musicxml")
    assert done.exit_code == 0, done.output
    last = music21.converter.parse("page.musicxml").parts[0].recurse().notes.last()
    assert last is not None
    assert "C#" in {pitch.name for pitch in last.pitches}


def test_in_a_folder_too_the_tune_alone_stays_the_tune_alone() -> None:
    Path("songs").mkdir()
    Path("songs/steps.txt").write_bytes(Path(STEPS).read_bytes())
    words = ("--amen", "--slow-ending", "--sheet", "letters", "--file-ending", "txt")
    done = run("arrange", "songs", "-o", "pages", *words)
    assert done.exit_code == 0, done.output
    assert read_tune("pages/steps.txt").notes == read_tune(STEPS).notes
