"""Sung and played tunes are written down: by sounds that nothing here was tuned on.

The whole table of sources is made by night (tests/fitting/hearing.py); here a few of
our own tunes, which no constant was fitted to, with bounds a little under the figures.
"""

import io
import sys
from collections.abc import Callable
from difflib import SequenceMatcher
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from makers.sung import (
    RATE,
    VOICES,
    Floats,
    performed,
    sounded,
    spoken_text,
    wav_bytes,
)

from harmonise.cli import main
from harmonise.errors import LibraryError, MelodyError, NotationError
from harmonise.notation.formats import parse_tunes, read_tune
from harmonise.notation.recording.click import Click
from harmonise.notation.recording.hearing import parse_recording
from harmonise.notation.recording.waves import read_sound
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[3] / "tunes"
NAMES = {"bobby_shafto": 100, "old_hundredth": 92, "the_early_morning": 96}
BY_NAME = {voice.name: voice for voice in VOICES}
BOUNDS = {
    "clarinet, second font": 0.93,
    "violin, second font": 0.93,
    "sung syllables": 0.88,
    "sung by formants": 0.93,
}


@cache
def tune_of(name: str) -> Tune:
    return read_tune(TUNES / f"{name}.txt")


@cache
def recordings(voice: str) -> dict[str, Floats]:
    """Return the tunes as one voice sings them, without their repeats."""
    pieces = [
        performed(tune_of(name), tempo, BY_NAME[voice], number)
        for number, (name, tempo) in enumerate(NAMES.items())
    ]
    return dict(zip(NAMES, sounded(pieces, BY_NAME[voice]), strict=True))


def click_for(name: str) -> Click:
    first = tune_of(name).bars[0]
    pickup = first.length / first.time.unit if first.offset else None
    return Click(Fraction(NAMES[name]) / first.time.beat, first.time, pickup)


def set_of(tune: Tune, shift: int = 0) -> set[tuple[Fraction, int]]:
    """Return where notes begin, from the first full bar, and their numbers."""
    first = tune.bars[0]
    start = first.end if first.offset else Fraction(0)
    return {
        (note.onset - start, note.pitch.midi + shift)
        for note in tune.sounding
        if note.pitch
    }


def agreement(heard: Tune, name: str) -> float:
    """Return F of pitch and place, whatever octave it was written in."""
    wanted = set_of(tune_of(name))
    best = 0.0
    for shift in (*range(-24, 25, 12), *(move - 7 for move in (0, 12)), 5, -5):
        notes = set_of(heard, shift)
        best = max(best, 2 * len(notes & wanted) / (len(notes) + len(wanted)))
    return best


@pytest.mark.parametrize("voice", BOUNDS)
def test_a_tune_to_a_click_is_written_down(voice: str) -> None:
    figures = []
    for name, sound in recordings(voice).items():
        (heard,) = parse_recording(wav_bytes(sound), click_for(name))
        figures.append(agreement(heard, name))
        assert heard.bars[0].time == tune_of(name).bars[0].time
    assert sum(figures) / len(figures) >= BOUNDS[voice], figures


def test_the_same_recording_gives_the_same_tune_in_every_file() -> None:
    sound = recordings("clarinet, second font")["bobby_shafto"]
    packed = io.BytesIO()
    # One second of sound in 24 bits and two channels is the same sound.
    both = np.column_stack([sound, sound])
    soundfile.write(packed, both, RATE, format="FLAC", subtype="PCM_24")
    click = click_for("bobby_shafto")
    (one,) = parse_tunes(wav_bytes(sound), click=click)
    (two,) = parse_tunes(packed.getvalue(), click=click)
    assert one.notes == two.notes
    assert one == parse_tunes(wav_bytes(sound), click=click)[0]


