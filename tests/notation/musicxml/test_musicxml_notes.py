"""Notes of MusicXML files: ties, tuplets, chords, grace notes, slurs, fermatas."""

from fractions import Fraction

import pytest
from makers.musicxml_files import (
    DIVISIONS,
    attributes,
    barline,
    grace,
    lyric,
    measure,
    move,
    notations,
    note,
    score,
    start,
    tie,
    tune,
)
from oracles.tune_shape import heard, told

from harmonise.errors import MelodyError, NotationError
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Grace

HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


def test_notes_and_rests_come_in_order() -> None:
    read = parse_musicxml(tune(note("C4", 1) + note("r", 1) + note("F#4", 2)))
    assert heard(read) == "C4:1 rest:1 F#4:2"
    assert told(read) == []


def test_gaps_become_rests_one_a_bar() -> None:
    first = (
        note("C4", 1) + move("forward", 2) + note("D4", HALF) + move("forward", HALF)
    )
    read = parse_musicxml(tune(first, move("forward", 4), note("r", 4), note("E4", 4)))
    assert heard(read) == "C4:1 rest:2 D4:1/2 rest:1/2 rest:4 rest:4 E4:4"


def test_an_empty_measure_is_a_bar_of_silence() -> None:
    assert heard(parse_musicxml(tune(note("C4", 4), "", note("D4", 4)))) == (
        "C4:4 rest:4 D4:4"
    )


def test_tied_notes_are_one_note_also_over_the_bar_line() -> None:
    read = parse_musicxml(
        tune(
            note("C4", 3) + note("D4", 1, tie("start")),
            note("D4", 4, tie("stop", "start")),
            note("D4", HALF, tie("stop")) + note("D4", 3 + HALF),
        )
    )
    assert heard(read) == "C4:3 D4:11/2 D4:7/2"
    assert told(read) == []


def test_the_sign_of_a_tie_is_enough() -> None:
    begins, ends = (notations(f'<tied type="{k}"/>') for k in ("start", "stop"))
    read = parse_musicxml(tune(note("C4", 2, begins) + note("C4", 2, ends)))
    assert heard(read) == "C4:4"


def test_a_tie_with_one_end_ties_nothing_and_is_told() -> None:
    read = parse_musicxml(
        tune(note("C4", 2, tie("start")) + note("C4", 2), note("E4", 4, tie("stop")))
    )
    assert heard(read) == "C4:2 C4:2 E4:4"
    assert told(read) == [
        (
            "Bar 1, beat 1: a tie at C4 has one end only; nothing was tied. The same "
            "in bar 2. Tie both notes if they are one."
        )
    ]


@pytest.mark.parametrize(
    ("actual", "normal", "kind", "divided"),
    [
        pytest.param(3, 2, "eighth", 3, id="triplet"),
        pytest.param(5, 4, "16th", 5, id="quintuplet"),
        pytest.param(7, 4, "16th", 7, id="septuplet"),
        pytest.param(9, 8, "32nd", 9, id="nonuplet"),
        pytest.param(11, 8, "32nd", 11, id="11 in the time of 8"),
        pytest.param(13, 8, "32nd", 13, id="13 in the time of 8"),
    ],
)
@pytest.mark.parametrize("rounding", [int, round], ids=["cut off", "rounded"])
def test_tuplets_are_exact_although_their_divisions_are_not(
    actual: int, normal: int, kind: str, divided: int, rounding: type
) -> None:
    sign = (
        f"<type>{kind}</type><time-modification><actual-notes>{actual}</actual-notes>"
        f"<normal-notes>{normal}</normal-notes></time-modification>"
    )
    one = note("D4", Fraction(rounding(60 / divided), 60), sign)
    read = parse_musicxml(tune(note("C4", 1) + one * divided + note("E4", 2)))
    lengths = [struck.length for struck in read.sounding]
    assert lengths == [1, *[Fraction(1, divided)] * divided, 2]
    assert read.end == 4


def test_nested_tuplets_are_read_from_their_durations() -> None:
    inner = note("D4", Fraction(2, 15)) * 5
    read = parse_musicxml(tune(note("C4", 2 * THIRD) * 2 + inner + note("E4", 2)))
    assert [n.length for n in read.sounding][2:7] == [Fraction(2, 15)] * 5
    assert read.end == 4


