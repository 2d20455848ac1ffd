"""Scripts read whole: what two hands wrote, whatever program or hand wrote it."""

from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import pytest
from makers.musicxml_files import (
    direction,
    harmony,
    measures,
    move,
    note,
    score,
    start,
    tie,
)
from makers.scripts import script_of
from music21 import chord as m21_chord  # noqa: TID251 (the oracle)
from music21 import harmony as m21_harmony  # noqa: TID251 (the oracle)
from music21 import meter as m21_meter  # noqa: TID251 (the oracle)
from music21 import note as m21_note  # noqa: TID251 (the oracle)
from music21 import stream as m21_stream  # noqa: TID251 (the oracle)
from music21.musicxml.m21ToXml import GeneralObjectExporter  # noqa: TID251 (the oracle)

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.marking.script import Script
from harmonise.marking.scripts import parse_script
from harmonise.notation.formats import read_tune
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.theory.arrangement import Arrangement, Hand, Style
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
every_tune = pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)

STAFF = "<staff>{}</staff>"
LEFT = STAFF.format(2)
EXAMPLE = "1.3: F | C4 F4 A4 | F2"


def played(script: Script) -> list[str]:
    """Return notes as "onset length pitch hand", in order."""
    return [
        f"{own.onset} {own.length} {own.pitch} {own.hand.value}" for own in script.notes
    ]


def model(path: Path) -> Arrangement:
    return arrange(read_tune(path), Style(level=3))


@pytest.fixture(scope="module")
def tune() -> Tune:
    return read_tune(next(p for p in TUNES if p.stem == "morning_steps"))


@every_tune
def test_our_own_musicxml_is_read_note_for_note(path: Path) -> None:
    done = model(path)
    script = parse_script(format_musicxml(done), done.tune)
    assert played(script) == played(script_of(done))
    assert script.symbols
    assert {own.onset: own.chord for own in script.symbols}.items() >= {
        slot.onset: slot.chord for slot in done.changes
    }.items()


@every_tune
def test_the_score_in_words_is_read_note_for_note(path: Path) -> None:
    done = model(path)
    script = parse_script(format_spoken(done).encode(), done.tune)
    assert played(script) == played(script_of(done))
    assert script.bars == ()


def test_midi_gives_keys_hands_and_times_but_no_names(tune: Tune) -> None:
    done = arrange(tune, Style(level=3))
    script = parse_script(format_midi(done), tune)
    wanted = [(n.onset, n.pitch.midi, n.hand) for n in script_of(done).notes]
    assert [(n.onset, n.pitch.midi, n.hand) for n in script.notes] == wanted
    assert not script.spelled


def test_one_midi_track_is_two_hands_by_its_lowest_notes(tune: Tune) -> None:
    track = mido.MidiTrack()
    for key in (48, 64, 67, 72):
        track.append(mido.Message("note_on", note=key, velocity=80))
    for number, key in enumerate((48, 64, 67, 72)):
        track.append(mido.Message("note_off", note=key, time=0 if number else 480))
    packed = BytesIO()
    mido.MidiFile(tracks=[track], type=0, ticks_per_beat=480).save(file=packed)
    script = parse_script(packed.getvalue(), tune)
    assert played(script) == [
        "0 1 C3 left", "0 1 E4 right", "0 1 G4 right", "0 1 C5 right"
    ]  # fmt: skip


def m21_score(*, parts: int) -> bytes:
    """Return a bar of C and a bar of F that music21 wrote: two staves or two parts."""
    whole = m21_stream.Score()
    right, left = m21_stream.Part(id="RH"), m21_stream.Part(id="LH")
    for number, (symbol, bass, upper) in enumerate(
        [("C", "C3", "E4 G4 C5"), ("F", "F2", "F4 A4 C5")], 1
    ):
        high, low = m21_stream.Measure(number), m21_stream.Measure(number)
        if number == 1:
            high.append(m21_meter.TimeSignature("4/4"))
            low.append(m21_meter.TimeSignature("4/4"))
        high.insert(0, m21_harmony.ChordSymbol(symbol))
        high.append(m21_chord.Chord(upper, quarterLength=2))
        high.append(m21_chord.Chord(upper, quarterLength=2))
        low.append(m21_note.Note(bass, quarterLength=4))
        right.append(high)
        left.append(low)
    whole.append(right)
    if parts == 2:
        whole.append(left)
    written: bytes = GeneralObjectExporter(whole).parse()
    return written


def test_a_score_that_music21_wrote_is_read_as_two_hands(tune: Tune) -> None:
    script = parse_script(m21_score(parts=2), tune)
    assert [own.pitch.midi for own in script.notes if own.hand is Hand.LEFT] == [48, 41]
    assert len([own for own in script.notes if own.hand is Hand.RIGHT]) == 12
    assert [(int(own.onset), str(own.chord)) for own in script.symbols] == [
        (0, "C"), (4, "F")
    ]  # fmt: skip


def test_a_single_staff_is_the_right_hand(tune: Tune) -> None:
    script = parse_script(m21_score(parts=1), tune)
    assert {own.hand for own in script.notes} == {Hand.RIGHT}


def test_notes_tied_over_a_bar_line_are_one_note(tune: Tune) -> None:
    first = start() + note("E4", 4, tie("start"), STAFF.format(1))
    first += move("backup", 4) + note("C3", 4, LEFT)
    second = note("E4", 2, tie("stop"), STAFF.format(1)) + note("F4", 2)
    script = parse_script(score(measures(first, second)), tune)
    assert played(script) == ["0 4 C3 left", "0 6 E4 right", "6 2 F4 right"]


