import sys
from collections import Counter, defaultdict
from collections.abc import Iterable
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from oracles import play_order as play_order_oracle

from harmonise import Style, arrange, read_tune
from harmonise.errors import LibraryError, OutputError
from harmonise.lessons.drill_copies import joined
from harmonise.lessons.drills import all_keys, exercises
from harmonise.notation.midi.writing import TICKS, Playing, format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.outputs import Output, write_output, write_score
from harmonise.notation.sound.performance import VELOCITIES, perform, rung
from harmonise.theory.arrangement import Arrangement, Hand, LeftHand, Voice
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import KeyChange, Tempo

TUNES = Path(__file__).parents[3] / "tunes"
NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))
REPEATED = [n for n in NAMES if ":|" in (TUNES / f"{n}.txt").read_text("utf-8")]
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


def played_once(arrangement: Arrangement) -> Arrangement:
    """Return an arrangement whose page has no repeats and no jumps."""
    tune = arrangement.tune
    bars = tuple(
        bar._replace(repeat_start=False, repeat_end=1, ending=()) for bar in tune.bars
    )
    return arrangement._replace(tune=tune._replace(bars=bars, end_text=()))


@pytest.mark.parametrize("name", NAMES)
def test_each_voice_of_each_tune_comes_back_note_for_note(name: str) -> None:
    done = arrange(read_tune((TUNES / f"{name}.txt").read_text("utf-8")))
    file = opened(format_midi(played_once(done)))
    assert [track.name for track in file.tracks[1:]] == [
        "Tune", "Right hand", "Left hand",
    ]  # fmt: skip
    for track, voice in zip(file.tracks[1:], Voice, strict=True):
        assert played(track) == wanted(done, voice)
    assert rounded(done) == 0


def rounded(arrangement: Arrangement) -> int:
    """Return how many notes begin or end between two ticks."""
    times = [(note.onset, note.onset + note.length) for note in arrangement.notes]
    return sum(any((at * TICKS).denominator > 1 for at in pair) for pair in times)


def lengths(rows: Iterable[Struck]) -> dict[int, Fraction]:
    """Return how long each key is held in all."""
    found: dict[int, Fraction] = defaultdict(Fraction)
    for _, length, midi in rows:
        found[midi] += length
    return found


@pytest.mark.parametrize("name", REPEATED)
def test_repeats_are_played_out_as_music21_plays_our_score(name: str) -> None:
    done = arrange(read_tune((TUNES / f"{name}.txt").read_text("utf-8")))
    score = music21.converter.parseData(
        format_musicxml(done).decode(), format="musicxml"
    )
    tune, right, left = (played(t) for t in opened(format_midi(done)).tracks[1:])
    for own, part in zip(([*tune, *right], left), score.parts, strict=True):
        whole = play_order_oracle.opened(part).expandRepeats()
        heard = [
            (Fraction(note.getOffsetInHierarchy(whole)), Fraction(note.quarterLength),
             pitch.midi, note.tie is None or note.tie.type == "start")
            for note in whole.recurse().notes
            if not note.duration.isGrace and note.duration.quarterLength
            for pitch in note.pitches
        ]  # fmt: skip
        assert lengths(own) == lengths(row[:3] for row in heard)
        assert Counter((row[0], row[2]) for row in own) == Counter(
            (at, midi) for at, _, midi, struck in heard if struck
        )
    assert max(row[0] for row in tune) > done.tune.end


def test_music21_reads_a_played_out_file_as_mido_does() -> None:
    done = arrange(read_tune((TUNES / "the_bucket.txt").read_text("utf-8")))
    content = format_midi(done)
    score = music21.converter.parseData(content, format="midi")
    heard = Counter(
        (Fraction(note.getOffsetInHierarchy(score)), pitch.midi)
        for note in score.recurse().notes
        if note.tie is None or note.tie.type == "start"
        for pitch in note.pitches
    )
    rows = [row for track in opened(content).tracks[1:] for row in played(track)]
    assert heard == Counter((row[0], row[2]) for row in rows)
    assert len(rows) > len(done.notes)


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


