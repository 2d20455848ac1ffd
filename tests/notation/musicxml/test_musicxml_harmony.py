"""Chord symbols of MusicXML files as chords of ours.

The notes of every chord kind are checked against music21's own chord symbols.
"""

from fractions import Fraction

import pytest
from makers.musicxml_files import (
    C_MAJOR,
    FOUR_FOUR,
    harmony,
    measure,
    measures,
    move,
    note,
    score,
    start,
    tune,
)
from music21 import harmony as harmony21  # noqa: TID251 (the oracle of the tests)
from oracles.tune_shape import whole

from harmonise.notation.musicxml.harmony import KINDS
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.pitch import LETTERS, PitchName
from harmonise.theory.tune import Tune

read = whole(parse_musicxml)
FULL = note("C4", 4)


def chords(found: Tune) -> str:
    """Return every chord with where it begins and ends."""
    return " ".join(f"{at.chord}@{at.onset}-{at.end}" for at in found.symbols)


def remarks(found: Tune) -> list[str]:
    return [str(remark) for remark in found.remarks]


def degree(value: int, alter: int, kind: str) -> str:
    return (
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}"
        f"</degree-alter><degree-type>{kind}</degree-type></degree>"
    )


def bass(step: str, alter: int = 0) -> str:
    return f"<bass><bass-step>{step}</bass-step><bass-alter>{alter}</bass-alter></bass>"


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("root", ["C", "F#", "Bb"])
def test_every_kind_has_the_notes_that_music21_gives_it(kind: str, root: str) -> None:
    theirs = harmony21.ChordSymbol(root=root.replace("b", "-"), kind=kind)
    own = PitchName(LETTERS.index(root[0]), {"#": 1, "b": -1}.get(root[1:], 0))
    ours = {str(own.up(letters, semitones)) for letters, semitones in KINDS[kind]}
    assert ours == {pitch.name.replace("-", "b") for pitch in theirs.pitches}


def test_chords_last_until_the_next_or_the_end() -> None:
    found = read(
        tune(
            harmony("C", "major")
            + note("C4", 3)
            + harmony("G", "dominant")
            + note("D4", 1),
            FULL,
            harmony("F#", "half-diminished") + FULL,
        )
    )
    assert chords(found) == "C@0-3 G7@3-8 F#m7b5@8-12"
    assert found.remarks == ()
    assert found.locks == ()


def test_no_chord_ends_the_chord_before() -> None:
    found = read(tune(harmony("C", "major") + FULL, harmony("C", "none") + FULL, FULL))
    assert chords(found) == "C@0-4"
    assert found.remarks == ()


@pytest.mark.parametrize(
    ("symbol", "expected"),
    [
        pytest.param(harmony("Bb", "minor"), "Bbm", id="minor"),
        pytest.param(harmony("C", "suspended-fourth"), "Csus4", id="sus4"),
        pytest.param(
            harmony("C", "major", "<inversion>1</inversion>"), "C/E", id="inversion"
        ),
        pytest.param(harmony("C", "major", bass("G")), "C/G", id="bass"),
        pytest.param(
            harmony("D", "dominant", bass("C")), "D7/C", id="seventh in the bass"
        ),
        pytest.param(
            harmony("C", "minor-seventh", degree(5, -1, "alter")),
            "Cm7b5",
            id="altered fifth",
        ),
        pytest.param(
            harmony("C", "major", degree(6, 0, "add")), "C6", id="added sixth"
        ),
        pytest.param(
            harmony("C", "major", degree(7, 0, "add")), "C7", id="added seventh"
        ),
        pytest.param(
            harmony("C", "major", degree(3, 0, "subtract")), "C5", id="no third"
        ),
        pytest.param(
            harmony(
                "A", "minor-seventh", degree(7, 1, "alter"), degree(7, 0, "subtract")
            ),
            "Am",
            id="seventh taken away",
        ),
    ],
)
def test_chords_of_ours_are_kept_as_they_are(symbol: str, expected: str) -> None:
    found = read(tune(symbol + FULL))
    assert chords(found) == f"{expected}@0-4"
    assert found.remarks == ()


@pytest.mark.parametrize(
    ("symbol", "expected", "said"),
    [
        pytest.param(
            harmony("G", "dominant-ninth"),
            "G7",
            'the chord "G dominant-ninth" was read as G7.',
            id="ninth",
        ),
        pytest.param(
            harmony("Eb", "major-13th"),
            "Ebmaj7",
            'the chord "Eb major-13th" was read as Ebmaj7.',
            id="thirteenth",
        ),
        pytest.param(
            harmony("A", "major-minor"),
            "Am",
            'the chord "A major-minor" was read as Am.',
            id="minor with major seventh",
        ),
        pytest.param(
            harmony("B", "dominant", degree(5, 1, "alter"), degree(9, 1, "add")),
            "Baug",
            'the chord "B dominant alter #5 add #9" was read as Baug.',
            id="altered dominant",
        ),
        pytest.param(
            harmony("D", "suspended-fourth", degree(7, 0, "add")),
            "Dsus4",
            'the chord "D suspended-fourth add 7" was read as Dsus4.',
            id="suspended seventh",
        ),
        pytest.param(
            harmony("C", "major", bass("D")),
            "C",
            "the chord C does not hold the bass D; its root was taken.",
            id="foreign bass",
        ),
        pytest.param(
            harmony("C", "major", "<inversion>3</inversion>"),
            "C",
            "the chord C does not hold inversion 3; its root was taken.",
            id="inversion that is none",
        ),
    ],
)
def test_richer_chords_become_the_nearest_and_are_told(
    symbol: str, expected: str, said: str
) -> None:
    found = read(tune(FULL, note("D4", 2) + symbol + note("E4", 2)))
    assert chords(found) == f"{expected}@6-8"
    assert remarks(found) == [f"Bar 2, beat 3: {said}"]


