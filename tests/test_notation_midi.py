import sys
from collections import Counter, defaultdict
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import music21  # noqa: TID251 (the oracle of the tests)
import pytest

from harmonise import Style, arrange, read_tune
from harmonise.drill import exercises
from harmonise.drills.keys import all_keys
from harmonise.drills.output import joined
from harmonise.errors import OutputError
from harmonise.notation.writing.midi import (
    TICKS,
    Playing,
    format_midi,
    rounded,
    write_midi,
)
from harmonise.theory.arrangement import Arrangement, Hand, Voice

TUNES = Path(__file__).parent.parent / "tunes"
NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))
TEXT = "Title: Steps\nKey: D\nTime: 3/4\nTempo: 90\nD | D F#.G A | B - A | D - ||"

Struck = tuple[Fraction, Fraction, int]


@pytest.fixture(scope="module")
def steps() -> Arrangement:
    return arrange(read_tune(TEXT))


def opened(content: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=BytesIO(content))


def played(track: mido.MidiTrack) -> list[Struck]:
    """Return onset, length and number of every note of a track, in crotchets."""
    found: list[Struck] = []
    now = 0
    sounding: dict[int, int] = {}
    for message in track:
        now += message.time
        if message.type == "note_on":
            assert message.note not in sounding
            sounding[message.note] = now
        elif message.type == "note_off":
            start = sounding.pop(message.note)
            length = Fraction(now - start, TICKS)
            found.append((Fraction(start, TICKS), length, message.note))
    assert not sounding
    return sorted(found)


def wanted(arrangement: Arrangement, voice: Voice) -> list[Struck]:
    return sorted(
        (note.onset, note.length, note.pitch.midi)
        for note in arrangement.notes
        if note.voice is voice
    )


@pytest.mark.parametrize("name", NAMES)
def test_each_voice_of_each_tune_comes_back_note_for_note(name: str) -> None:
    done = arrange(read_tune((TUNES / f"{name}.txt").read_text("utf-8")))
    file = opened(format_midi(done))
    assert [track.name for track in file.tracks[1:]] == [
        "Tune", "Right hand", "Left hand",
    ]  # fmt: skip
    for track, voice in zip(file.tracks[1:], Voice, strict=True):
        assert played(track) == wanted(done, voice)
    assert rounded(done) == 0


def test_drills_in_all_keys_come_back_note_for_note() -> None:
    done = joined(exercises("D9", all_keys()), "D9")
    file = opened(format_midi(done))
    for track, voice in zip(file.tracks[1:], Voice, strict=True):
        assert played(track) == wanted(done, voice)


def test_music21_hears_the_same_notes(steps: Arrangement) -> None:
    score = music21.converter.parseData(format_midi(steps), format="midi")
    heard = Counter(
        (Fraction(note.getOffsetInHierarchy(score)), pitch.midi)
        for note in score.recurse().notes
        if note.tie is None or note.tie.type == "start"
        for pitch in note.pitches
    )
    assert heard == Counter((note.onset, note.pitch.midi) for note in steps.notes)
    lengths: dict[int, Fraction] = defaultdict(Fraction)
    for note in score.recurse().notes:
        for pitch in note.pitches:
            lengths[pitch.midi] += Fraction(note.quarterLength)
    sums: dict[int, Fraction] = defaultdict(Fraction)
    for own in steps.notes:
        sums[own.pitch.midi] += own.length
    assert lengths == sums


def test_the_first_track_tells_title_metre_key_and_tempo(steps: Arrangement) -> None:
    fields = {m.type: m for m in opened(format_midi(steps)).tracks[0]}
    time = fields["time_signature"]
    assert (time.numerator, time.denominator) == (3, 4)
    assert fields["key_signature"].key == "D"
    assert mido.tempo2bpm(fields["set_tempo"].tempo) == pytest.approx(90, abs=0.001)
    assert fields["track_name"].name == "Steps"


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("F# minor", "F#m"), ("Eb minor", "Ebm"), ("D dorian", "C"),
        ("G mixolydian", "C"), ("Gb", "Gb"), ("A aeolian", "C"),
    ],
)  # fmt: skip
def test_modes_have_the_signature_of_their_page(key: str, name: str) -> None:
    tonic = key.partition(" ")[0]
    done = arrange(read_tune(f"Key: {key}\n{tonic} {tonic} {tonic} {tonic}"))
    signs = [m for m in opened(format_midi(done)).tracks[0] if m.type[:3] == "key"]
    assert [sign.key for sign in signs] == [name]


