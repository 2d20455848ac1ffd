"""Keys, tempo marks, jumps and labels of MusicXML files."""

from collections.abc import Iterable
from fractions import Fraction

import pytest
from makers.musicxml_files import (
    FULL,
    attributes,
    direction,
    measures,
    notations,
    note,
    score,
    start,
    tune,
)
from oracles.tune_shape import told, whole

from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.tune import Tempo

read = whole(parse_musicxml)
HALF = Fraction(1, 2)


def onsets(places: Iterable[Fraction]) -> str:
    return " ".join(map(str, places))


def key(fifths: int, mode: str = "") -> str:
    named = f"<mode>{mode}</mode>" if mode else ""
    return f"<key><fifths>{fifths}</fifths>{named}</key>"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (key(2, "major"), "D major"),
        (key(-3, "minor"), "C minor"),
        (key(1, "dorian"), "A dorian"),
        (key(-1, "mixolydian"), "C mixolydian"),
        (key(0, "aeolian"), "A aeolian"),
        (key(-7, "ionian"), "Cb major"),
        (
            (
                "<key><key-step>F</key-step><key-alter>1</key-alter><key-step>C</key-step>"
                "<key-alter>1</key-alter><mode>minor</mode></key>"
            ),
            "B minor",
        ),
        (
            "<key><key-step>B</key-step><key-alter>-1</key-alter><mode>major</mode></key>",
            "F major",
        ),
    ],
    ids=str,
)
def test_a_key_with_a_mode_is_read_as_it_is(written: str, expected: str) -> None:
    found = read(tune(FULL, key=written))
    assert str(found.key) == expected
    assert not found.key_guessed
    assert found.remarks == ()


def bars(names: str) -> str:
    return "".join(note(name, 1) for name in names.split())


@pytest.mark.parametrize(
    ("written", "notes", "expected"),
    [
        pytest.param(key(0), "C4 E4 G4 C4", "C major", id="ends on 1"),
        pytest.param(key(0), "C4 E4 A4 G4", "C major", id="major, ends openly on 5"),
        pytest.param(key(0), "G4 B4 F4 G4", "G mixolydian", id="mixolydian"),
        pytest.param(key(0), "D4 F4 B4 D4", "D dorian", id="dorian"),
        pytest.param(key(0), "A4 C5 G#4 A4", "A minor", id="raised seventh"),
        pytest.param(key(0), "A4 C5 G4 A4", "A aeolian", id="natural seventh"),
        pytest.param(key(0), "A4 C5 E5 A4", "A minor", id="no seventh"),
        pytest.param(key(0), "A4 G#4 A4 E4", "A minor", id="minor, ends on 5"),
        pytest.param(key(-2), "G4 A4 Bb4 G4", "G minor", id="two flats"),
        pytest.param(key(3, "phrygian"), "C#4 D4 E4 C#4", "A major", id="a sixth mode"),
        pytest.param("", "G4 A4 F#4 G4", "G major", id="no key: one sharp heard"),
        pytest.param("", "D4 F4 E4 D4", "D minor", id="no key: minor before dorian"),
        pytest.param("", "D4 F4 B4 D4", "D dorian", id="no key: dorian"),
    ],
)
def test_a_key_without_a_mode_is_guessed_and_told(
    written: str, notes: str, expected: str
) -> None:
    found = read(tune(bars(notes), key=written))
    assert str(found.key) == expected
    assert found.key_guessed
    last = notes.rsplit(maxsplit=1)[-1][:-1]
    why = {
        "": "The file gives no key",
        key(3, "phrygian"): "The mode phrygian is not one of ours",
    }.get(written, "The key signature names no mode")
    assert told(found, "X26") == [
        (
            f"{why}; the tune ends on {last}: read as {expected}, which is a guess. "
            "Name the key if it is another."
        )
    ]


def test_short_notes_that_lead_back_do_not_name_the_key() -> None:
    turn = note("G4", 2) + note("G4", 1) + note("A4", HALF) + note("B4", HALF)
    assert str(read(tune(bars("G4 B4 D5 B4"), turn, key=key(1))).key) == "G major"


def test_key_changes_keep_their_place_and_a_repeated_key_is_none() -> None:
    found = read(
        tune(
            FULL,
            attributes(key(0, "major")) + FULL,
            note("C4", 2) + attributes(key(-1, "major")) + note("F4", 2),
            key=key(0, "major"),
        )
    )
    assert [(int(c.onset), str(c.key)) for c in found.keys] == [
        (0, "C major"),
        (10, "F major"),
    ]


def test_the_key_of_another_staff_is_not_ours() -> None:
    two = '<key number="1"><fifths>1</fifths><mode>major</mode></key>'
    other = two.replace('"1"', '"2"').replace("1<", "-4<")
    assert str(read(tune(FULL, key=two + other)).key) == "G major"


def metronome(unit: str, per_minute: str) -> str:
    return f"<metronome>{unit}<per-minute>{per_minute}</per-minute></metronome>"