@pytest.mark.parametrize(
    ("symbol", "shown"),
    [
        (harmony("C", "Neapolitan"), "C Neapolitan"),
        (harmony("C", "other"), "C other"),
        (harmony("C", "major", degree(5, -1, "alter")), "C major alter b5"),
        (harmony("C", ""), "C"),
        (harmony("C", "major").replace("C", "H"), "? major"),
        (
            harmony("C", "major").replace(
                "</root-step>", "</root-step><root-alter>0.5</root-alter>"
            ),
            "? major",
        ),
        (
            harmony(
                "C", "major", "<root><root-step>D</root-step></root><kind>major</kind>"
            ),
            "C major",
        ),
        ("<harmony><function>Z</function><kind>major</kind></harmony>", "? major"),
    ],
)
def test_chords_that_are_none_of_ours_are_left_out_and_told(
    symbol: str, shown: str
) -> None:
    found = read(tune(harmony("G", "major") + FULL, symbol + FULL))
    assert chords(found) == "G@0-4"
    assert remarks(found) == [
        f'Bar 2, beat 1: the chord "{shown}" is not one of ours; it was left out.'
    ]


def numeral(root: int, kind: str, inner: str = "", alter: int = 0) -> str:
    altered = f"<numeral-alter>{alter}</numeral-alter>" if alter else ""
    return (
        f"<harmony><numeral><numeral-root>{root}</numeral-root>{altered}{inner}</numeral>"
        f"<kind>{kind}</kind></harmony>"
    )


def numeral_key(fifths: int, mode: str) -> str:
    return (
        f"<numeral-key><numeral-fifths>{fifths}</numeral-fifths>"
        f"<numeral-mode>{mode}</numeral-mode></numeral-key>"
    )


@pytest.mark.parametrize(
    ("symbol", "key", "expected"),
    [
        (numeral(5, "dominant"), "2 major", "A7"),
        (numeral(7, "diminished", alter=1), "0 minor", "G#dim"),
        (
            numeral(7, "diminished", numeral_key(0, "harmonic minor")),
            "0 minor",
            "G#dim",
        ),
        (numeral(6, "diminished", numeral_key(-3, "melodic minor")), "0 major", "Adim"),
        (numeral(6, "major", numeral_key(-3, "natural minor")), "0 major", "Ab"),
        (numeral(4, "major", numeral_key(1, "major")), "0 major", "C"),
        (
            "<harmony><function>ii</function><kind>minor</kind></harmony>",
            "1 major",
            "Am",
        ),
        (
            "<harmony><function>V/V</function><kind>dominant</kind></harmony>",
            "0 major",
            "D7",
        ),
    ],
)
def test_numerals_and_functions_are_read_in_their_key(
    symbol: str, key: str, expected: str
) -> None:
    fifths, mode = key.split()
    written = f"<key><fifths>{fifths}</fifths><mode>{mode}</mode></key>"
    assert chords(read(tune(symbol + FULL, key=written))) == f"{expected}@0-4"


def test_offsets_move_a_symbol() -> None:
    late = harmony("G", "major").replace("</harmony>", "<offset>120</offset></harmony>")
    assert chords(read(tune(harmony("C", "major") + late + FULL))) == "C@0-2 G@2-4"


def test_symbols_heaped_on_one_note_share_its_length() -> None:
    heap = harmony("C", "major") + harmony("F", "major") + harmony("G", "dominant")
    found = read(tune(heap + note("C4", 3) + note("D4", 1)))
    assert chords(found) == "C@0-1 F@1-2 G7@2-4"
    assert remarks(found) == [
        (
            "Bar 1, beat 1: 3 chord symbols stand at one place; they were spread "
            "evenly over the note under them."
        )
    ]


def test_symbols_after_a_backup_find_their_place() -> None:
    lower = (
        move("backup", 4) + note("C3", 2, "<voice>2</voice>") + harmony("G", "major")
    )
    bar = harmony("C", "major") + note("E4", 4, "<voice>1</voice>") + lower
    found = read(tune(bar + note("G3", 2, "<voice>2</voice>")))
    assert chords(found) == "C@0-2 G@2-4"


def test_symbols_of_a_transposing_part_are_given_as_they_sound() -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    symbol = harmony("A", "dominant", bass("E"))
    data = score(
        measure(
            start(C_MAJOR.replace("0", "2"), FOUR_FOUR, down), symbol, note("E4", 4)
        )
    )
    assert chords(read(data)) == "G7/D@0-4"


def test_symbols_over_another_part_are_taken_and_told() -> None:
    data = score(
        measures(start() + FULL, FULL),
        measures(start() + note("C3", 4), harmony("F", "major") + note("F3", 4)),
        names=("Voice", "Guitar"),
    )
    found = read(data)
    assert chords(found) == "F@4-8"
    assert 'The chord symbols were taken from the part "Guitar".' in remarks(found)


def test_symbols_do_not_hide_the_notes_nor_hurt_them() -> None:
    found = read(tune(numeral(1, "major") + note("C4", Fraction(4))))
    assert [str(n.pitch) for n in found.notes] == ["C4"]
    assert chords(found) == "C@0-4"