def test_key_changes_stand_where_they_are() -> None:
    keys = all_keys()[:3]
    file = opened(format_midi(joined(exercises("D4", keys), "D4")))
    now, found = 0, []
    for message in file.tracks[0]:
        now += message.time
        if message.type == "key_signature":
            found.append((now // TICKS, message.key))
    assert found == [(12 * at, "CGD"[at // 3]) for at in range(9)]


def test_the_tune_is_louder_than_both_hands(steps: Arrangement) -> None:
    tracks = opened(format_midi(steps)).tracks[1:]
    tune, right, left = (
        {m.velocity for m in track if m.type == "note_on"} for track in tracks
    )
    assert min(tune) > max(right | left) > 0


def test_half_speed_takes_twice_as_long(steps: Arrangement) -> None:
    usual = opened(format_midi(steps)).length
    slow = opened(format_midi(steps, Playing(speed=Fraction(1, 2)))).length
    assert slow == pytest.approx(2 * usual, rel=1e-5)
    assert usual == pytest.approx(float(steps.tune.end) * 60 / 90, rel=1e-5)


def test_a_tempo_of_ones_own_wins(steps: Arrangement) -> None:
    done = opened(format_midi(steps, Playing(tempo=Fraction(120))))
    assert done.length == pytest.approx(float(steps.tune.end) / 2, rel=1e-5)


def test_one_hand_alone_leaves_the_other_silent(steps: Arrangement) -> None:
    left = opened(format_midi(steps, Playing(hand=Hand.LEFT)))
    assert [len(played(track)) > 0 for track in left.tracks[1:]] == [False, False, True]
    right = opened(format_midi(steps, Playing(hand=Hand.RIGHT)))
    assert [len(played(track)) > 0 for track in right.tracks[1:]] == [True, True, False]


@pytest.mark.parametrize(
    ("time", "tune", "high", "beats"),
    [
        ("4/4", "C C C C", 0, 4),
        ("3/4", "C C C", 0, 3),
        ("6/8", "C C C C C C", 0, 2),
        ("4/4", "G | C C C C | C C C", 1, 4),
    ],
    ids=["4/4", "3/4", "6/8", "pickup"],
)
def test_a_count_in_has_a_click_a_beat_and_the_first_beat_is_high(
    time: str, tune: str, high: int, beats: int
) -> None:
    done = arrange(read_tune(f"Key: C\nTime: {time}\n{tune}"))
    file = opened(format_midi(done, Playing(count_in=True)))
    clicks = played(file.tracks[0])
    assert len(clicks) == beats
    assert [note for _, _, note in clicks].index(76) == high
    assert [note for _, _, note in clicks].count(76) == 1
    bar = done.tune.bars[0].time.bar_length
    assert [row[0] - bar for row in played(file.tracks[1])] == [
        row[0] for row in wanted(done, Voice.TUNE)
    ]


def test_times_that_no_tick_meets_are_rounded_and_counted(steps: Arrangement) -> None:
    odd = [
        note._replace(onset=note.onset / 11, length=note.length / 11)
        for note in steps.notes
    ]
    done = steps._replace(notes=tuple(odd))
    assert rounded(done) > 0
    for row, note in zip(
        played(opened(format_midi(done)).tracks[1]),
        [note for note in odd if note.voice is Voice.TUNE],
        strict=True,
    ):
        assert abs(row[0] - note.onset) <= Fraction(1, 2 * TICKS)


def test_the_same_arrangement_gives_the_same_bytes(steps: Arrangement) -> None:
    again = arrange(read_tune(TEXT), Style())
    assert format_midi(steps) == format_midi(again)


def test_letters_that_midi_cannot_carry_do_no_harm() -> None:
    done = arrange(read_tune("Title: Dvořák ♪\nKey: C\nC D E C"))
    assert opened(format_midi(done)).tracks[0].name == "Dvo?ák ?"


def test_a_midi_file_is_written_and_never_over_another(
    steps: Arrangement, tmp_path: Path
) -> None:
    target = tmp_path / "steps.mid"
    write_midi(steps, target)
    assert target.read_bytes() == format_midi(steps)
    with pytest.raises(OutputError, match="exists already"):
        write_midi(steps, target)
    write_midi(steps, target, Playing(count_in=True), force=True)
    assert target.read_bytes() != format_midi(steps)


def test_another_ending_is_refused(steps: Arrangement, tmp_path: Path) -> None:
    with pytest.raises(OutputError) as caught:
        write_midi(steps, tmp_path / "steps.wav")
    assert str(caught.value) == (
        '"steps.wav" does not end in .mid or .midi. Call it steps.mid.'
    )


def test_without_mido_one_sentence_says_what_to_install(
    steps: Arrangement, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "mido", None)
    with pytest.raises(OutputError) as caught:
        format_midi(steps)
    assert str(caught.value) == (
        "MIDI files need the library mido, which is not installed. "
        "Install it with: pip install mido"
    )
