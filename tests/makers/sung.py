"""Recordings of old tunes by sounds that nobody here made: fonts, speech, formants.

A tune is performed first: every onset strays by some 20 milliseconds, notes are let go
of a little early, the whole drifts by 30 cents, and all of it comes late by a time that
differs from tune to tune. Then it sounds: by a soundfont of Debian's through
fluidsynth (MIDI with the wheel moved a hundred times a second for vibrato, scoops and
drift), by syllables that espeak-ng speaks, whose spectral envelopes sing at the tune's
pitch (linear prediction), or by a sum of partials under formants. A room and noise at
20 dB are added. Nothing of it is shared with what listens.
"""

import shutil
import subprocess
import tempfile
import wave
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import NamedTuple

import mido
import numpy as np
import numpy.typing as npt
from scipy import linalg, signal

from harmonise.theory.tune import Tune

Floats = npt.NDArray[np.float64]

RATE = 22_050
_FONTS = Path("/usr/share/sounds/sf2")
_TICK = 0.001
_NOISE = 20.0
"""Decibels that the noise lies under the sound."""
_DRIFT = 0.30
"""Semitones from the first note to the last."""
_STRAY = 0.020
"""Seconds: standard deviation of an onset."""


class Voice(NamedTuple):
    """Who sings or plays.

    Attributes:
        name: As the table of figures names it.
        font: File of the soundfont; "" for espeak-ng, "partials" for a sum of them.
        program: Program of General MIDI, from 0.
        shift: Semitones that the tune is moved by.
        vibrato: Semitones to each side.
        scoop: Semitones by which a note begins off its pitch.
        gate: Part of its time for which a note sounds.
    """

    name: str
    font: str
    program: int = 0
    shift: int = 0
    vibrato: float = 0.0
    scoop: float = 0.0
    gate: float = 0.92


VOICES = (
    Voice("solo voice", "FluidR3_GM.sf2", 53, 0, 0.25, 0.4),
    Voice("clarinet", "FluidR3_GM.sf2", 71, 0, 0.1, 0.1),
    Voice("flute", "FluidR3_GM.sf2", 73, 12, 0.2, 0.1),
    Voice("sung syllables", "", 0, -5, 0.3, 0.5, 0.97),
    Voice("sung by formants", "partials", 0, 0, 0.35, 0.5, 0.97),
    Voice("violin", "FluidR3_GM.sf2", 40, 0, 0.25, 0.3),
    Voice("whistle", "FluidR3_GM.sf2", 78, 12, 0.25, 0.4),
    Voice("clarinet, second font", "TimGM6mb.sf2", 71, 0, 0.1, 0.1),
    Voice("flute, second font", "TimGM6mb.sf2", 73, 12, 0.2, 0.1),
    Voice("violin, second font", "TimGM6mb.sf2", 40, 0, 0.25, 0.3),
    Voice("piano, the tune alone", "FluidR3_GM.sf2", 0, 0, 0.0, 0.0),
)
"""The sources, in the order of the table."""


class SungAt(NamedTuple):
    """A note as it was performed.

    Attributes:
        onset: Place on the page in crotchets.
        start: Seconds.
        end: Seconds.
        midi: Note number.
    """

    onset: Fraction
    start: float
    end: float
    midi: int


def performed(tune: Tune, tempo: float, voice: Voice, seed: int) -> list[SungAt]:
    """Return the notes of a tune as somebody performs them to a click."""
    dice = np.random.default_rng(seed)
    late = 0.4 + dice.uniform(0, 0.12)
    beat = 60 / tempo
    notes = tune.sounding
    starts = [
        late + float(note.onset) * beat + np.clip(dice.normal(0, _STRAY), -0.045, 0.045)
        for note in notes
    ]
    made = []
    for number, note in enumerate(notes):
        assert note.pitch
        stop = late + float(note.end) * beat
        if number + 1 < len(notes):
            stop = min(stop, starts[number + 1])
        start = starts[number]
        end = start + (stop - start) * voice.gate
        made.append(SungAt(note.onset, start, end, note.pitch.midi + voice.shift))
    return made


def _curve(notes: Sequence[SungAt], voice: Voice, seconds: Floats) -> Floats:
    """Return the pitch at some times, in semitones, held over the silences."""
    dice = np.random.default_rng(len(notes))
    pitch = np.full(len(seconds), float(notes[0].midi))
    for number, note in enumerate(notes):
        until = notes[number + 1].start if number + 1 < len(notes) else 1e9
        here = (seconds >= note.start) & (seconds < until)
        since = seconds[here] - note.start
        before = notes[number - 1].midi if number else note.midi - 1
        way = np.sign(before - note.midi)
        bend = way * voice.scoop * np.exp(-since / 0.035)
        grown = np.clip((since - 0.15) / 0.2, 0, 1)
        rate = dice.uniform(4.8, 6.2)
        shake = voice.vibrato * grown * np.sin(2 * np.pi * rate * since)
        pitch[here] = note.midi + bend + shake
    whole = notes[-1].end - notes[0].start
    return pitch + _DRIFT * (seconds - notes[0].start) / whole - _DRIFT / 2