@pytest.mark.parametrize(
    "kind", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]
)
@pytest.mark.parametrize("rate", [8000, 44_100, 48_000])
def test_every_wav_is_the_sound_that_another_reader_reads(kind: str, rate: int) -> None:
    seconds = np.arange(rate // 2) / rate
    sine = 0.5 * np.sin(2 * np.pi * 440 * seconds)
    packed = io.BytesIO()
    soundfile.write(packed, sine, rate, format="WAV", subtype=kind)
    wave = read_sound(packed.getvalue())
    wanted = 0.5 * np.sin(2 * np.pi * 440 * np.arange(8000) / 16_000)
    assert len(wave.frames) == 8000
    # The ends of a sound that is cut off ring a little at another rate.
    assert np.abs(wave.frames - wanted)[400:-400].max() < 0.02
    assert wave.clipped == 0


def test_a_pickup_stands_before_bar_1() -> None:
    # Three notes of a half second each: a crotchet, then two in the bar.
    sound = beeps([(67, 0.5, 0.5), (72, 1.0, 0.5), (76, 1.5, 1.0)])
    click = Click(Fraction(120), pickup=Fraction(1))
    (tune,) = parse_recording(wav_bytes(sound), click)
    assert tune.bars[0].number == 0
    assert [str(note.pitch) for note in tune.sounding] == ["G4", "C5", "E5"]
    assert str(tune.place(tune.sounding[1].onset)) == "bar 1, beat 1"


def test_a_pickup_that_nobody_named_is_asked_for() -> None:
    # A crotchet before each minim: upbeats to bars of three.
    midis = [67, 72, 67, 76, 67, 79, 76, 72, 67, 76, 72, 74, 67, 72]
    notes = [
        (midi, 0.4 + 1.5 * (n // 2) + 0.5 * (n % 2), 0.5 + 0.5 * (n % 2))
        for n, midi in enumerate(midis)
    ]
    click = Click(Fraction(120), TimeSignature(3, 4))
    (tune,) = parse_recording(wav_bytes(beeps(notes)), click)
    told = [str(remark) for remark in tune.remarks if remark.code == "R11"]
    question = "Is there a pickup of 1 beat? Then longer notes would begin the bars."
    assert told == [f"{question} If there is, name a pickup of 1 beat."]
    named = click._replace(pickup=Fraction(1))
    (tune,) = parse_recording(wav_bytes(beeps(notes)), named)
    assert "R11" not in {remark.code for remark in tune.remarks}


def test_the_count_in_tells_where_bar_1_begins() -> None:
    notes = [(67, 1.6, 0.5), (72, 2.1, 0.5), (76, 2.6, 1.0)]
    # The first beat of bar 1 was clicked at two seconds; the first note comes before.
    click = Click(Fraction(120), down=2.0)
    (tune,) = parse_recording(wav_bytes(beeps(notes)), click)
    assert tune.bars[0].number == 0
    assert str(tune.place(tune.sounding[1].onset)) == "bar 1, beat 1"


def beeps(notes: list[tuple[int, float, float]], partials: int = 6) -> Floats:
    """Return notes as sums of partials: number, start and length in seconds."""
    sound = np.zeros(round((max(at + size for _, at, size in notes) + 0.5) * RATE))
    for midi, at, size in notes:
        seconds = np.arange(round(size * 0.95 * RATE)) / RATE
        hertz = 440 * 2 ** ((midi - 69) / 12)
        tone = sum(
            np.sin(2 * np.pi * hertz * n * seconds) / n for n in range(1, partials + 1)
        )
        tone *= np.minimum(seconds / 0.02, 1) * np.minimum(seconds[::-1] / 0.05, 1)
        start = round(at * RATE)
        sound[start : start + len(tone)] += 0.2 * tone
    return sound


def chords() -> Floats:
    rows = [(60, 64, 67), (60, 65, 69), (59, 62, 67), (60, 64, 67)]
    return beeps([(m, 0.3 + k * 0.7, 0.7) for k, row in enumerate(rows) for m in row])


def drums() -> Floats:
    dice = np.random.default_rng(1)
    sound = np.zeros(6 * RATE)
    for start in range(RATE // 4, 5 * RATE, RATE // 2):
        blow = dice.normal(0, 0.3, RATE // 4) * np.exp(-np.arange(RATE // 4) / 800)
        sound[start : start + len(blow)] += blow
    return sound


def speech() -> Floats:
    return spoken_text("The old man went up the hill, and nobody knew why he went.")


REFUSED: dict[str, tuple[Callable[[], Floats], str]] = {
    "silence": (
        lambda: np.zeros(3 * RATE),
        (
            "This recording is silent. Look whether the microphone is on, and go "
            "nearer to it."
        ),
    ),
    "drums": (
        drums,
        (
            "No pitch is heard in this recording: it sounds like drums or noise. "
            "Sing, whistle or play one line of notes."
        ),
    ),
    "chords": (
        chords,
        (
            "Several notes sound at once in this recording, as in chords. "
            "Sing or play the tune alone, one note after the other."
        ),
    ),
    "speech": (
        speech,
        (
            "The pitch of this recording never rests, as in speech. Sing the tune: "
            "hold each note for its time."
        ),
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_is_no_tune_gets_a_sentence(kind: str) -> None:
    make, sentence = REFUSED[kind]
    with pytest.raises(MelodyError) as caught:
        parse_recording(wav_bytes(make()))
    assert str(caught.value) == sentence


def test_two_voices_at_once_are_refused() -> None:
    first = recordings("clarinet, second font")["bobby_shafto"]
    second = recordings("violin, second font")["old_hundredth"]
    size = min(len(first), len(second))
    with pytest.raises(MelodyError, match="Several notes sound at once"):
        parse_recording(wav_bytes((first[:size] + second[:size]) / 2))


def test_a_recording_that_was_too_loud_is_read_and_told() -> None:
    sound = recordings("sung by formants")["bobby_shafto"]
    loud = np.clip(sound * 8, -1, 1)
    (tune,) = parse_recording(wav_bytes(loud), click_for("bobby_shafto"))
    told = [str(remark) for remark in tune.remarks if remark.code == "R06"]
    assert told == [
        (
            "The recording is too loud: its tops are cut off, so pitch and beat may be "
            "heard wrongly. Go further from the microphone, or turn it down, and "
            "record it again."
        )
    ]


def test_a_broken_sound_is_told() -> None:
    with pytest.raises(NotationError, match="WAV file is broken, or of a rare kind"):
        parse_tunes(b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0")
    with pytest.raises(NotationError, match="This recording is broken"):
        parse_tunes(b"fLaC\0\0\0\x22")


@pytest.mark.parametrize(
    ("library", "content", "sentence"),
    [
        (
            "swift_f0",
            wav_bytes(np.full(RATE, 0.1)),
            (
                "Listening to a recording needs swift-f0, which is not installed. "
                "Install it: pip install swift-f0."
            ),
        ),
        (
            "soundfile",
            b"fLaC\0\0\0\x22",
            (
                "Recordings other than WAV need soundfile, which is not installed. "
                "Install it: pip install soundfile."
            ),
        ),
    ],
)
def test_what_is_not_installed_is_named(
    library: str, content: bytes, sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(LibraryError) as caught:
        parse_tunes(content)
    assert str(caught.value) == sentence


def test_the_command_writes_a_text_that_marks_its_doubts_and_reads_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    sound = recordings("sung syllables")["old_hundredth"]
    Path("take.wav").write_bytes(wav_bytes(sound))
    words = ["--tempo", "92", "--time", "4/4", "--pickup", "1", "-o", "take.txt"]
    done = CliRunner().invoke(main, ["arrange", "take.wav", *words])
    assert done.exit_code == 0, done.output
    (heard,) = parse_recording(wav_bytes(sound), click_for("old_hundredth"))
    text = Path("take.txt").read_text("utf-8")
    doubts = [
        remark for remark in heard.remarks if remark.code in {"R07", "R08", "R09"}
    ]
    assert [line for line in text.splitlines() if line.startswith("% ?")] == [
        f"% ? {remark}" for remark in doubts
    ]
    told = "Heard to a click of 92 in 4/4; a pickup of 1 beat comes before bar 1.\n"
    assert told in done.output
    back = read_tune(Path("take.txt"))
    plain = [(note.onset, note.length, note.pitch) for note in back.notes]
    assert plain == [(note.onset, note.length, note.pitch) for note in heard.notes]


def test_without_a_click_the_rhythm_is_a_guess_with_a_question() -> None:
    sound = recordings("clarinet, second font")["bobby_shafto"]
    (heard,) = parse_recording(wav_bytes(sound))
    told = [remark.what for remark in heard.remarks if remark.code == "R02"]
    assert len(told) == 1
    assert told[0].startswith("Nobody gave the beat, so the rhythm is a guess: 4/4, ")
    assert told[0].endswith(" Is the beat this fast?")
    text = format_tune_text(heard)
    assert text.startswith("% ? Nobody named the time: read in 4/4, ")
    assert f"\n% ? {told[0]}" in text
    assert read_tune(text).bars == heard.bars
    # In proportion, for half and double the tempo are as right.
    gaps = gaps_of(heard)
    best = max(
        SequenceMatcher(
            None, gaps, [gap * factor for gap in gaps_of(tune_of("bobby_shafto"))]
        ).ratio()
        for factor in (Fraction(1, 2), 1, 2)
    )
    assert best >= 0.8


@pytest.mark.parametrize(
    ("lengths", "time", "other"),
    [
        ([2, 1, 2, 1, 1, 1, 1, 3] * 3, "3/4", "4/4"),
        ([2, 1, 2, 1, 1, 1, 1, 3] * 3, "6/8", "4/4"),
        ([1, 1, 1, 1, 2, 2, 1, 1, 2, 4] * 2, "4/4", ""),
    ],
    ids=["three", "six quavers", "four"],
)
def test_the_time_that_nobody_named_is_a_guess_with_a_question(
    lengths: list[int], time: str, other: str
) -> None:
    seconds = 0.21 if time == "6/8" else 0.6
    starts = [sum(lengths[:number]) * seconds + 0.4 for number in range(len(lengths))]
    scale = (60, 64, 62, 65, 67)
    notes = [
        (scale[number % 5], start, length * seconds)
        for number, (start, length) in enumerate(zip(starts, lengths, strict=True))
    ]
    (tune,) = parse_recording(wav_bytes(beeps(notes)))
    assert str(tune.bars[-1].time) == time
    told = [str(remark) for remark in tune.remarks if remark.code == "R12"]
    question = f" Is it {other}, which fits nearly as well?" if other else ""
    what = f"Nobody named the time: read in {time}, which is a guess by the notes."
    assert told == [f"{what}{question} Name the time if it is another."]
    # In proportion, for half and double the tempo are as right.
    gaps = gaps_of(tune)
    assert [gap / gaps[0] * lengths[0] for gap in gaps] == lengths[:-1]


def gaps_of(tune: Tune) -> list[Fraction]:
    return [b.onset - a.onset for a, b in pairwise(tune.sounding)]


def test_a_click_track_counts_in_and_clicks_each_beat(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    words = ["click", "--tempo", "120", "--time", "3/4", "--bars", "2", "-o", "a.wav"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert done.output == (
        "Written: a.wav\nKeep headphones low, and rest the voice between takes.\n"
    )
    sound, rate = soundfile.read("a.wav")
    assert len(sound) == 3 * 3 * rate // 2
    loud = np.flatnonzero(np.abs(sound) > 1e-3)
    # After a tenth of a second of silence the next click begins.
    starts = loud[np.insert(np.diff(loud) > rate // 10, 0, values=True)] / rate
    assert [round(float(start), 2) for start in starts] == [k / 2 for k in range(9)]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["--pickup", "4"],
            (
                'take.wav: A pickup of "4" beats cannot be read. Write beats of 4/4: '
                "less than 4, such as 1 or 1/2.\n"
            ),
        ),
        (["--time", "3"], '"3" is not a time signature such as 3/4.'),
    ],
)
def test_what_was_typed_wrongly_is_told(
    words: list[str], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("take.wav").write_bytes(wav_bytes(beeps([(60, 0.2, 1.0)])))
    done = CliRunner().invoke(main, ["arrange", "take.wav", *words])
    assert done.exit_code
    assert sentence in done.output


def test_who_comes_in_a_bar_early_has_no_pickup_of_a_bar() -> None:
    notes = [(67, 0.6, 0.5), (72, 1.1, 0.5), (76, 1.6, 0.5), (72, 2.1, 1.0)]
    click = Click(Fraction(120), down=2.6)
    (tune,) = parse_recording(wav_bytes(beeps(notes)), click)
    assert [str(note.pitch) for note in tune.sounding] == ["G4", "C5", "E5", "C5"]
    assert str(tune.place(tune.sounding[0].onset)) == "bar 1, beat 1"


@pytest.mark.parametrize("lowest", [38, 62, 98])
def test_low_voices_and_high_whistles_are_heard_and_set_for_the_piano(
    lowest: int,
) -> None:
    midis = [lowest + step for step in (0, 2, 4, 7)]
    # Whistling is nearly one partial alone.
    partials = 1 if lowest > 90 else 12
    notes = [(midi, 0.3 + 0.6 * place, 0.6) for place, midi in enumerate(midis)]
    (tune,) = parse_recording(wav_bytes(beeps(notes, partials)), Click(Fraction(100)))
    heard = [note.pitch.midi for note in tune.sounding if note.pitch]
    assert [midi - heard[0] for midi in heard] == [0, 2, 4, 7]
    assert (heard[0] - lowest) % 12 == 0
    assert heard[0] >= 57
    assert heard[-1] <= 84


@pytest.mark.parametrize("frames", [1, 100, 2000])
def test_a_sound_of_a_moment_is_no_tune(frames: int) -> None:
    with pytest.raises(MelodyError):
        parse_recording(wav_bytes(np.full(frames, 0.3)))


def test_a_few_notes_in_a_long_silence_are_heard() -> None:
    sound = beeps([(60, 1.0, 0.6), (62, 20.0, 0.6), (64, 38.0, 0.6)])
    (tune,) = parse_recording(wav_bytes(sound), Click(Fraction(60)))
    assert [str(note.pitch) for note in tune.sounding] == ["C4", "D4", "E4"]