def test_the_top_note_of_a_chord_is_the_tune_and_the_others_are_told() -> None:
    read = parse_musicxml(
        tune(
            note("F4", 2)
            + note("C5", 2, "chord")
            + note("A4", 2, "chord")
            + note("G4", 2),
            note("E4", 4) + note("G4", 4, "chord"),
        )
    )
    assert heard(read) == "C5:2 G4:2 G4:4"
    assert told(read) == [
        (
            "Bar 1, beat 1: C5 sounds together with A4, F4; the top note was taken. "
            "The same in bar 2."
        )
    ]


def test_a_tie_in_a_chord_counts_only_at_the_top() -> None:
    read = parse_musicxml(
        tune(
            note("C4", 2, tie("start"))
            + note("E4", 2, "chord")
            + note("C4", 2, tie("stop"))
            + note("E4", 2, "chord")
        )
    )
    assert heard(read) == "E4:2 E4:2"
    assert told(read, "X15") == []


def voice(name: str, length: float, number: int) -> str:
    return note(name, length, f"<voice>{number}</voice>")


def test_grace_notes_stand_before_their_note() -> None:
    bar = (
        note("C4", 2) + grace("D4", slash="yes") + grace("E#4", "16th") + note("F4", 2)
    )
    read = parse_musicxml(tune(bar))
    assert heard(read) == "C4:2 F4:2"
    assert read.sounding[1].graces == (
        Grace(parse_pitch("D4"), slashed=True, value=HALF),
        Grace(parse_pitch("E#4"), slashed=False, value=Fraction(1, 4)),
    )


def test_a_grace_note_at_the_end_of_a_bar_leads_into_the_next() -> None:
    read = parse_musicxml(tune(note("C4", 4) + grace("E4"), note("D4", 4)))
    assert [str(g.pitch) for g in read.sounding[1].graces] == ["E4"]


def test_of_a_grace_chord_the_top_note_is_kept() -> None:
    low = grace("D4")
    high = grace("F4").replace("<pitch>", "<chord/><pitch>")
    read = parse_musicxml(tune(low + high + note("C4", 4)))
    assert [str(g.pitch) for g in read.sounding[0].graces] == ["F4"]


def test_grace_notes_that_lead_nowhere_are_told() -> None:
    bars = note("C4", 2) + grace("D4") + note("r", 2), note("E4", 4) + grace("F4")
    read = parse_musicxml(tune(*bars))
    assert not any(note.graces for note in read.notes)
    assert told(read) == [
        (
            "Bar 1: grace notes here lead to no note that is struck; they were left "
            "out. The same in bar 2."
        )
    ]


def test_fermatas_stand_on_notes_and_rests() -> None:
    sign = notations("<fermata/>")
    read = parse_musicxml(
        tune(note("C4", 2, sign) + note("r", 2, sign), note("D4", 2) + note("E4", 2))
    )
    assert [n.fermata for n in read.notes] == [True, True, False, False]
    assert list(map(str, read.phrases)) == ["2", "8"]


def slur(kind: str, number: int = 1) -> str:
    return f'<slur type="{kind}" number="{number}"/>'


def test_slurs_are_paired_by_number_and_may_nest() -> None:
    read = parse_musicxml(
        tune(
            note("C4", 1, notations(slur("start")))
            + note("D4", 1, notations(slur("start", 2)))
            + note("E4", 1, notations(slur("stop", 2)))
            + note("F4", 1, notations(slur("start"), slur("stop"))),
            note("G4", 4, notations(slur("stop"))),
        )
    )
    assert [n.slur_starts for n in read.notes] == [1, 1, 0, 1, 0]
    assert [n.slur_ends for n in read.notes] == [0, 0, 1, 1, 1]


def test_a_slur_over_a_tie_or_from_a_grace_note_is_none_of_the_tune() -> None:
    from_grace = grace("D4").replace("</note>", notations(slur("start")) + "</note>")
    read = parse_musicxml(
        tune(
            note("C4", 1, tie("start"), notations(slur("start")))
            + note("C4", 1, tie("stop"), notations(slur("stop")))
            + from_grace
            + note("E4", 2, notations(slur("stop")))
        )
    )
    assert heard(read) == "C4:2 E4:2"
    assert not any(n.slur_starts or n.slur_ends for n in read.notes)


def test_a_slur_without_an_end_is_left_out() -> None:
    read = parse_musicxml(tune(note("C4", 4, notations(slur("start")))))
    assert read.notes[0].slur_starts == 0


