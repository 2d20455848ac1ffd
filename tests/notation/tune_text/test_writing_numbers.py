"""Number notation as an output: it reads back to the tune that was written."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.errors import OutputError
from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))


def without_lines(tune: Tune) -> Tune:
    """Return the tune without what only its text knows."""
    notes = tuple(note._replace(line=0) for note in tune.notes)
    return tune._replace(notes=notes, remarks=())


def written(tune: Tune, *, numbers: bool) -> str:
    """Return the text of a tune, or why there is none."""
    try:
        return format_tune_text(tune, numbers=numbers)
    except OutputError as error:
        return str(error)


def in_numbers(text: str) -> str:
    """Return the last line of music of a text in letters, in numbers."""
    (tune,) = parse_tune_text(text)
    return format_tune_text(tune, numbers=True).splitlines()[-1]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_tune_is_read_back_from_numbers(path: Path) -> None:
    (tune,) = parse_tune_text(path.read_text("utf-8"))
    text = format_tune_text(tune, numbers=True)
    (read,) = parse_tune_text(text)
    assert without_lines(read) == without_lines(tune)


@pytest.mark.parametrize("name", ["ferry_steps", "kitchen_clock"])
def test_a_tune_typed_in_numbers_is_written_as_it_was_typed(name: str) -> None:
    path = next(path for path in TUNES if path.stem == name)
    typed = [
        line
        for line in path.read_text("utf-8").splitlines()
        if line and ":" not in line.replace("|:", "").replace(":|", "")
    ]
    (tune,) = parse_tune_text(path.read_text("utf-8"))
    written = format_tune_text(tune, numbers=True).splitlines()
    assert [line for line in written if line in typed] == [
        line for line in typed if line[0] != "%"
    ]


@given(tunes(lowest=2))
@settings(deadline=None, derandomize=True, max_examples=examples(120))
def test_numbers_can_say_what_letters_can(tune: Tune) -> None:
    letters, numbers = written(tune, numbers=False), written(tune, numbers=True)
    if letters.startswith("Title: "):
        (read,) = parse_tune_text(numbers)
        assert without_lines(read) == without_lines(parse_tune_text(letters)[0])
        assert read.notes == tuple(
            note._replace(line=own.line)
            for note, own in zip(tune.notes, read.notes, strict=True)
        )
    else:
        assert numbers == letters


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        pytest.param("Key: C\nC D E F", "1 2 3 4 |", id="keynote in octave 4"),
        pytest.param("Key: B\nB C#5 A# B3", "1 2 7, 1, |", id="keynote up to B4"),
        pytest.param("Key: D\nC5 C#5 D5 D6", "b7 7 1' 1'' |", id="against the key"),
        pytest.param("Key: A minor\nA G# G F", "1 #7, 7, 6, |", id="minor"),
        pytest.param("Key: D dorian\nB Bb C5 C#5", "6 b6 7 #7 |", id="dorian"),
        pytest.param("Key: G mixolydian\nF5 F#5 G5 G", "7 #7 1' 1 |", id="mixolydian"),
        pytest.param("Key: Eb\nA Ab Abb E", "#4 4 b4 #1 |", id="flats"),
        pytest.param("Key: C\nC -.D 0 E.F.G", "1 -.2 0 3.4.5 |", id="beats"),
    ],
)
def test_degrees_follow_the_key(text: str, numbers: str) -> None:
    # In a minor key 3, 6 and 7 are those of the key signature, #7 is the leading note;
    # in a mode they follow the mode (the tune text manual).
    assert in_numbers(text) == numbers


def test_degrees_follow_a_change_of_key() -> None:
    text = "Key: C\nC D E G |\nKey: G\nG A B D5 |"
    (tune,) = parse_tune_text(text)
    written = format_tune_text(tune, numbers=True)
    assert written == ("Key: C major\nTime: 4/4\n1 2 3 5 |\nKey: G major\n1 2 3 5 |\n")


def test_a_note_far_from_its_degree_is_refused() -> None:
    (tune,) = parse_tune_text("Key: C#\nC# D# E# Fbb")
    with pytest.raises(OutputError) as caught:
        format_tune_text(tune, numbers=True)
    assert str(caught.value) == (
        "Bar 1, beat 4: Fbb4 in numbers of C# major cannot be typed in tune text. "
        "Write MusicXML instead."
    )
