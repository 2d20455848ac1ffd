"""Which part, staff and voice of a MusicXML file is the tune, and how it sounds."""

from fractions import Fraction

import pytest
from makers.musicxml_files import (
    C_MAJOR,
    FOUR_FOUR,
    attributes,
    grace,
    measure,
    measures,
    move,
    note,
    score,
    start,
    tune,
)
from oracles.tune_shape import heard, told

from harmonise.errors import HarmoniseError
from harmonise.notation.musicxml.reader import parse_musicxml

HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


def refusal(data: bytes, part: str = "") -> str:
    with pytest.raises(HarmoniseError) as caught:
        parse_musicxml(data, part)
    return str(caught.value)


def voice(name: str, length: float, number: int) -> str:
    return note(name, length, f"<voice>{number}</voice>")


def test_of_two_voices_the_upper_one_is_the_tune_whatever_its_number() -> None:
    upper = voice("E5", 2, 2) + voice("D5", 2, 2)
    lower = voice("C4", 4, 1)
    for bar in (upper + move("backup", 4) + lower, lower + move("backup", 4) + upper):
        read = parse_musicxml(tune(bar, bar))
        assert heard(read) == "E5:2 D5:2 E5:2 D5:2"
        assert told(read) == [
            (
                "Bar 1: several voices share the staff; the upper one was taken. The "
                "same in bar 2."
            )
        ]


def test_a_descant_of_some_bars_is_not_the_tune() -> None:
    sung = voice("G4", 4, 1)
    descant = sung + move("backup", 4) + voice("C6", 4, 2)
    assert (
        heard(parse_musicxml(tune(sung, descant, sung, sung))) == "G4:4 G4:4 G4:4 G4:4"
    )


def test_a_bar_without_the_main_voice_is_taken_from_the_highest_other() -> None:
    sung = voice("G4", 4, 1)
    others = voice("E4", 4, 2) + move("backup", 4) + voice("A4", 4, 3)
    assert heard(parse_musicxml(tune(sung, others, sung))) == "G4:4 A4:4 G4:4"


def test_a_bar_in_which_the_main_voice_rests_is_a_rest() -> None:
    sung = voice("G4", 4, 1)
    alone = voice("r", 4, 1) + move("backup", 4) + voice("E4", 4, 2)
    assert heard(parse_musicxml(tune(sung, alone, sung))) == "G4:4 rest:4 G4:4"


def test_two_layers_without_voice_numbers_are_two_voices() -> None:
    bar = note("C4", 4) + move("backup", 4) + note("E5", 2) + note("F5", 2)
    read = parse_musicxml(tune(bar))
    assert heard(read) == "E5:2 F5:2"
    assert [r.code for r in read.remarks] == ["X02"]


def test_the_upper_staff_is_the_tune() -> None:
    lower = note("C5", 4, "<voice>5</voice><staff>2</staff>")
    upper = note("G4", 4, "<voice>1</voice><staff>1</staff>")
    data = score(
        measure(
            start(),
            "<attributes><staves>2</staves></attributes>",
            lower,
            move("backup", 4),
            upper,
        )
    )
    assert heard(parse_musicxml(data)) == "G4:4"


def test_a_voice_that_leaves_the_staff_is_told() -> None:
    up = note("G4", 2, "<voice>1</voice><staff>1</staff>")
    down = note("C4", 2, "<voice>1</voice><staff>2</staff>")
    read = parse_musicxml(score(measure(start(), up, down)))
    assert heard(read) == "G4:2 rest:2"
    assert told(read) == [
        (
            "Bar 1: the tune's voice goes to another staff here; what stands there was "
            "left out."
        )
    ]


def test_voices_numbered_anew_on_each_staff_do_not_mix() -> None:
    up = note("G4", 4, "<voice>1</voice><staff>1</staff>")
    down = note("C3", 4, "<voice>1</voice><staff>2</staff>")
    read = parse_musicxml(score(measure(start(), up, move("backup", 4), down)))
    assert heard(read) == "G4:4"
    assert told(read) == []


def test_cue_notes_are_left_out_and_told() -> None:
    read = parse_musicxml(tune(note("C4", 2) + note("G5", 2, "<cue/>"), note("D4", 4)))
    assert heard(read) == "C4:2 rest:2 D4:4"
    assert told(read) == ["Bar 1: cue notes stand here; they were left out."]


def test_hidden_notes_are_kept_and_told() -> None:
    hidden = note("D4", 2).replace("<note>", '<note print-object="no">')
    read = parse_musicxml(tune(note("C4", 2) + hidden))
    assert heard(read) == "C4:2 D4:2"
    assert told(read) == [
        "Bar 1: notes here are not printed but sound; they were kept."
    ]


def test_a_hidden_voice_for_playback_is_not_the_tune() -> None:
    played = voice("C6", 1, 2).replace("<note>", '<note print-object="no">') * 4
    bar = voice("C5", 4, 1) + move("backup", 4) + played
    assert heard(parse_musicxml(tune(bar, bar))) == "C5:4 C5:4"


def test_the_first_part_with_notes_is_taken_and_told() -> None:
    data = score(
        measures(start() + note("r", 4)),
        measures(start() + note("E4", 4)),
        measures(start() + note("G4", 4)),
        names=("Drums", "Voice", "Flute"),
    )
    read = parse_musicxml(data)
    assert heard(read) == "E4:4"
    assert told(read) == [
        (
            'The file has 3 parts; the tune was taken from "Voice", the first that has '
            "notes. Name another part if the tune is there."
        )
    ]
    for name in ("Flute", "flute", "P3"):
        assert heard(parse_musicxml(data, name)) == "G4:4"
        assert told(parse_musicxml(data, name)) == []