def test_a_tie_between_two_pitches_binds_nothing(tune: Tune) -> None:
    bar = start() + note("E4", 2, tie("start")) + note("F4", 2, tie("stop"))
    script = parse_script(score(measures(bar)), tune)
    assert played(script) == ["0 2 E4 right", "2 2 F4 right"]


def test_hidden_small_and_silent_notes_are_left_out(tune: Tune) -> None:
    shown = note("E4", 1)
    hidden = shown.replace("<note>", '<note print-object="no">')
    small = shown.replace("<note>", "<note><cue/>")
    bar = start() + hidden + small + note("r", 1) + note("G4", 1)
    script = parse_script(score(measures(bar)), tune)
    assert played(script) == ["3 1 G4 right"]


def test_a_bar_that_does_not_add_up_is_kept_as_it_is(tune: Tune) -> None:
    bars = measures(start() + note("E4", 3), note("F4", 5), note("G4", 4))
    script = parse_script(score(bars), tune)
    assert [own.length for own in script.bars] == [3, 5, 4]


def test_words_are_read_where_they_stand(tune: Tune) -> None:
    bar = start() + note("E4", 2) + direction("<words>first</words>") + note("G4", 2)
    script = parse_script(score(measures(bar)), tune)
    assert script.words == ((Fraction(2), "first"),)


def test_words_that_are_sung_are_no_labels(tune: Tune) -> None:
    sung = "<lyric><syllabic>single</syllabic><text>I</text></lyric>"
    bar = start() + note("E4", 4, STAFF.format(1), sung)
    bar += move("backup", 4) + note("C3", 4, LEFT, sung.replace(">I<", ">V<"))
    script = parse_script(score(measures(bar)), tune)
    assert script.words == ((Fraction(0), "V"),)


def test_symbols_last_until_the_next_one(tune: Tune) -> None:
    bar = start() + harmony("C", "major") + note("E4", 2)
    bar += harmony("G", "dominant") + note("F4", 2)
    script = parse_script(score(measures(bar)), tune)
    assert [(str(s.chord), int(s.onset), int(s.end)) for s in script.symbols] == [
        ("C", 0, 2), ("G7", 2, 4)
    ]  # fmt: skip


TYPED = """\
Name: Ann
# bar.beat: label | right hand | left hand
1:       C (I) root | C4 E4 G4 | C3
1.3:     F          | C F A    | F
bar 2, beat 1 : G7  | - | G2
2.2 1/2: E4 G4      | C
"""


def test_typed_chords_are_read_low_to_high(tune: Tune) -> None:
    script = parse_script(TYPED.encode(), tune)
    assert played(script) == [
        "0 2 C3 left", "0 2 C4 right", "0 2 E4 right", "0 2 G4 right",
        "2 2 F2 left", "2 2 C4 right", "2 2 F4 right", "2 2 A4 right",
        "4 3/2 G2 left",
        "11/2 5/2 C3 left", "11/2 5/2 E4 right", "11/2 5/2 G4 right",
    ]  # fmt: skip
    assert [(int(s.onset), str(s.chord)) for s in script.symbols] == [
        (0, "C"), (2, "F"), (4, "G7")
    ]  # fmt: skip
    assert [word.text for word in script.words] == ["I", "root"]
    assert (script.title, script.tune_written) == ("Ann", False)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1: H4 | C3", 'Bar 1, beat 1: "H4" is not a pitch. Type one such as F#4.'),
        (
            "99: C | E4 | C3",
            "Bar 99, beat 1: the tune has no bar 99. Write lines such as: " + EXAMPLE,
        ),
        (
            "1: C | E4 | C3\nwhat is this",
            'Line 2, "what is this", has no bar. Write lines such as: ' + EXAMPLE,
        ),
        (
            "99.9: C",
            "Bar 99, beat 9: the tune has no bar 99. Write lines such as: " + EXAMPLE,
        ),
        (" \n", "This file is empty. Save the work again and hand that in."),
        (
            "ID3\x03\x00 1: C | E4",
            (
                "This is neither notation nor text. Export MusicXML or MIDI where it "
                "was made."
            ),
        ),
        (
            "X: 1\nK: C\nCDEF|",
            (
                "This is ABC, which has a tune and no hands. Export MusicXML or MIDI, "
                "or type the chords."
            ),
        ),
        (
            "hello",
            "This text is no work that can be marked. Write lines such as: " + EXAMPLE,
        ),
        (
            "1: C | E4 | C3 | G",
            'Bar 1, beat 1: there are more than two "|". Write lines such as: '
            + EXAMPLE,
        ),
        (
            "1.9: C",
            "Bar 1, beat 9: the bar has no such beat. Write lines such as: " + EXAMPLE,
        ),
    ],
)
def test_what_cannot_be_read_is_told_with_its_place(
    text: str, told: str, tune: Tune
) -> None:
    with pytest.raises(HarmoniseError) as refused:
        parse_script(text.encode(), tune)
    assert str(refused.value) == told


@pytest.mark.parametrize(
    "data",
    [b"", b"<broken", b"PK\x03\x04nothing", b"MThd\x00\x00", b"\xff\xfe<\x00", b"\x00"],
)
def test_no_bytes_end_in_a_traceback(data: bytes, tune: Tune) -> None:
    with pytest.raises(HarmoniseError) as refused:
        parse_script(data, tune)
    assert str(refused.value)


def test_a_work_larger_than_two_megabytes_is_refused(tune: Tune) -> None:
    with pytest.raises(HarmoniseError, match="larger than 2 MB"):
        parse_script(b"1: C\n" * 500_000, tune)