def sounded(
    pieces: Sequence[Sequence[SungAt]], voice: Voice, *, noise: bool = True
) -> list[Floats]:
    """Return recordings of some performances by one voice."""
    if voice.font == "partials":
        plain = [_by_partials(notes, voice) for notes in pieces]
    elif voice.font:
        plain = _by_font(pieces, voice)
    else:
        plain = [_by_speech(notes, voice) for notes in pieces]
    if voice.font in ("", "partials"):
        plain = [_in_room(sound) for sound in plain]
    return [_noisy(sound) if noise else sound for sound in plain]


def _noisy(sound: Floats) -> Floats:
    dice = np.random.default_rng(len(sound))
    level = np.sqrt(np.mean(sound**2))
    noise = signal.lfilter([0.4], [1, -0.6], dice.normal(0, 1, len(sound)))
    noise *= level * 10 ** (-_NOISE / 20) / np.sqrt(np.mean(noise**2))
    both = sound + noise
    levelled: Floats = both * 0.5 / np.max(np.abs(both))
    return levelled


def _in_room(sound: Floats) -> Floats:
    """Return a sound in a small room: 0.4 seconds until it has fallen by 60 dB."""
    dice = np.random.default_rng(7)
    length = round(0.4 * RATE)
    tail = dice.normal(0, 1, length) * 10 ** (-3 * np.arange(length) / length)
    tail *= 0.25 / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    roomy: Floats = signal.fftconvolve(sound, tail)[: len(sound) + length // 2]
    return roomy


def _by_font(pieces: Sequence[Sequence[SungAt]], voice: Voice) -> list[Floats]:
    """Return what fluidsynth makes of all pieces, one after the other in one file."""
    messages: list[tuple[float, int, mido.Message]] = []
    spans = []
    at = 0.2
    for channel in (0, 1):
        program = mido.Message("program_change", program=voice.program, channel=channel)
        messages.append((0.0, 0, program))
    for notes in pieces:
        for number, note in enumerate(notes):
            # Two channels in turn, so that a tail does not scoop with the next note.
            channel = number % 2
            until = max(note.end, note.start + 0.03)
            seconds = np.arange(note.start, until, 0.01)
            bends = _curve(notes, voice, seconds) - note.midi
            for second, bend in zip(seconds, bends, strict=True):
                wheel = int(np.clip(round(bend / 2 * 8192), -8192, 8191))
                move = mido.Message("pitchwheel", pitch=wheel, channel=channel)
                messages.append((at + second, 1, move))
            loud = 80 + (note.onset % 1 == 0) * 12
            struck = {"note": note.midi, "channel": channel}
            on = mido.Message("note_on", velocity=loud, **struck)
            messages.append((at + note.start, 2, on))
            messages.append((at + until, 0, mido.Message("note_off", **struck)))
        spans.append((at, at + notes[-1].end + 0.4))
        at += notes[-1].end + 2.0
    sound = _rendered(messages, voice.font)
    return [sound[round(a * RATE) : round(b * RATE)] for a, b in spans]


def _rendered(messages: list[tuple[float, int, mido.Message]], font: str) -> Floats:
    file = mido.MidiFile(ticks_per_beat=500)
    track = mido.MidiTrack()
    file.tracks.append(track)
    now = 0
    for second, _, message in sorted(messages, key=lambda row: row[:2]):
        tick = round(second / _TICK)
        track.append(message.copy(time=tick - now))
        now = tick
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder) / "a.mid", Path(folder) / "a.wav"
        file.save(midi)
        program = shutil.which("fluidsynth")
        assert program
        options = ["-ni", "-q", "-r", str(RATE), "-g", "0.6", "-F", str(wav)]
        command = [program, *options, str(_FONTS / font), str(midi)]
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603
        return read_wav(wav)


def read_wav(path: Path) -> Floats:
    """Return a 16-bit WAV file as one channel, as it is."""
    with wave.open(str(path)) as file:
        raw = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768
        mono: Floats = raw.reshape(-1, file.getnchannels()).mean(axis=1)
        return mono


