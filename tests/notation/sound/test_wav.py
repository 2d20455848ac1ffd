import json
import tracemalloc
import wave
from fractions import Fraction
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from harmonise import arrange, read_tune
from harmonise.errors import OutputError
from harmonise.notation.outputs import Output, write_output, write_score
from harmonise.notation.sound.performance import VELOCITIES, Playing, perform
from harmonise.notation.sound.recording import (
    FOLDER,
    RATE,
    RELEASE,
    click,
    format_wav,
    loudness,
    note,
    samples,
)
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.pitch import parse_pitch

Frames = npt.NDArray[np.float64]

TUNES = Path(__file__).parents[3] / "tunes"
LETTERS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
TUNE = loudness(VELOCITIES[Voice.TUNE]) * 0.8


def opened(content: bytes) -> Frames:
    """Return the frames of a WAV file, from -1 to 1."""
    with wave.open(BytesIO(content)) as file:
        packed = file.readframes(file.getnframes())
    return np.frombuffer(packed, "<i2") / 32768


@pytest.fixture(scope="module")
def page() -> Arrangement:
    """Return forty bars at one crotchet a second, to put notes on."""
    return arrange(read_tune("Key: C\nTempo: 60\n" + "C - - - | " * 39 + "C - - -"))


def struck(onset: float | Fraction, length: float, midi: int) -> SoundingNote:
    """Return a note of the tune."""
    pitch = parse_pitch(f"{LETTERS[midi % 12]}{midi // 12 - 1}")
    own = Fraction(onset), Fraction(length), pitch
    return SoundingNote(*own, Hand.RIGHT, Voice.TUNE)


@pytest.fixture(scope="module")
def scale(page: Arrangement) -> Frames:
    """Return every key from A1 to C7, two seconds each, as frames."""
    notes = tuple(struck(2 * at, 2, midi) for at, midi in enumerate(range(33, 97)))
    return opened(format_wav(page._replace(notes=notes)))


@pytest.mark.parametrize("midi", range(33, 97))
def test_every_note_is_in_tune_within_three_cents(scale: Frames, midi: int) -> None:
    # Equal temperament on A4 = 440 Hz: ISO 16:1975. The first partial is measured.
    start = 2 * (midi - 33) * RATE
    sound = scale[start + RATE // 20 : start + 2 * RATE]
    wanted = 440 * 2 ** ((midi - 69) / 12)
    size = 1 << 18
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size))
    low, high = (round(wanted * 2 ** (t / 12) * size / RATE) for t in (-0.8, 0.8))
    top = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[top - 1 : top + 2])
    found = (top + (a - c) / (2 * (a - 2 * b + c))) * RATE / size
    assert abs(1200 * np.log2(found / wanted)) < 3


def test_no_note_jumps_more_than_the_samples_do(scale: Frames) -> None:
    raw = [opened(own.path.read_bytes()) for own in samples()]
    steepest = max(np.abs(np.diff(own)).max() for own in raw) * 2 ** (4 / 12)
    assert np.abs(np.diff(scale)).max() < TUNE * steepest


