"""Programs that users open our files with, asked what they read in them.

They are Debian's: LilyPond and its converter musicxml2ly, abc2midi (package abcmidi),
abcm2ps, and FluidSynth with a General MIDI soundfont. `.ci/run` installs them; on a
desk that lacks one its tests are left out. All but abcm2ps are asked for a MIDI file or
for the MIDI messages that they obey, which mido reads.
"""

import os
import re
import shutil
import subprocess
import wave
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import mido
import numpy as np
import pytest
from numpy.typing import NDArray

SOUNDFONT = Path("/usr/share/sounds/sf2/default-GM.sf2")
LISTENED = 0.125
"""Seconds in which a tone is looked for: enough to tell neighbouring keys apart."""
_TIMEOUT = 120
_VOICES = re.compile(r"^(PartPOneVoice(?:One|Two|Four|Five)) = +\{", re.MULTILINE)
"""Voices of music in what musicxml2ly writes, by the numbers that we gave them."""
Sound = tuple[Fraction, Fraction, int]
"""Onset and end in crotchets, and the number of the key."""
Words = list[tuple[Fraction, str]]


def needs(*programs: str) -> pytest.MarkDecorator:
    """Return the mark of a test that needs some programs, which CI always has."""
    lacking = [name for name in programs if not shutil.which(name)]
    return pytest.mark.skipif(
        bool(lacking) and not os.environ.get("CI"),
        reason=f"{', '.join(lacking)}: not installed",
    )


def told_by(program: str, *words: object, at: Path) -> str:
    """Run a program in a folder; return all that it prints.

    Raises:
        subprocess.CalledProcessError: If it fails.
    """
    done = subprocess.run(  # noqa: S603 (programs of Debian, on files of ours)
        [program, *map(str, words)],
        cwd=at,
        check=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=_TIMEOUT,
    )
    return done.stdout.decode("utf-8", "replace")


def near(now: int, ticks: int) -> Fraction:
    """Return a time in crotchets, where a program is a tick late on purpose."""
    return Fraction(now, ticks).limit_denominator(24)


class Reading(NamedTuple):
    """A score as LilyPond reads it.

    Attributes:
        written: The music in the order of the page, with words and chord symbols.
        played: The music alone, its repeats played out.
    """

    written: mido.MidiFile
    played: mido.MidiFile


def read_by_lilypond(scores: Mapping[str, bytes], at: Path) -> dict[str, Reading]:
    """Return scores in MusicXML as LilyPond reads them, by their names.

    The first is engraved too. They share one run of LilyPond, which is slow to start,
    and must bring no complaint of it.

    Args:
        scores: The scores.
        at: A folder to work in.
    """
    first = next(iter(scores))
    for name, score in scores.items():
        (at / f"{name}.musicxml").write_bytes(score)
        told_by("musicxml2ly", "--absolute", f"{name}.musicxml", at=at)
        text = (at / f"{name}.ly").read_text("utf-8")
        voices = " ".join(rf"\new Voice \{voice}" for voice in _VOICES.findall(text))
        played = rf"\score {{ \unfoldRepeats << {voices} >> \midi {{}} }}"
        page = r"\layout {}" if name == first else ""
        text = text.replace(r"\layout {}", rf"{page} \midi {{}}")
        (at / f"{name}.ly").write_text(f"{text}{played}\n", "utf-8")
    told = told_by("lilypond", "--silent", *(f"{name}.ly" for name in scores), at=at)
    assert not told
    assert (at / f"{first}.pdf").read_bytes().startswith(b"%PDF")
    return {name: Reading(*(_midi(at, name, n) for n in ("", "-1"))) for name in scores}


def _midi(at: Path, name: str, number: str) -> mido.MidiFile:
    return mido.MidiFile(at / f"{name}{number}.midi", charset="utf-8")


def sounds(track: mido.MidiTrack, ticks: int) -> list[Sound]:
    """Return what a track plays, in order of time and pitch."""
    rows: list[Sound] = []
    sounding: dict[int, Fraction] = {}
    now = 0
    for message in track:
        now += message.time
        at = Fraction(now, ticks)
        if message.type == "note_on" and message.velocity:
            assert message.note not in sounding
            sounding[message.note] = at
        elif message.type in ("note_on", "note_off"):
            rows.append((sounding.pop(message.note), at, message.note))
    assert not sounding
    return sorted(rows)


def words_of(track: mido.MidiTrack, ticks: int, kind: str = "lyrics") -> Words:
    """Return the texts of a track with their onsets, in crotchets."""
    rows: Words = []
    now = 0
    for message in track:
        now += message.time
        if message.type == kind:
            rows.append((near(now, ticks), message.text.strip()))
    return rows


def read_by_abc2midi(abc: str, strums: int, at: Path) -> mido.MidiFile:
    """Return a tune in ABC as abc2midi plays it, its chord symbols strummed.

    Args:
        abc: The tune.
        strums: How often a bar; it would else have a pattern of its own.
        at: A folder to work in.
    """
    abc = re.sub("(?m)^(K:.*)$", rf"\1\n%%MIDI gchord {'c' * strums}", abc, count=1)
    (at / "tune.abc").write_text(abc, "utf-8")
    told = told_by("abc2midi", "tune.abc", "-o", "tune.mid", at=at)
    lines = [line for line in told.splitlines() if re.search("(?i)error|warn", line)]
    # A tune whose words end before its notes do is told so; that is no fault.
    assert all("without lyrics" in line for line in lines), told
    return mido.MidiFile(at / "tune.mid", charset="utf-8")


class Recording(NamedTuple):
    """A recording.

    Attributes:
        frames: The sound, both channels as one.
        rate: Frames a second.
    """

    frames: NDArray[np.float64]
    rate: int

    def loudness(self, key: int, at: float) -> float:
        """Return how loud the fundamental of a key is in an eighth of a second.

        Args:
            key: Number of the key; 69 has 440 vibrations a second.
            at: Where it is listened to, in seconds; before 0 nothing sounds.
        """
        first = round(at * self.rate)
        heard = self.frames[max(first, 0) : max(first + round(LISTENED * self.rate), 0)]
        if not len(heard):
            return 0.0
        turns = 440 * 2 ** ((key - 69) / 12) * np.arange(len(heard)) / self.rate
        tone = np.exp(-2j * np.pi * turns) * np.hanning(len(heard))
        return float(abs(np.dot(heard, tone)) / len(heard))


def played_by_fluidsynth(
    midi: bytes, at: Path
) -> tuple[list[tuple[str, int, int]], Recording]:
    """Return the messages that FluidSynth obeys, and the recording that it makes.

    Args:
        midi: A MIDI file.
        at: A folder to work in.

    Returns:
        "noteon" or "noteoff", channel and key of every note, in order; and what is
        heard, without echo.
    """
    (at / "tune.mid").write_bytes(midi)
    dry = ("-n", "-i", "-R", "0", "-C", "0", "-r", "22050")
    told = told_by(
        "fluidsynth", "-d", *dry, "-F", "tune.wav", SOUNDFONT, "tune.mid", at=at
    )
    rows = re.findall(r"event_post_(noteon|noteoff) (\d+) (\d+)", told)
    with wave.open(str(at / "tune.wav")) as file:
        rate, channels = file.getframerate(), file.getnchannels()
        frames = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    sound = frames.reshape(-1, channels).mean(axis=1)
    return [(kind, int(own), int(key)) for kind, own, key in rows], Recording(
        sound, rate
    )
