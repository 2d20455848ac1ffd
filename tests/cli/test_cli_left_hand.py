"""Left hands and players as a user asks for them."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise.cli import main
from harmonise.cli.topics import read_topic
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import PATTERNS, LeftHand

ROOT = Path(__file__).parents[2]
STEPS = str(ROOT / "tunes" / "morning_steps.txt")


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_help_lists_every_pattern_with_its_metres() -> None:
    rows = [
        row for row in read_topic("left-hands").splitlines() if row.startswith("| `")
    ]
    for pattern in PATTERNS:
        told = next(own for own in rows if own.startswith(f"| `{pattern.value}` |"))
        metres = {f"{beats}/{unit}" for beats, unit in pattern.row.metres} or {"all"}
        assert set(told.split("|")[3].strip().split(", ")) == metres


@pytest.mark.parametrize("pattern", ["repeated", "octave", "march", "walking"])
def test_a_left_hand_changes_the_page_but_not_the_chords(pattern: str) -> None:
    plain = run("arrange", STEPS, "-o", "plain.musicxml")
    other = run("arrange", STEPS, "-o", "other.musicxml", "--left-hand", pattern)
    assert other.exit_code == 0, other.output
    assert plain.stdout.split("\n\n")[1] == other.stdout.split("\n\n")[1]
    assert Path("plain.musicxml").read_bytes() != Path("other.musicxml").read_bytes()
    assert read_tune("other.musicxml").notes == read_tune("plain.musicxml").notes


def test_a_left_hand_that_does_not_suit_is_refused_with_those_that_do() -> None:
    done = run("arrange", STEPS, "--left-hand", "waltz")
    assert (done.exit_code, list(Path().iterdir())) == (1, [])
    assert done.stderr == (
        f"{STEPS}: A waltz does not suit 4/4. Choose one of held, repeated, octave, "
        "root-fifth, chords, drone, march, broken, walking.\n"
    )


def test_parts_of_a_tune_have_left_hands_of_their_own() -> None:
    done = run("arrange", STEPS, "--sections", "5-8 broken", "--sheet", "spoken")
    assert done.exit_code == 0, done.output
    first, second = Path("morning_steps-spoken.txt").read_text("utf-8").split("Bar 5.")
    assert second.count("left hand") > 2 * first.count("left hand")
    wrong = run("arrange", STEPS, "--sections", "5-8 loud", "-o", "x.txt")
    assert wrong.exit_code == 1
    assert "Write it as in 9-16 broken" in wrong.stderr


def test_a_players_promises_are_printed_on_request() -> None:
    done = run("arrange", STEPS, "--player", "beginner", "--promises")
    assert done.exit_code == 0, done.output
    assert "For a beginner:\nReach of the right hand: at most 9 semitones; here " in (
        done.stdout
    )
    assert "Chord changes in a bar: at most 1; here 1." in done.stdout


def test_every_left_hand_may_be_typed() -> None:
    for own in LeftHand:
        done = run("explain", STEPS, "--left-hand", own.value)
        assert done.exit_code in (0, 1)
        assert "Usage" not in done.output
