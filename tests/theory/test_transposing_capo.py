"""The capo: the table of TRADE 5.2, and shapes that sound as the piano does."""

from itertools import product

import pytest
from music21 import harmony, interval  # noqa: TID251 - an outside check

from harmonise.errors import OutputError
from harmonise.theory.chord import QUALITIES, Chord, Inversion, parse_symbol
from harmonise.theory.key import Key, Mode, parse_key
from harmonise.theory.pitch import PitchName
from harmonise.theory.transposing import Capo, capo_choices, capo_on, shape_chord

# TRADE 5.2, column by column: sounding keynote, fret and shape; then the minor.
TABLE = [
    ("C", "0 C, 3 A, 5 G", "3 A"),
    ("Db", "1 C, 4 A", "4 A"),
    ("D", "0 D, 2 C, 5 A", "0 D, 5 A"),
    ("Eb", "1 D, 3 C", "1 D"),
    ("E", "0 E, 2 D, 4 C", "0 E, 2 D"),
    ("F", "1 E, 3 D, 5 C", "1 E, 3 D"),
    ("F#", "2 E, 4 D", "2 E, 4 D"),
    ("Gb", "2 E, 4 D", "2 E, 4 D"),
    ("G", "0 G, 3 E, 5 D", "3 E, 5 D"),
    ("Ab", "1 G, 4 E", "4 E"),
    ("A", "0 A, 2 G, 5 E", "0 A, 5 E"),
    ("Bb", "1 A, 3 G", "1 A"),
    ("B", "2 A, 4 G", "2 A"),
]
KEYS = [
    key
    for letter, alter, mode in product(range(7), (-1, 0, 1), Mode)
    if abs((key := Key(PitchName(letter, alter), mode)).fifths) <= 7
]


def by_fret(choices: tuple[Capo, ...]) -> str:
    ordered = sorted(choices, key=lambda own: own.fret)
    return ", ".join(f"{own.fret} {own.shape.tonic}" for own in ordered)


@pytest.mark.parametrize(("tonic", "major", "minor"), TABLE)
def test_every_row_of_the_table_holds(tonic: str, major: str, minor: str) -> None:
    assert by_fret(capo_choices(parse_key(tonic))) == major
    assert by_fret(capo_choices(parse_key(f"{tonic} mixolydian"))) == major
    for mode in ("minor", "dorian", "aeolian"):
        key = Key(parse_key(tonic).tonic, Mode(mode))
        choices = capo_choices(key)
        assert by_fret(choices) == minor
        assert {own.shape.mode for own in choices} == {key.mode}


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_easy_shapes_come_first(key: Key) -> None:
    # Common practice; the order of the minor shapes is ours.
    order = "AED" if key.mode.is_minor else "GDACE"
    choices = capo_choices(key)
    if not choices[0].fret:
        assert key.mode.is_minor or str(key.tonic) in "GDAC"
        choices = choices[1:]
    ranks = [order.index(str(own.shape.tonic)) for own in choices]
    assert ranks == sorted(set(ranks))


@pytest.mark.parametrize(
    ("key", "fret", "shape"),
    [
        ("C", 0, "C"), ("G", 0, "G"), ("A", 0, "A"), ("E", 2, "D"), ("F", 3, "D"),
        ("Bb", 3, "G"), ("Eb", 1, "D"), ("E minor", 0, "E"), ("D minor", 0, "D"),
        ("G minor", 3, "E"), ("B", 4, "G"),
    ],
)  # fmt: skip
def test_the_first_choice_is_one_that_guitarists_take(
    key: str, fret: int, shape: str
) -> None:
    first = capo_choices(parse_key(key))[0]
    assert (first.fret, str(first.shape.tonic)) == (fret, shape)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_shape_and_fret_make_the_sounding_chord(key: Key) -> None:
    names = [PitchName(letter, alter) for letter in range(7) for alter in (-1, 0, 1)]
    for capo, root, quality in product(capo_choices(key), names, QUALITIES):
        for member in range(len(QUALITIES[quality].intervals)):
            chord = Chord(root, quality, Inversion(member))
            shape = shape_chord(chord, capo)
            raised = [(own + capo.fret) % 12 for own in shape.pitch_classes]
            assert raised == list(chord.pitch_classes)
            assert (shape.bass.pitch_class + capo.fret) % 12 == chord.bass.pitch_class
            assert abs(shape.root.alter) < 2


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_music21_moves_every_shape_up_to_the_chord_of_the_key(key: Key) -> None:
    # Outside check: music21 10.5.1 reads the shape's symbol and transposes it.
    for capo in capo_choices(key):
        for name in key.scale:
            chord = Chord(name)
            shape = shape_chord(chord, capo)
            heard = harmony.ChordSymbol(str(shape).replace("b", "-"))
            wanted = {int(own) for own in chord.pitch_classes}
            moved = heard.transpose(interval.Interval(capo.fret))
            assert {own.pitchClass for own in moved.pitches} == wanted


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_chords_of_the_key_become_chords_of_the_shape_key(key: Key) -> None:
    for capo in capo_choices(key):
        moved = [shape_chord(Chord(name), capo).root for name in key.scale]
        assert tuple(moved) == capo.shape.scale


def test_a_capo_on_any_other_fret_is_refused_with_what_there_is() -> None:
    with pytest.raises(OutputError) as found:
        capo_on(parse_key("Ab"), 2)
    assert str(found.value) == (
        "With a capo on fret 2, no easy shapes give Ab major. "
        "Take fret 1 (play G major) or 4 (play E major)."
    )
    with pytest.raises(OutputError, match=r"^With no capo, no easy shapes give F"):
        capo_on(parse_key("F"), 0)


def test_chords_foreign_to_the_key_get_no_double_signs() -> None:
    # From G flat to E, C sharp would move to A double sharp.
    moved = shape_chord(parse_symbol("C#"), capo_on(parse_key("Gb"), 2))
    assert str(moved) == "B"