def wav_bytes(sound: Floats, rate: int = RATE) -> bytes:
    """Return a sound as a WAV file of 16 bits and one channel."""
    with tempfile.TemporaryFile() as packed:
        with wave.open(packed, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(rate)
            whole = np.rint(np.clip(sound, -1, 1) * 32767).astype("<i2")
            file.writeframes(whole.tobytes())
        packed.seek(0)
        return packed.read()


def spoken_text(text: str) -> Floats:
    """Return a sentence as espeak-ng says it, at our rate."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        program = shutil.which("espeak-ng")
        assert program
        command = [program, "-v", "en", "-w", str(path), text]
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603
        return read_wav(path)


_SYLLABLES = ("la:", "na:", "lu:", "do:", "ma:", "ri:")


@cache
def _spoken(phonemes: str) -> tuple[Floats, Floats]:
    """Return filters and loudness, ten milliseconds each, of a spoken syllable."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        program = shutil.which("espeak-ng")
        assert program
        command = [program, "-v", "en", "-s", "90", "-w", str(path), f"[[{phonemes}]]"]
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603
        sound = read_wav(path)
    hop, size, order = RATE // 100, RATE // 33, 22
    loud = np.flatnonzero(np.abs(sound) > 0.02)
    sound = sound[max(loud[0] - hop, 0) : loud[-1]]
    rows, levels = [], []
    bent = signal.lfilter([1, -0.95], [1], sound)
    for start in range(0, len(bent) - size, hop):
        frame = bent[start : start + size] * np.hanning(size)
        corr = np.correlate(frame, frame, "full")[size - 1 : size + order]
        corr[0] = corr[0] * 1.0001 + 1e-9
        rows.append(linalg.solve_toeplitz(corr[:order], corr[1 : order + 1]))
        levels.append(np.sqrt(np.mean(sound[start : start + size] ** 2)))
    return np.array(rows), np.array(levels)


def _by_speech(notes: Sequence[SungAt], voice: Voice) -> Floats:
    """Return a tune sung on syllables: spoken envelopes over pulses at its pitch."""
    frames = round((notes[-1].end + 0.4) * RATE)
    seconds = np.arange(frames) / RATE
    hertz = 440 * 2 ** ((_curve(notes, voice, seconds) - 69) / 12)
    phase = np.cumsum(hertz / RATE)
    pulses = np.diff(np.floor(phase), prepend=0.0)
    dice = np.random.default_rng(frames)
    source = pulses * np.sqrt(RATE / hertz) + dice.normal(0, 0.03, frames)
    out = np.zeros(frames)
    for number, note in enumerate(notes):
        filters, levels = _spoken(_SYLLABLES[number % len(_SYLLABLES)])
        start, end = round(note.start * RATE), round(note.end * RATE)
        out[start:end] += _sung(source[start:end], filters, levels)
    return out


def _sung(source: Floats, filters: Floats, levels: Floats) -> Floats:
    """Return a source under the filters of a syllable, whose vowel is held."""
    hop = RATE // 100
    steps = len(source) // hop + 1
    head = min(14, len(levels) - 4)
    # The consonant keeps its time; the vowel waits in its middle.
    held = np.minimum(np.arange(steps), head)
    out, state = np.zeros(len(source)), np.zeros(filters.shape[1])
    for step, row in enumerate(held):
        part = source[step * hop : (step + 1) * hop]
        if not len(part):
            continue
        sung, state = signal.lfilter([1.0], [1.0, *-filters[row]], part, zi=state)
        level = np.sqrt(np.mean(sung**2)) + 1e-6
        out[step * hop : step * hop + len(part)] = sung / level * levels[row]
    fade = min(len(out) // 4, RATE // 40)
    out[-fade:] *= np.linspace(1, 0, fade)
    softer: Floats = signal.lfilter([1.0], [1.0, -0.5], out)
    return softer


_FORMANTS = ((700.0, 130.0, 1.0), (1200.0, 170.0, 0.5), (2600.0, 250.0, 0.25))


def _by_partials(notes: Sequence[SungAt], voice: Voice) -> Floats:
    """Return a tune as a sum of partials under the formants of an open vowel."""
    frames = round((notes[-1].end + 0.4) * RATE)
    seconds = np.arange(frames) / RATE
    hertz = 440 * 2 ** ((_curve(notes, voice, seconds) - 69) / 12)
    phase = 2 * np.pi * np.cumsum(hertz / RATE)
    level, bright = np.zeros(frames), np.zeros(frames)
    dice = np.random.default_rng(frames)
    for note in notes:
        here = (seconds >= note.start) & (seconds < note.end)
        since, left = seconds[here] - note.start, note.end - seconds[here]
        # An l or n: the lips of the note are quieter, and dark.
        depth = dice.uniform(0.35, 0.75)
        swell = 1 + 0.3 * np.sin(np.pi * since / (note.end - note.start))
        level[here] = swell * (1 - depth * np.exp(-((since - 0.02) ** 2) / 0.03**2))
        level[here] *= np.clip(left / 0.04, 0, 1) * np.clip(since / 0.01, 0, 1)
        bright[here] = 1 - 0.8 * np.exp(-((since - 0.02) ** 2) / 0.035**2)
    out = np.zeros(frames)
    for partial in range(1, 40):
        at = partial * hertz
        formant = sum(a / (1 + ((at - f) / w) ** 2) for f, w, a in _FORMANTS) + 0.03
        under = np.clip((10_000 - at) / 1000, 0, 1)
        dark = bright ** (0.2 if partial < 2 else 1.0)
        out += np.sin(partial * phase) * formant * under * dark / partial**0.5
    return out * level