def test_a_part_must_be_named_clearly() -> None:
    data = score(
        measures(start() + note("C4", 4)),
        measures(start() + note("E4", 4)),
        measures(start() + note("r", 4)),
        names=("Voice", "Voice", "Drum"),
    )
    assert refusal(data, "Oboe") == (
        'No part is called "Oboe". The file has "Voice", "Voice", "Drum".'
    )
    assert refusal(data, "voice") == (
        '2 parts are called "voice". Name one by its id: P1 and P2.'
    )
    assert refusal(data, "Drum") == (
        "The chosen part has no note with a pitch. Name another part."
    )


def test_title_composer_and_origin_are_told_as_the_file_tells_them() -> None:
    head = (
        "<work><work-title> The  Mill\nWheel </work-title></work>"
        "<identification><creator type='composer'>Trad.</creator>"
        "<creator type='lyricist'>A. Nonymous</creator><rights>Public domain</rights>"
        "<source>A book of 1802</source></identification>"
    )
    read = parse_musicxml(score(measures(start() + note("C4", 4)), head=head))
    assert read.title == "The Mill Wheel"
    assert read.composer == "Trad."
    assert read.origin == (
        "lyricist: A. Nonymous; source: A book of 1802; rights: Public domain"
    )


@pytest.mark.parametrize(
    ("head", "title"),
    [
        ("<movement-title>Reel</movement-title>", "Reel"),
        (
            (
                "<work><work-title>Songs</work-title></work>"
                "<movement-title>Reel</movement-title>"
            ),
            "Songs: Reel",
        ),
        (
            (
                "<work><work-title>Reel</work-title></work>"
                "<movement-title>Reel</movement-title>"
            ),
            "Reel",
        ),
        (
            (
                "<credit><credit-type>title</credit-type>"
                "<credit-words>Reel</credit-words></credit>"
            ),
            "Reel",
        ),
        ("<credit><credit-words>Page 1</credit-words></credit>", ""),
    ],
)
def test_the_title_is_work_movement_or_title_credit(head: str, title: str) -> None:
    data = score(measures(start() + note("C4", 4)), head=head)
    assert parse_musicxml(data).title == title


def test_transposing_instruments_are_given_as_they_sound() -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    up = "<transpose><chromatic>3</chromatic></transpose>"
    data = score(
        measure(start(C_MAJOR.replace("0", "2"), FOUR_FOUR, down)).replace(
            "</measure>", grace("F#4") + note("D4", 4) + "</measure>"
        )
        + measure(attributes(C_MAJOR.replace("0", "-3"), up), note("Eb4", 4), number=2)
    )
    read = parse_musicxml(data)
    assert heard(read) == "C4:4 Gb4:4"
    assert [str(g.pitch) for g in read.notes[0].graces] == ["E4"]
    assert [str(change.key) for change in read.keys] == ["C major", "Gb major"]
    assert told(read) == [
        (
            "The part is written for a transposing instrument; notes, key and chords "
            "are given as they sound (written D4 sounds C4)."
        )
    ]


def test_a_transposition_that_begins_later_is_told_by_a_note_that_it_moves() -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    later = measure(attributes(C_MAJOR, down), note("D4", 4), number=2)
    read = parse_musicxml(score(measures(start() + note("C4", 4)) + later))
    assert heard(read) == "C4:4 C4:4"
    assert any("(written D4 sounds C4)" in sentence for sentence in told(read))


def test_an_octave_change_is_sounding_too() -> None:
    low = (
        "<transpose><diatonic>0</diatonic><chromatic>0</chromatic>"
        "<octave-change>-1</octave-change></transpose>"
    )
    read = parse_musicxml(score(measure(start(C_MAJOR, FOUR_FOUR, low), note("C5", 4))))
    assert heard(read) == "C4:4"


def test_a_transposition_is_spelled_for_a_key_of_up_to_seven_signs() -> None:
    alto = "<transpose><diatonic>-5</diatonic><chromatic>-9</chromatic></transpose>"
    flats = C_MAJOR.replace("0", "-6")
    read = parse_musicxml(score(measure(start(flats, FOUR_FOUR, alto), note("Gb4", 4))))
    assert heard(read) == "A3:4"
    assert str(read.key) == "A major"


def test_octave_clefs_and_octave_lines_change_nothing() -> None:
    clef = (
        "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change>"
        "</clef>"
    )
    line = (
        '<direction><direction-type><octave-shift type="down" size="8"/>'
        "</direction-type></direction>"
    )
    data = score(measure(start(C_MAJOR, FOUR_FOUR, clef), line, note("C5", 4)))
    assert heard(parse_musicxml(data)) == "C5:4"


def test_the_upper_voice_is_the_one_above_while_both_sound() -> None:
    low = voice("C4", 4, 1)
    high = voice("C5", 4, 1) + move("backup", 4) + voice("A4", 4, 2)
    assert heard(parse_musicxml(tune(low, high))) == "C4:4 C5:4"


def test_a_tune_that_often_rests_is_the_tune_over_held_notes() -> None:
    rests = voice("E5", 1, 1) + voice("r", 3, 1)
    bar = rests + move("backup", 4) + voice("C4", 4, 2)
    assert heard(parse_musicxml(tune(bar))) == "E5:1 rest:3"