QUARTER = "<beat-unit>quarter</beat-unit>"


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        (direction(metronome(QUARTER, "96")), Tempo(Fraction(0), Fraction(96))),
        (
            direction(
                "<words>Lively</words>",
                metronome(QUARTER + "<beat-unit-dot/>", "c. 72"),
            ),
            Tempo(Fraction(0), Fraction(72), Fraction(3, 2), "Lively"),
        ),
        (
            direction("<words>Allegro</words>")
            + direction(metronome("<beat-unit>half</beat-unit>", "60.5")),
            Tempo(Fraction(0), Fraction(121, 2), Fraction(2), "Allegro"),
        ),
        (
            direction("<words>Slowly</words>", sound='<sound tempo="66"/>'),
            Tempo(Fraction(0), Fraction(66), Fraction(1), "Slowly"),
        ),
        ('<sound tempo="110"/>', Tempo(Fraction(0), Fraction(110))),
        (
            direction(metronome(QUARTER, "80"), sound='<sound tempo="79"/>'),
            Tempo(Fraction(0), Fraction(80)),
        ),
    ],
    ids=["metronome", "dotted beat", "words before", "sound", "sound alone", "both"],
)
def test_tempo_marks_are_read(marks: str, expected: Tempo) -> None:
    assert read(tune(marks + FULL)).tempos == (expected,)


def test_later_tempos_for_playback_only_are_no_marks() -> None:
    later = note("C4", 2) + '<sound tempo="60"/>' + note("C4", 2)
    faster = direction("<words>Faster</words>", sound='<sound tempo="120"/>')
    found = read(tune(later, faster + FULL))
    assert found.tempos == (Tempo(Fraction(4), Fraction(120), Fraction(1), "Faster"),)


def test_a_tempo_mark_stands_where_its_offset_says() -> None:
    mark = direction(metronome(QUARTER, "60")).replace(
        "</direction>", "<offset>60</offset></direction>"
    )
    assert read(tune(mark + FULL)).tempos[0].onset == 1


def test_tempo_words_without_a_number_are_a_tempo() -> None:
    found = read(
        tune(
            direction("<words>Largo</words>") + FULL,
            direction("<words>With love</words>").replace(
                "<direction", '<direction directive="yes"', 1
            )
            + FULL,
        )
    )
    assert found.tempos == (
        Tempo(Fraction(0), None, words="Largo"),
        Tempo(Fraction(4), None, words="With love"),
    )


def test_tempo_marks_without_a_number_are_told() -> None:
    change = f"<metronome>{QUARTER}<beat-unit>half</beat-unit></metronome>"
    found = read(tune(FULL, direction(change) + FULL))
    assert found.tempos == ()
    assert told(found, "X19") == [
        (
            "Bar 2, beat 1: a tempo mark here gives no number of beats a minute; it "
            "was left out."
        )
    ]


def test_jumps_stand_at_the_ends_of_their_bars_and_signs_at_the_starts() -> None:
    found = read(
        tune(
            direction("<segno/>") + FULL,
            note("C4", 3) + direction("<words>Fine</words>") + note("C4", 1),
            direction(sound='<sound tocoda="c"/>') + FULL,
            FULL
            + direction("<words>D.S. al Coda</words>", sound='<sound dalsegno="s"/>'),
            direction("<coda/>") + FULL,
        )
    )
    assert [(int(onset), said) for onset, said in found.end_text] == [
        (0, "Segno"), (8, "Fine"), (12, "To Coda"), (16, "Coda"), (16, "D.S. al Coda")
    ]  # fmt: skip


def test_rehearsal_marks_and_named_sections_label_their_bars() -> None:
    found = read(
        tune(
            direction("<rehearsal>A</rehearsal>") + FULL,
            FULL,
            direction("<words>Chorus:</words>") + FULL,
        )
    )
    assert [bar.section for bar in found.bars] == ["A", "", "Chorus"]
    assert onsets(found.phrases) == "8 12"


def test_marks_of_the_first_part_count_for_a_tune_in_another() -> None:
    first = direction("<words>Gently</words>", metronome(QUARTER, "70"))
    data = score(
        measures(start() + note("r", 4), first + note("r", 4)),
        measures(start() + FULL, FULL),
    )
    assert read(data).tempos == (
        Tempo(Fraction(4), Fraction(70), Fraction(1), "Gently"),
    )


def test_fermatas_close_lines_as_in_hymns() -> None:
    held = note("C4", 3, notations("<fermata/>"))
    assert onsets(read(tune(held + note("D4", 1), FULL)).phrases) == "3 8"


def test_what_two_parts_say_alike_is_told_once() -> None:
    largo = direction("<words>Largo</words>")
    data = score(
        measures(start() + largo + note("r", 4)), measures(start() + largo + FULL)
    )
    assert read(data).tempos == (Tempo(Fraction(0), None, words="Largo"),)
