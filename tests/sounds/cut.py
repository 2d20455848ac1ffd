"""Cut the bundled piano samples out of a soundfont.

    python tests/sounds/cut.py FluidR3Mono_GM.sf3

Needs: the soundfont of Debian's package fluidr3mono-gm-soundfont (MIT licence), the
program oggdec of Debian's package vorbis-tools, and numpy. Writes the .wav files and
samples.json into harmonise/notation/sound/piano.

A sample is brought from 32 to 22.05 kHz, cut at its beginning where it starts to sound,
and cut at its end after a few seconds. Its last part is made to go round: its decay is
taken out, so that the sampler can put it back for as long as a note lasts, and its end
is blended into what stands before its beginning. Its pitch is measured and noted as
cents from equal temperament, A4 = 440 Hz.
Sources: SoundFont Technical Specification 2.04, section 7.10 (the table "shdr"); in an
.sf3 file its places count bytes of Ogg Vorbis streams.
"""

import json
import struct
import subprocess
import sys
import tempfile
import wave
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float64]

RATE = 22_050
SIZE = 1 << 19
"""Points of the spectrum in which a pitch is measured."""
LOWEST_FIRST = 33
"""A1, the lowest note whose first partial is strong enough to tune by."""
TARGET = Path(__file__).parents[2] / "harmonise" / "notation" / "sound" / "piano"
KEEP = {
    26: ("Piano D2(L)", 3.0, 60),
    34: ("Piano A#2(L)", 3.0, 60),
    42: ("Piano F#3(L)", 3.0, 10),
    50: ("Piano D4(L)", 2.8, 10),
    58: ("Piano A#4(L)", 2.5, 10),
    66: ("Piano F#5(L)", 2.4, 11),
    74: ("Piano D6(L)", 1.9, 13),
    78: ("Piano F#6(L)", 1.7, 15),
    84: ("Piano C7(L)", 1.3, 18),
    94: ("Piano A#7(L)", 1.2, 30),
}
"""MIDI number; end of its name in the soundfont; seconds kept; its fastest fall in
decibels a second."""


class Cut(NamedTuple):
    """A sample as it is bundled.

    Attributes:
        sound: From -1 to 1; without its decay from `loop` on.
        loop: Where its last part begins, which goes round to the end.
        decay: How much that part falls, in decibels a second.
        cents: How much sharper than equal temperament it is.
    """

    sound: Samples
    loop: int
    decay: float
    cents: float


def stream(font: bytes, name: str) -> bytes:
    """Return the Ogg Vorbis stream of the sample whose name ends so."""
    at = font.index(b"shdr")
    size = struct.unpack_from("<I", font, at + 4)[0]
    first = font.index(b"smpl") + 8
    for row in range(at + 8, at + 8 + size, 46):
        own, start, end = struct.unpack_from("<20sII", font, row)
        if own.rstrip(b"\0").decode().endswith(name):
            return font[first + start : first + end]
    message = f"no sample {name}"
    raise ValueError(message)


