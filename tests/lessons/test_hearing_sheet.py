"""Aural tests: what sounds is what the key says, and it can be nothing else.

Sounding notes are read back from the MIDI file by mido and from the WAV file by
spectrum; which notes a numeral means stands here in semitones above the keynote
(common practice), so that nothing is shared with what is checked.
"""

import io
import wave
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import numpy.typing as npt
import pytest

from harmonise import read_tune
from harmonise.lessons.sheet_files import sheet_recordings
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.theory.arrangement import Style

TUNES = Path(__file__).parents[2] / "tunes"
MEANT = {
    "I": (0, 4, 7), "ii": (2, 5, 9), "iii": (4, 7, 11), "IV": (5, 9, 0),
    "V": (7, 11, 2), "V7": (7, 11, 2, 5), "vi": (9, 0, 4), "ii7": (2, 5, 9, 0),
    "i": (0, 3, 7), "iv": (5, 8, 0),
}  # fmt: skip
"""Semitones above the keynote, the root first; of V in minor with the raised 7th."""
PER_MINUTE = 72
NAMES = ("morning_steps", "ferry_steps", "kitchen_clock", "boat_round")
SHEETS = [
    pytest.param(name, level, id=f"{name} {level}")
    for name in NAMES
    for level in (1, 2, 3)
]


def sheet_of(name: str, level: int) -> Worksheet:
    tune = read_tune(TUNES / f"{name}.txt")
    return make_sheets(tune, SheetOrder(SheetKind.HEAR, Style(level)))[0]


def files_of(sheet: Worksheet) -> dict[str, bytes]:
    return {path.name: data for path, data in sheet_recordings(sheet, Path("a"))}


def struck(content: bytes) -> list[tuple[Fraction, Fraction, int, int]]:
    """Return begin and end in crotchets, number and channel of every note."""
    file = mido.MidiFile(file=io.BytesIO(content))
    notes = []
    for track in file.tracks:
        now, down = 0, {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                down[message.note] = now
            elif message.type in ("note_on", "note_off"):
                begin = Fraction(down.pop(message.note), file.ticks_per_beat)
                end = Fraction(now, file.ticks_per_beat)
                notes.append((begin, end, message.note, message.channel))
    return notes


def keynote(sheet: Worksheet) -> int:
    return ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B").index(
        str(sheet.key.tonic)
    )


@pytest.mark.parametrize(("name", "level"), SHEETS)
def test_one_numeral_of_the_sheet_alone_fits_what_sounds(name: str, level: int) -> None:
    sheet = sheet_of(name, level)
    notes = struck(files_of(sheet)["a-whole.mid"])
    written = {box.text.replace("⁷", "7") for box in sheet.pieces[0].boxes}
    assert written <= set(MEANT)
    for item in sheet.items:
        there = [n for n in notes if n[0] <= item.onset < n[1]]
        home = keynote(sheet)
        heard = {(midi - home) % 12 for *_, midi, _ in there}
        # Channel 0 has the tune, whose note may pass through the chord.
        held = {(midi - home) % 12 for *_, midi, channel in there if channel}
        bass = (min(n[2] for n in there) - home) % 12
        fits = [n for n in written if MEANT[n][0] == bass and held <= {*MEANT[n]}]
        if len(fits) > 1:
            fits = [n for n in fits if heard == {*MEANT[n]}]
        assert fits == [item.answers[0].text], item.place


def frames_of(content: bytes) -> tuple[npt.NDArray[np.float64], int]:
    with wave.open(io.BytesIO(content)) as file:
        packed = file.readframes(file.getnframes())
        return np.frombuffer(packed, "<i2") / 32768, file.getframerate()


def lowest_strong(frames: npt.NDArray[np.float64], rate: int) -> int:
    """Return the strongest note from C2 to F#3 (ISO 16: A4 = 440 Hz).

    A twelfth above C2, its third partial, is no bass.
    """
    size = 1 << 17
    spectrum = np.abs(np.fft.rfft(frames * np.hanning(len(frames)), size))

    def strength(midi: int) -> float:
        at = round(440 * 2 ** ((midi - 69) / 12) * size / rate)
        return float(spectrum[at - 2 : at + 3].max())

    return max(range(36, 55), key=strength)


@pytest.mark.parametrize("name", NAMES)
def test_the_bass_in_the_recording_is_the_root_in_the_key(name: str) -> None:
    sheet = sheet_of(name, 1)
    files = files_of(sheet)
    frames, rate = frames_of(files["a-whole.wav"])
    alone, _ = frames_of(files["a-bass.wav"])
    for item in sheet.items:
        begin = int(item.onset * 60 / PER_MINUTE * rate)
        low = lowest_strong(frames[begin : begin + rate * 3 // 4], rate)
        assert (low - keynote(sheet)) % 12 == MEANT[item.answers[0].text][0]
        assert lowest_strong(alone[begin : begin + rate * 3 // 4], rate) == low


def test_each_line_is_heard_three_times_and_the_lines_are_the_tune() -> None:
    sheet = sheet_of("ferry_steps", 1)
    files = files_of(sheet)
    assert list(files) == [
        *(f"a-line-{number}.wav" for number in (1, 2, 3, 4)),
        "a-bass.wav",
        "a-whole.wav",
        "a-whole.mid",
    ]
    line, rate = frames_of(files["a-line-1.wav"])
    # Two bars of 4/4, 0.15 s of release, and five seconds to write.
    once = 8 * 60 / PER_MINUTE + 0.15 + 5
    assert len(line) / rate == pytest.approx(3 * once, abs=0.01)
    third = len(line) // 3
    assert np.array_equal(line[:third], line[third : 2 * third])
    assert np.abs(line[third - 5 * rate + rate // 10 : third]).max() == 0
    assert files == files_of(sheet_of("ferry_steps", 1))


def test_the_bass_to_be_written_is_the_bass_that_is_heard() -> None:
    tune = read_tune(TUNES / "boat_round.txt")
    (sheet,) = make_sheets(tune, SheetOrder(SheetKind.BASS))
    assert "played three times, with 5 seconds after each to write" in sheet.instruction
    files = files_of(sheet)
    frames, rate = frames_of(files["a-whole.wav"])
    notes = struck(files["a-whole.mid"])
    # The channel that lies lowest is the left hand's; a note struck again is one bass.
    left = min(
        {n[3] for n in notes}, key=lambda c: min(n[2] for n in notes if n[3] == c)
    )
    played = [(begin, midi) for begin, _, midi, channel in notes if channel == left]
    begins = [b for (_, a), (b, m) in pairwise([(0, 0), *sorted(played)]) if a != m]
    assert [item.onset for item in sheet.items] == begins
    letters = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    for item in sheet.items:
        begin = int(item.onset * 60 / PER_MINUTE * rate)
        low = lowest_strong(frames[begin : begin + rate * 3 // 4], rate)
        name = item.answers[0].text.removeprefix("left hand ")
        # C3 is 48 (scientific pitch notation); this tune has no black key in its bass.
        assert low == 12 * (int(name[1:]) + 1) + letters[name[0]]