def test_markers_name_the_sections_each_time_they_are_played() -> None:
    done = arrange(read_tune("Key: C\n|: C D E F | G E C - :| E F G E"))
    bars = list(done.tune.bars)
    bars[0] = bars[0]._replace(section="Verse")
    bars[2] = bars[2]._replace(section="Chorus ♪")
    tune = done.tune._replace(bars=tuple(bars))
    now, found = 0, []
    for message in opened(format_midi(done._replace(tune=tune))).tracks[0]:
        now += message.time
        if message.type == "marker":
            found.append((now // TICKS, message.text))
    assert found == [(0, "Verse"), (8, "Verse"), (16, "Chorus ?")]


def test_words_stand_on_their_notes_and_the_next_verse_comes_the_second_time() -> None:
    # RP-017, "SMF Lyric Meta Event Definition": a hyphen inside a word, else a space.
    text = "Key: C\n|: C D E F :| G - - -\nWords: Lon-don bridge is down\n"
    text += "Words: Build it up with stone\n"
    done = arrange(read_tune(text))
    now, found = 0, []
    for message in opened(format_midi(done)).tracks[1]:
        now += message.time
        if message.type == "lyrics":
            found.append((now // TICKS, message.text))
    verses = ["Lon-", "don", "bridge", "is", "Build", "it", "up", "with"]
    wanted = [word if word.endswith("-") else f"{word} " for word in verses]
    # After the repeat the first verse goes on.
    assert found == list(enumerate([*wanted, "down "]))


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


def test_a_count_in_before_part_of_a_beat_clicks_on_the_beats() -> None:
    done = arrange(read_tune("Key: C\nTime: 6/8\nG | C E G C E G | C - - C -"))
    clicks = played(opened(format_midi(done, Playing(count_in=True))).tracks[0])
    half = Fraction(1, 2)
    assert [(at, midi) for at, _, midi in clicks] == [(half, 76), (4 * half, 77)]


def signatures(content: bytes) -> list[tuple[Fraction, int, int]]:
    now, found = 0, []
    for message in opened(content).tracks[0]:
        now += message.time
        if message.type == "time_signature":
            at = Fraction(now, TICKS)
            found.append((at, message.numerator, message.denominator))
    return found


@pytest.mark.parametrize(
    ("time", "tune", "rows"),
    [
        ("4/4", "C C C C", [(0, 4, 4)]),
        ("3/4", "G | C C C | C C", [(0, 1, 4), (1, 3, 4)]),
        ("6/8", "G | C - - C - - | C - - C -", [(0, 1, 8), (Fraction(1, 2), 6, 8)]),
        ("4/4", "G G.G | C - - - | C -", [(0, 2, 4), (2, 4, 4)]),
    ],
    ids=["none", "crotchet", "quaver", "minim"],
)
def test_a_pickup_has_a_time_signature_of_its_own(
    time: str, tune: str, rows: list[tuple[Fraction, int, int]]
) -> None:
    done = arrange(read_tune(f"Key: C\nTime: {time}\n{tune}"))
    assert signatures(format_midi(done)) == rows


def test_music21_numbers_the_bars_after_a_pickup_right(steps: Arrangement) -> None:
    score = music21.converter.parseData(format_midi(steps), format="midi")
    bars = list(score.parts[0].getElementsByClass("Measure"))
    starts = [Fraction(bar.offset) for bar in bars]
    assert starts == [bar.start for bar in steps.tune.bars]


def test_a_count_in_before_a_pickup_is_a_bar_of_its_own(steps: Arrangement) -> None:
    rows = signatures(format_midi(steps, Playing(count_in=True)))
    whole = [(int(at), beats, unit) for at, beats, unit in rows]
    assert whole == [(0, 3, 4), (3, 1, 4), (4, 3, 4)]


LOOPED = "Key: C\nC D E F | G A B G | A B A G | F E D C"


def tune_of(arrangement: Arrangement, playing: Playing) -> list[Struck]:
    return played(opened(format_midi(arrangement, playing)).tracks[1])


def test_a_loop_plays_its_bars_again_and_again() -> None:
    done = arrange(read_tune(LOOPED))
    once = tune_of(done, Playing(bars=(2, 3)))
    assert once == [
        (at - 4, length, midi)
        for at, length, midi in wanted(done, Voice.TUNE)
        if 4 <= at < 12
    ]
    thrice = tune_of(done, Playing(bars=(2, 3), times=3, count_in=True))
    assert thrice == [
        (at + 4 + 8 * time, length, midi)
        for time in range(3)
        for at, length, midi in once
    ]


def test_a_loop_of_one_hand_leaves_the_other_silent() -> None:
    done = arrange(read_tune(LOOPED))
    playing = Playing(bars=(1, 2), times=2, hand=Hand.LEFT, speed=Fraction(1, 2))
    file = opened(format_midi(done, playing))
    assert [bool(played(track)) for track in file.tracks[1:]] == [False, False, True]
    assert all(at < 16 for at, _, _ in played(file.tracks[3]))


def test_a_loop_over_two_endings_takes_the_last_alone() -> None:
    done = arrange(read_tune("Key: C\n|: C D E F | [1 G A B G :| [2 G E D C ||"))
    notes = [midi for _, _, midi in tune_of(done, Playing(bars=(1, 3)))]
    lasts = [
        note.pitch.midi
        for note in done.notes
        if note.voice is Voice.TUNE and not 4 <= note.onset < 8
    ]
    assert notes == lasts


def test_a_whole_tune_is_played_as_often_as_one_likes() -> None:
    done = arrange(read_tune(LOOPED))
    assert len(tune_of(done, Playing(times=3))) == 3 * 16


@pytest.mark.parametrize(
    ("playing", "sentence"),
    [
        (
            Playing(bars=(3, 9)),
            (
                "There is no bar 9: the bars of this tune are 1 to 4. "
                "Choose bars of the tune."
            ),
        ),
        (
            Playing(bars=(0, 2)),
            (
                "There is no bar 0: the bars of this tune are 1 to 4. "
                "Choose bars of the tune."
            ),
        ),
        (Playing(bars=(3, 2)), "Bar 3 comes after bar 2. Choose bars 2 to 3."),
        (Playing(times=0), "Music cannot be played 0 times. Choose 1 or more."),
        (
            Playing(speed=Fraction(0)),
            (
                "The tempo and the speed are more than 0. "
                "Choose a speed such as 1/2 or a tempo such as 96."
            ),
        ),
        (
            Playing(tempo=Fraction(-3)),
            (
                "The tempo and the speed are more than 0. "
                "Choose a speed such as 1/2 or a tempo such as 96."
            ),
        ),
    ],
)
def test_what_cannot_be_played_is_told_in_a_sentence(
    playing: Playing, sentence: str
) -> None:
    with pytest.raises(OutputError) as caught:
        format_midi(arrange(read_tune(LOOPED)), playing)
    assert str(caught.value) == sentence


def test_tempo_key_and_metre_go_back_with_a_repeat() -> None:
    done = arrange(read_tune("Key: C\nTempo: 90\n" + LOOPED[7:]))
    tune = done.tune
    bars = list(tune.bars)
    three = TimeSignature(3, 4)
    bars[3] = bars[3]._replace(length=Fraction(3), time=three, repeat_end=2)
    keys = (*tune.keys, KeyChange(Fraction(8), parse_key("G")))
    tempos = (*tune.tempos, Tempo(Fraction(10), Fraction(60)))
    changed = tune._replace(bars=tuple(bars), keys=keys, tempos=tempos)
    content = format_midi(done._replace(tune=changed))
    rows = [(int(at), beats) for at, beats, _ in signatures(content)]
    assert rows == [(0, 4), (12, 3), (15, 4), (27, 3)]
    now, found = 0, []
    for message in opened(content).tracks[0]:
        now += message.time
        if message.type == "key_signature":
            found.append((now // TICKS, message.key))
        if message.type == "set_tempo":
            found.append((now // TICKS, str(round(mido.tempo2bpm(message.tempo)))))
    assert found == [
        (0, "C"), (0, "90"), (8, "G"), (10, "60"),
        (15, "C"), (15, "90"), (23, "G"), (25, "60"),
    ]  # fmt: skip


def test_a_note_held_over_the_edge_of_a_passage_is_cut_and_struck_again() -> None:
    done = arrange(read_tune(LOOPED))
    first = done.notes[0]
    held = first._replace(onset=Fraction(3), length=Fraction(10))
    done = done._replace(notes=(held,))
    rows = perform(done, Playing(bars=(2, 3), times=2)).notes
    assert [(int(row.at), int(row.length)) for row in rows] == [(0, 8), (8, 8)]
    assert [(int(r.at), int(r.length)) for r in perform(done).notes] == [(3, 10)]


def test_a_bar_that_midi_cannot_count_is_refused_with_its_place() -> None:
    # ABC without a metre (3.1.6): the bar is as long as its notes.
    tune = read_tune("X:1\nL:1/8\nK:C\nC2D2E2G2|C2000|C8|]\n")
    with pytest.raises(OutputError) as caught:
        format_midi(arrange(tune, Style(1)))
    assert str(caught.value) == (
        "Bar 2: 1000/4 has more beats than MIDI can count. Divide the bar by bar lines."
    )


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
    write_score(steps, target)
    assert target.read_bytes() == format_midi(steps)
    target.write_bytes(format_midi(steps).replace(b"Tune", b"TUNE"))
    with pytest.raises(OutputError, match="exists already"):
        write_score(steps, target)
    counted = Output(playing=Playing(count_in=True))
    write_output((steps,), target, counted, force=True)
    assert target.read_bytes() != format_midi(steps)


def test_without_mido_one_sentence_says_what_to_install(
    steps: Arrangement, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "mido", None)
    with pytest.raises(LibraryError) as caught:
        format_midi(steps)
    assert str(caught.value) == (
        "MIDI files need mido, which is not installed. Install it: pip install mido."
    )


def sounding(content: bytes, channel: int) -> list[tuple[int, int, int]]:
    """Return key, beginning and end of what a channel sounds, its pedal obeyed.

    MIDI 1.0: a note that is let go while controller 64 is on ends when it goes off.
    """
    now, pedal = 0, False
    held: dict[int, int] = {}
    rung: list[tuple[int, int, int]] = []
    waiting: list[tuple[int, int]] = []
    for message in opened(content).tracks[channel + 1]:
        now += message.time
        if message.type == "note_on" and message.velocity:
            rung += [(key, at, now) for key, at in waiting if key == message.note]
            waiting = [row for row in waiting if row[0] != message.note]
            held[message.note] = now
        elif message.type in ("note_on", "note_off"):
            waiting.append((message.note, held.pop(message.note)))
        elif message.type == "control_change":
            assert message.control == 64
            pedal = message.value >= 64
        if not pedal:
            rung += [(key, at, now) for key, at in waiting]
            waiting = []
    assert not waiting
    assert not pedal
    return sorted(rung)


def test_the_pedal_holds_what_is_under_the_tune_until_chord_or_bar_change() -> None:
    text = "Key: C\nTime: 3/4\nC D E | C D E | B D B | C - -\nChords: C | C | G | C"
    done = arrange(read_tune(text), Style(left_hand=LeftHand.WALTZ))
    assert [str(slot.chord) for slot in done.changes] == ["C", "G", "C"]
    played = format_midi(done, Playing(pedal=True))
    left = sounding(played, 2)
    assert left
    # Three crotchets a bar: each note rings to the end of the bar that it begins in,
    # but for keys that are struck again.
    for key, at, end in left:
        bar_end = (at // (3 * TICKS) + 1) * 3 * TICKS
        again = [other for same, other, _ in left if same == key and other > at]
        assert end == min([bar_end, *again])
    assert sounding(played, 0) == sounding(format_midi(done), 0)
    assert all(end - at <= 3 * TICKS for _, at, end in sounding(format_midi(done), 2))


def test_the_pedal_sounds_as_long_in_recordings_as_midi_tells() -> None:
    done = arrange(read_tune(TEXT), Style(left_hand=LeftHand.WALTZ))
    playing = Playing(pedal=True, count_in=True, times=2)
    performance = perform(done, playing)
    lengths = rung(performance)
    packed = format_midi(done, playing)
    for channel, voice in enumerate(VELOCITIES):
        heard = sorted(
            (note.midi, round(note.at * TICKS), round((note.at + length) * TICKS))
            for note, length in zip(performance.notes, lengths, strict=True)
            if note.voice is voice
        )
        assert heard == sounding(packed, channel)