def test_empty_bars_under_a_repeat_sign_are_filled_in() -> None:
    sign = (
        "<measure-style><measure-repeat type='{}'>{}</measure-repeat></measure-style>"
    )
    read = parse_musicxml(
        tune(
            note("C4", 2, lyric("one")) + note("D4", 2),
            note("E4", 4),
            attributes(sign.format("start", 2)),
            note("r", 4),
            attributes(sign.format("stop", "")) + note("G4", 4),
        )
    )
    assert heard(read) == "C4:2 D4:2 E4:4 C4:2 D4:2 E4:4 G4:4"
    assert [s.text for n in read.sounding for s in n.syllables if s] == ["one"]
    assert told(read) == [
        (
            "Bar 3: the bar holds a repeat sign only; the notes before it were "
            "filled in. The same in bar 4."
        )
    ]


def test_notes_under_a_repeat_sign_are_taken_as_they_stand() -> None:
    sign = (
        "<measure-style><measure-repeat type='start'>1</measure-repeat></measure-style>"
    )
    read = parse_musicxml(tune(note("C4", 4), attributes(sign) + note("E4", 4)))
    assert heard(read) == "C4:4 E4:4"


def test_a_backup_beyond_the_bar_line_is_told() -> None:
    low = move("backup", 9) + voice("C3", 4, 2)
    read = parse_musicxml(tune(voice("E4", 4, 1) + low))
    assert heard(read) == "E4:4"
    assert told(read, "X11") == [
        (
            "Bar 1: a <backup> goes further back than the bar line; it was taken to "
            "lead to the bar line."
        )
    ]


def test_a_chord_note_longer_than_its_chord_is_cut_and_told() -> None:
    long = note("E4", 1) + note("G4", 3, "chord") + note("C4", 3)
    read = parse_musicxml(tune(long))
    assert heard(read) == "G4:1 C4:3"
    assert told(read, "X13") == [
        "Bar 1, beat 1: a note here overlaps the next one; it was shortened."
    ]


def test_a_last_chord_note_longer_than_its_bar_is_cut_and_told() -> None:
    long = note("E4", 1) + note("C4", 3) + note("G4", 5, "chord")
    read = parse_musicxml(tune(long))
    assert heard(read) == "E4:1 G4:3"
    assert told(read, "X13") == [
        "Bar 1, beat 2: a note here lasts longer than its bar; it was shortened."
    ]


def test_a_direction_inside_a_chord_and_a_strange_accidental_change_nothing() -> None:
    bar = (
        note("A4", 2, "<accidental>sharp</accidental>")
        + "<direction><direction-type><words>dolce</words></direction-type></direction>"
        + note("C4", 2, "chord")
        + note("B4", 2)
        + barline("<bar-style>tick</bar-style>")
    )
    assert heard(parse_musicxml(tune(bar))) == "A4:2 B4:2"


def test_a_part_of_grace_notes_only_holds_no_tune() -> None:
    with pytest.raises(
        MelodyError, match=r"The chosen part has no note with a pitch\."
    ):
        parse_musicxml(tune(grace("C4") + note("r", 4)))


def test_a_fault_outside_the_tune_does_not_hurt_it() -> None:
    strange = note("C3", 4, "<voice>2</voice>").replace(
        "<step>C</step>", "<step>C</step><alter>0.5</alter>"
    )
    bar = voice("E4", 4, 1) + move("backup", 4) + strange
    assert heard(parse_musicxml(tune(bar))) == "E4:4"
    with pytest.raises(NotationError):
        parse_musicxml(tune(strange))


def test_a_tie_over_a_gap_ties_nothing() -> None:
    gap = note("C4", 1, tie("start")) + move("forward", 1) + note("C4", 2, tie("stop"))
    read = parse_musicxml(tune(gap))
    assert heard(read) == "C4:1 rest:1 C4:2"
    assert [remark.code for remark in read.remarks] == ["X15"]


def test_a_grace_note_before_a_gap_is_told() -> None:
    read = parse_musicxml(tune(grace("D4") + move("forward", 2) + note("C4", 2)))
    assert not any(note.graces for note in read.notes)
    assert [remark.code for remark in read.remarks] == ["X12"]


def test_lengths_without_divisions_are_refused_with_the_cause() -> None:
    quarter = note("C4", 1, "<type>quarter</type>")
    untold = start().replace(f"<divisions>{DIVISIONS}</divisions>", "")
    with pytest.raises(NotationError) as caught:
        parse_musicxml(score(measure(untold, *[quarter] * 4)))
    assert str(caught.value) == (
        "Bar 1, beat 1: the file does not say its <divisions>, so that no length is "
        "known. Export it again from the program that made it."
    )
    # The value that is taken for granted is one a crotchet.
    one = quarter.replace(f"<duration>{DIVISIONS}<", "<duration>1<")
    assert parse_musicxml(score(measure(untold, *[one] * 4))).bars[0].length == 4
