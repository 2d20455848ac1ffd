"""The command as a user types it: what it prints, writes, refuses."""

import re
from pathlib import Path

import click
import mido
import music21  # noqa: TID251 (reads back what we wrote)
import pytest
from click.testing import CliRunner, Result

from harmonise.cli.drill import drill
from harmonise.cli.topics import read_topic
from harmonise.lessons.aural_sheets import EAR_DRILL
from harmonise.lessons.drill_copies import Version
from harmonise.lessons.drill_makers import DRILLED
from harmonise.lessons.drills import DRILLS
from harmonise.theory.arrangement import Labels
from harmonise.theory.key import KeyOrder


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> Result:
    return CliRunner().invoke(drill, list(words))


def test_without_a_word_it_is_the_first_drill_in_c() -> None:
    done = run()
    assert done.exit_code == 0
    assert done.stdout == (
        "D1: I–IV–I–V–I\n"
        "3 exercises in 1 key, 9 bars: C major\n"
        "\n"
        "Written: drill-D1.musicxml\n"
    )
    score = music21.converter.parse("drill-D1.musicxml")
    assert len(score.parts[0].getElementsByClass("Measure")) == 9


def test_all_keys_come_in_the_order_that_was_asked_for() -> None:
    done = run("D2", "--order", "few-accidentals", "--gb", "-o", "all.mid")
    line = done.stdout.splitlines()[1]
    assert line.endswith(
        "C major, G major, F major, D major, Bb major, A major, Eb major, E major, "
        "Ab major, B major, Db major, Gb major"
    )
    assert mido.MidiFile("all.mid").length == pytest.approx(432)


def test_tempo_is_heard_and_counted_in() -> None:
    run("D1", "--tempo", "120", "--count-in", "-o", "a.mid")
    assert mido.MidiFile("a.mid").length == pytest.approx((36 + 4) / 2)


def test_one_hand_is_heard_alone() -> None:
    run("D1", "--hand", "left", "-o", "a.mid")
    tracks = mido.MidiFile("a.mid").tracks[1:]
    counts = [sum(m.type == "note_on" for m in track) for track in tracks]
    assert counts == [0, 0, 15]


def test_minor_drills_take_plain_names_as_minor() -> None:
    done = run("D3", "--keys", "A, D", "-o", "a.musicxml")
    assert "A minor, D minor" in done.stdout
    done = run("D1", "--minor", "-o", "b.musicxml")
    assert done.stdout.splitlines()[1].endswith(": A minor")


def test_a_progression_of_ones_own_is_written_in_ones_own_keys() -> None:
    done = run("--progression", "I vi IV V7 I", "--keys", "G", "--keys", "Bb")
    assert done.stdout.splitlines()[:2] == [
        "I vi IV V7 I",
        "6 exercises in 2 keys, 18 bars: G major, Bb major",
    ]
    assert Path("drill-progression.musicxml").exists()


def test_start_pattern_and_beats_shape_the_exercises() -> None:
    done = run("D1", "--start", "first", "--left-hand", "waltz")
    assert "1 exercise in 1 key, 5 bars" in done.stdout
    done = run("D1", "--start", "all", "--beats", "4", "-o", "b.xml")
    assert "3 exercises in 1 key, 15 bars" in done.stdout


def test_naming_asks_aloud_and_answers_only_in_the_answer_key() -> None:
    asked = run("D11", "-o", "a.xml").stdout
    assert "1. In C major: C4 E4 G4\n" in asked
    told = run("D11", "--copies", "answer", "-o", "b.xml").stdout
    assert "1. In C major: C4 E4 G4 — C (I), root position, ⁵₃\n" in told


def test_the_plan_is_printed_on_request() -> None:
    assert "clean at" not in run("D1", "-o", "a.xml").stdout
    done = run("D1", "--plan", "--tempo", "80", "-o", "b.xml")
    assert "[ ] 80  [ ] 86  [ ] 92  clean at ____  date ______" in done.stdout


def test_the_list_names_every_drill_and_writes_nothing() -> None:
    done = run("--list")
    lines = done.stdout.splitlines()
    names = [*(own.name for own in DRILLS), EAR_DRILL]
    assert [line.split()[0] for line in lines] == names
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["D1", "--keys", "H"], '"H" is not a key.'),
        (["D13"], 'There is no drill "D13".'),
        (["--progression", "I IX"], '"IX" is not a Roman numeral.'),
        (["D1", "-o", "a.txt"], '"a.txt" does not end in .musicxml, .xml, .mxl'),
        (["D7", "--minor"], "D7 is a drill for major keys, and A minor is not one."),
    ],
    ids=["key", "drill", "numeral", "ending", "mode"],
)
def test_what_cannot_be_done_is_said_in_one_sentence(
    words: list[str], sentence: str
) -> None:
    done = run(*words)
    assert done.exit_code == 1
    assert done.stderr.startswith(f"harmonise drill: {sentence}")
    assert done.stderr.count("\n") == 1
    assert list(Path().iterdir()) == []


def test_drills_and_a_progression_together_are_wrong_usage() -> None:
    done = run("D1", "--progression", "I V I")
    assert done.exit_code == 2


def test_an_existing_file_is_kept_unless_forced() -> None:
    Path("drill-D1.musicxml").write_text("mine")
    before = Path("drill-D1.musicxml").read_bytes()
    refused = run("D1", "--keys", "D")
    assert refused.exit_code == 1
    assert Path("drill-D1.musicxml").read_bytes() == before
    assert run("D1", "--keys", "D", "--force").exit_code == 0
    assert Path("drill-D1.musicxml").read_bytes() != before


def offered(name: str) -> list[str]:
    """Return the words that may be typed for an option."""
    (option,) = (option for option in drill.params if option.name == name)
    assert isinstance(option.type, click.Choice)
    metavar = option.make_metavar(click.Context(drill))
    return metavar.strip("[]").split("|")


@pytest.mark.parametrize(
    ("name", "known"),
    [
        ("order", [own.value for own in KeyOrder]),
        ("copies", [own.value for own in Version]),
        ("labels", [own.value for own in Labels]),
        ("left_hand", [own.value for own in DRILLED]),
    ],
    ids=["orders", "copies", "labels", "patterns"],
)
def test_what_is_offered_is_what_there_is(name: str, known: list[str]) -> None:
    assert sorted(offered(name)) == sorted(known)


def test_help_shows_what_is_printed_and_lists_every_drill() -> None:
    told = read_topic("drills")
    shown = re.findall(r"```\n(.*?)```", told, re.DOTALL)[0]
    done = run("D1", "--keys", "C, Eb", "-o", "drill.pdf")
    assert done.stdout == shown
    for own in DRILLS:
        assert f"| {own.name} |" in told


def test_a_shorter_booklet_leaves_no_pages_of_the_longer_one(
    tmp_path: Path,
) -> None:
    run("D1", "--keys", "C, Eb", "-o", "d.png")
    Path("d-3.png").write_bytes(b"\x89PNG of somebody else")
    assert Path("d-2.png").exists()
    run("D1", "-o", "d.png")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["d-3.png", "d.png"]


def test_recordings_of_a_longer_sheet_are_told_and_stay() -> None:
    run("D12", "--questions", "2", "-o", "ear.txt")
    Path("ear-3.wav").write_bytes(b"RIFF of somebody else")
    done = run("D12", "--questions", "1", "-o", "ear.txt")
    told = "Of an earlier sheet, and no part of this one: ear-2.wav\n"
    assert told in done.output
    assert Path("ear-2.wav").exists()
    assert told not in run("D12", "--questions", "2", "-o", "ear.txt").output