@pytest.mark.parametrize("midi", range(33, 97, 3))
@pytest.mark.parametrize("held", [0.05, 0.4, 1.7])
def test_a_note_is_let_go_without_a_click(midi: int, held: float) -> None:
    end = round(held * RATE)
    sound = note(midi, end)
    steps = np.abs(np.diff(sound))
    assert len(sound) == end + round(RELEASE * RATE)
    going_on = note(midi, end + RATE)[: len(sound)]
    assert steps[end:].max() <= np.abs(np.diff(going_on))[end:].max() * 1.02
    assert abs(sound[0]) < 0.02
    assert abs(sound[-1]) < 0.001
    assert (
        np.abs(sound[-RATE // 20 :]).max() < np.abs(going_on[-RATE // 20 :]).max() / 3
    )


@pytest.mark.parametrize("midi", [own.midi for own in samples()])
def test_a_held_note_goes_on_falling_and_its_loop_is_not_heard(midi: int) -> None:
    sample = next(own for own in samples() if own.midi == midi)
    sound = note(midi, 11 * RATE)
    steps = np.abs(np.diff(sound))
    frames = sample.loop, len(opened(sample.path.read_bytes()))
    before = steps[frames[0] - RATE // 2 : frames[0]].max()
    assert steps[frames[0] : frames[1] + RATE].max() <= before * 1.1
    levels = [float(np.mean(sound[t * RATE : (t + 1) * RATE] ** 2)) for t in range(10)]
    assert all(late < early for early, late in pairwise(levels[2:]))
    assert levels[3] > 0


def test_notes_begin_where_the_score_says_within_ten_milliseconds(
    page: Arrangement,
) -> None:
    onsets = [Fraction(1, 3), Fraction(2), Fraction(7, 2), Fraction(24, 5), Fraction(7)]
    keys = [40, 55, 60, 72, 84]
    notes = tuple(struck(t, 0.5, k) for t, k in zip(onsets, keys, strict=True))
    sound = opened(format_wav(page._replace(notes=notes)))
    for onset in onsets:
        at = round(float(onset) * RATE)
        # It is silent before each of these notes.
        assert not sound[at - RATE // 50 : at].any()
        around = sound[at : at + RATE // 2]
        energy = np.abs(around) > 0.1 * np.abs(around).max()
        assert int(np.argmax(energy)) < 0.01 * RATE


@pytest.mark.parametrize("name", sorted(path.stem for path in TUNES.glob("*.txt")))
def test_no_tune_is_clipped_or_faint(name: str) -> None:
    done = arrange(read_tune((TUNES / f"{name}.txt").read_text("utf-8")))
    sound = opened(format_wav(done))
    assert 0.4 < np.abs(sound).max() <= 0.99
    last = max(row.at + row.length for row in perform(done).notes)
    tempo = perform(done).speeds[0].per_minute
    seconds = float(last * 60 / tempo) + RELEASE
    assert abs(len(sound) - seconds * RATE) <= 1


def test_a_dense_piece_is_turned_down_as_a_whole(page: Arrangement) -> None:
    dense = [struck(0, 4, 60), *(struck(8, 2, midi) for midi in range(36, 84, 2))]
    sound = opened(format_wav(page._replace(notes=tuple(dense))))
    alone = opened(format_wav(page._replace(notes=tuple(dense[:1]))))
    assert 0.95 < np.abs(sound).max() <= 0.99
    # The lone note before has the same shape, only softer: no limiter pumps.
    size = 4 * RATE
    factor = float(
        np.dot(sound[:size], alone[:size]) / np.dot(alone[:size], alone[:size])
    )
    assert factor < 0.9
    assert np.abs(sound[:size] - factor * alone[:size]).max() < 2e-4


def test_both_hands_are_the_sum_of_each_alone() -> None:
    done = arrange(read_tune((TUNES / "greensleeves.txt").read_text("utf-8")))
    both = opened(format_wav(done))
    hands = [opened(format_wav(done, Playing(hand=hand))) for hand in Hand]
    total = np.zeros_like(both)
    for own in hands:
        total[: len(own)] += own
        assert np.abs(own).max() > 0.1
    assert np.abs(both - total).max() < 1e-4


def test_twice_the_velocity_is_twelve_decibels_louder() -> None:
    # General MIDI Level 1, developer guidelines: 40 log10(velocity / 127) decibels.
    assert loudness(127) == 1
    assert 20 * np.log10(loudness(100) / loudness(50)) == pytest.approx(12.04, abs=0.01)


def test_the_count_in_clicks_on_the_beats() -> None:
    done = arrange(read_tune("Key: C\nTempo: 60\nTime: 3/4\nG | C E G | C - -"))
    sound = opened(format_wav(done, Playing(count_in=True)))
    plain = opened(format_wav(done))
    assert np.array_equal(sound[3 * RATE :], plain)
    for beat, hertz in enumerate((800, 1200, 800)):
        own = sound[beat * RATE : (beat + 1) * RATE]
        spectrum = np.abs(np.fft.rfft(own))
        assert int(np.argmax(spectrum)) == pytest.approx(hertz, abs=15)
        assert not own[len(click(76)) :].any()


def test_a_count_in_before_part_of_a_beat_clicks_on_the_beats_all_the_same() -> None:
    done = arrange(read_tune("Key: C\nTime: 6/8\nG | C E G C E G | C - - C -"))
    offset = done.tune.bars[0].offset
    clicks = perform(done, Playing(count_in=True)).clicks
    assert [(row.at + offset) % 3 for row in clicks] in ([0, 1.5], [1.5, 0])


def test_half_speed_lasts_twice_as_long_at_the_same_pitch(page: Arrangement) -> None:
    done = page._replace(notes=(struck(0, 1, 69), struck(3, 1, 69)))
    usual = opened(format_wav(done))
    slow = opened(format_wav(done, Playing(speed=Fraction(1, 2))))
    fade = round(RELEASE * RATE)
    assert len(slow) - fade == 2 * (len(usual) - fade)
    for sound in (usual, slow):
        spectrum = np.abs(np.fft.rfft(sound[:RATE]))
        assert int(np.argmax(spectrum)) == 440


def test_a_change_of_tempo_is_heard() -> None:
    done = arrange(read_tune("Key: C\nTempo: 60\nC C C C | C C C C"))
    marks = done.tune.tempos
    slower = marks[0]._replace(onset=Fraction(4), per_minute=Fraction(30))
    changed = done._replace(tune=done.tune._replace(tempos=(*marks, slower)))
    frames = len(opened(format_wav(changed))) - round(RELEASE * RATE)
    assert frames == 4 * RATE + 8 * RATE


def test_repeats_and_loops_last_as_long_as_they_are_played() -> None:
    done = arrange(read_tune("Key: C\nTempo: 120\n|: C D E F | G E C - :|"))
    fade = round(RELEASE * RATE)
    assert len(opened(format_wav(done))) - fade == 8 * RATE
    loop = Playing(bars=(2, 2), times=3)
    assert len(opened(format_wav(done, loop))) - fade == 6 * RATE


def test_the_pedal_lets_a_bar_ring_and_clears_the_next(page: Arrangement) -> None:
    bass = struck(0, 1, 36)._replace(voice=Voice.BASS, hand=Hand.LEFT)
    done = page._replace(notes=(bass, struck(8, 1, 72)))
    with_pedal, dry = (
        opened(format_wav(done, Playing(pedal=pedal))) for pedal in (True, False)
    )
    # A crotchet a second, four to the bar: the string rings for three more of them.
    assert not dry[round(1.2 * RATE) : 8 * RATE].any()
    assert np.abs(with_pedal[3 * RATE : 4 * RATE]).max() > 0.005
    assert not with_pedal[round(4.2 * RATE) : 8 * RATE].any()
    assert (with_pedal[8 * RATE :] == dry[8 * RATE :]).all()


def test_the_same_arrangement_gives_the_same_bytes() -> None:
    from harmonise.notation.sound import recording as sampler  # noqa: PLC0415

    done = arrange(read_tune("Key: C\nC D E F | G E C -"))
    once = format_wav(done)
    sampler._string.cache_clear()  # noqa: SLF001 - the second time from nothing
    assert format_wav(done) == once


def test_a_file_has_one_channel_of_sixteen_bits() -> None:
    done = arrange(read_tune("Key: C\nC D E F"))
    content = format_wav(done)
    with wave.open(BytesIO(content)) as file:
        assert file.getparams()[:3] == (1, 2, RATE)
        # After the frames comes the name of the program, in a chunk of 54 bytes.
        assert 44 + 2 * file.getnframes() + 54 == len(content)


def test_two_thousand_bars_need_little_more_than_their_own_file(
    page: Arrangement,
) -> None:
    bars = page.tune.bars
    many = tuple(
        bars[0]._replace(number=at + 1, start=Fraction(4 * at)) for at in range(2000)
    )
    notes = tuple(struck(4 * at, 4, 48 + at % 30) for at in range(2000))
    tune = page.tune._replace(bars=many)
    long = page._replace(tune=tune, notes=notes)
    tracemalloc.start()
    content = format_wav(long, Playing(speed=Fraction(2)))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(content) > 2 * 4000 * RATE
    assert peak < 1.2 * len(content) + 100e6


def test_a_recording_of_many_hours_is_refused(page: Arrangement) -> None:
    with pytest.raises(OutputError) as caught:
        format_wav(page, Playing(speed=Fraction(1, 100)))
    assert str(caught.value) == (
        "This recording would last longer than 3 hours. "
        "Choose a faster speed, fewer times or fewer bars."
    )


def test_a_wav_file_is_written_and_never_over_another(tmp_path: Path) -> None:
    done = arrange(read_tune("Key: C\nC D E F"))
    target = tmp_path / "tune.wav"
    write_score(done, target)
    assert target.read_bytes() == format_wav(done)
    target.write_bytes(format_wav(done)[:-9] + b"somebody\0")
    with pytest.raises(OutputError, match="exists already"):
        write_score(done, target)
    counted = Output(playing=Playing(count_in=True))
    write_output((done,), target, counted, force=True)
    assert len(target.read_bytes()) > len(format_wav(done))


def test_the_samples_are_small_and_near_every_note_that_hands_play() -> None:
    far = [m for m in range(40, 85) if min(abs(o.midi - m) for o in samples()) > 4]
    assert not far
    assert sum(own.path.stat().st_size for own in samples()) < 1.1e6
    for own in samples():
        assert 0.85 < np.abs(opened(own.path.read_bytes())).max() < 0.95


def test_the_licence_goes_with_the_samples_and_each_one_has_its_source() -> None:
    licence = (FOLDER / "LICENCE.txt").read_text("utf-8")
    assert "Permission is hereby granted, free of charge" in licence
    assert "Frank Wen" in licence
    told = (FOLDER / "README.md").read_text("utf-8")
    for row in json.loads((FOLDER / "samples.json").read_text("utf-8")):
        assert f"`{row['file']}` |" in told
        assert f"| {row['midi']} | {row['source']} |" in told
    assert {path.name for path in FOLDER.glob("*.wav")} == {
        own.path.name for own in samples()
    }