def decoded(ogg: bytes) -> tuple[Samples, int]:
    """Return the samples of an Ogg Vorbis stream, and their rate."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "s.ogg", Path(folder) / "s.wav"
        source.write_bytes(ogg)
        command = ["oggdec", "-Q", "-o", str(target), str(source)]
        subprocess.run(command, check=True)  # noqa: S603 - our own two files
        with wave.open(str(target)) as file:
            packed = file.readframes(file.getnframes())
            return np.frombuffer(packed, "<i2") / 32768, file.getframerate()


def resampled(sound: Samples, rate: int) -> Samples:
    """Return a sound at our rate: its spectrum, cut or padded (no aliasing)."""
    padded = np.concatenate([np.zeros(rate // 10), sound, np.zeros(rate // 10)])
    size = len(padded) * RATE // rate
    spectrum = np.fft.rfft(padded)[: size // 2 + 1]
    made: Samples = np.fft.irfft(spectrum, size) * (size / len(padded))
    return made


def trimmed(sound: Samples, seconds: float) -> Samples:
    """Return a sound from where it begins, with the gentlest of fades."""
    begin = int(np.argmax(np.abs(sound) > 0.02 * np.abs(sound).max()))
    begin = max(begin - RATE // 2000, 0)
    kept = sound[begin : begin + round(seconds * RATE)].copy()
    rise = RATE // 1000
    kept[:rise] *= np.sin(np.linspace(0, np.pi / 2, rise, endpoint=False)) ** 2
    made: Samples = kept / np.abs(kept).max() * 0.9
    return made


def sustained(sound: Samples, fall: float) -> Samples:
    """Return a sound that falls no faster than so many decibels a second.

    These recordings die sooner than a piano does from A sharp 3 up, so that a tune of
    long notes sinks under its own bass. At most 14 decibels are given.
    """
    window = np.hanning(RATE // 5)
    power = np.convolve(sound**2, window / window.sum(), mode="same")
    levels = 10 * np.log10(power + 1e-12)
    line = levels.max() - fall * np.arange(len(sound)) / RATE
    lift = np.convolve(
        np.clip(line - levels, 0, 14), window / window.sum(), mode="same"
    )
    # The attack stays as it is.
    lift *= np.clip(np.arange(len(sound)) / (RATE / 5), 0, 1)
    # Behind its end the sound seems to fall, and is not to be lifted for it.
    lift[-len(window) :] = lift[-len(window)]
    made: Samples = sound * 10 ** (lift / 20)
    return made


def decay_of(sound: Samples) -> float:
    """Return how many decibels a second a sound falls in its later half."""
    step = RATE // 20
    levels = [
        10 * np.log10(np.mean(sound[at : at + step] ** 2) + 1e-12)
        for at in range(len(sound) // 2, len(sound) - step, step)
    ]
    slope = np.polyfit(np.arange(len(levels)) / 20, levels, 1)[0]
    return float(max(-slope, 4.0))


def looped(sound: Samples) -> tuple[Samples, int, float]:
    """Return a sound whose last part goes round, where that begins, and its decay."""
    decay = decay_of(sound)
    end = len(sound)
    blend = round(0.15 * RATE)
    tail = sound[end - blend :]
    lengths = range(round(0.25 * RATE), round(0.45 * RATE))

    def likeness(length: int) -> float:
        before = sound[end - blend - length : end - length]
        scale = np.linalg.norm(before) * np.linalg.norm(tail)
        return float(np.dot(before, tail) / scale)

    loop = end - max(lengths, key=likeness)
    seconds = (np.arange(end) - loop) / RATE
    flat = sound * 10 ** (decay * seconds / 20)
    fade = np.linspace(0, 1, blend)
    made = np.concatenate([sound[:loop], flat[loop:]])
    made[end - blend :] = (
        flat[end - blend :] * (1 - fade) + flat[loop - blend : loop] * fade
    )
    return made, loop, decay


def cents_off(sound: Samples, midi: int) -> float:
    """Return how many cents sharp a sound is.

    Its first partial counts. Below A1 a recording has hardly any: there all partials
    count by their energy.
    """
    wanted = 440 * 2 ** ((midi - 69) / 12)
    kept = sound[: round(2 * RATE)]
    spectrum = np.abs(np.fft.rfft(kept * np.hanning(len(kept)), SIZE))
    last = 2 if midi >= LOWEST_FIRST else 7
    numbers = [n for n in range(1, last) if n == 1 or n * wanted < 2000]
    partials = [partial(spectrum, n * wanted) for n in numbers]
    energies = [energy for _, energy in partials]
    return float(np.average([cents for cents, _ in partials], weights=energies))


def partial(spectrum: Samples, wanted: float) -> tuple[float, float]:
    """Return how many cents sharp the peak near a frequency is, and its energy."""
    low, high = (round(wanted * 2 ** (t / 12) * SIZE / RATE) for t in (-0.5, 0.5))
    top = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[top - 1 : top + 2])
    found = (top + (a - c) / (2 * (a - 2 * b + c))) * RATE / SIZE
    return float(1200 * np.log2(found / wanted)), float(spectrum[top] ** 2)


def cut(font: bytes, midi: int) -> Cut:
    """Return a sample as it is bundled."""
    name, seconds, fall = KEEP[midi]
    sound = trimmed(resampled(*decoded(stream(font, name))), seconds)
    cents = cents_off(sound, midi)
    made, loop, decay = looped(sustained(sound, fall))
    return Cut(made, loop, decay, cents)


def main(font: Path) -> None:
    """Write all samples and what is to be known of them."""
    content = font.read_bytes()
    rows = []
    for midi, (name, *_) in KEEP.items():
        own = cut(content, midi)
        path = TARGET / f"{midi}.wav"
        with wave.open(str(path), "wb") as file:
            file.setparams((1, 2, RATE, 0, "NONE", ""))
            file.writeframes(np.round(own.sound * 32767).astype("<i2").tobytes())
        row = {
            "file": path.name, "midi": midi, "cents": round(own.cents, 2),
            "loop": own.loop, "decay": round(own.decay, 2),
            "source": name.rpartition(" ")[2],
        }  # fmt: skip
        rows.append(row)
        sys.stdout.write(f"{row}\n")
    text = json.dumps(rows, indent=1)
    (TARGET / "samples.json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
