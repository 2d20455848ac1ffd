"""How well recordings are written down, by each source; and the weights behind it.

Thirty-two old tunes of music21's corpus, ten bars of each, are sung and played by
`makers.sung`. The weights of `recording/repeats.py` are fitted to every other tune; the
figures are those of the rest, which nothing was tuned on.

    python -m fitting.hearing           the table of figures (some three minutes)
    python -m fitting.hearing --fit     the weights, to be copied into repeats.py

Right with a click is a note whose pitch and sixteenth are right, counted from the first
full bar; F is the harmonic mean of how many of the heard are right and how many of the
sung were heard. Right without one is pitch and length to the next note, in the order of
the tune, at the tempo that was sung, its half or its double. Beside them stand the
measures of others: mir_eval's notes by onset and pitch (50 ms, 50 cents), and with the
end too (a fifth of the length). Source: Raffel and others, "mir_eval: a transparent
implementation of common MIR metrics", ISMIR 2014.
"""

import sys
from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from makers.corpus import tunes_of
from makers.sung import RATE, VOICES, Floats, SungAt, Voice, performed, sounded
from mir_eval import transcription
from scipy import optimize, signal

from harmonise.errors import RemarkList
from harmonise.notation.recording.click import Click
from harmonise.notation.recording.contour import SungContour, hear_contour
from harmonise.notation.recording.line import HeardLine, grid_places, hear_line
from harmonise.notation.recording.on_paper import set_on_paper
from harmonise.notation.recording.pulse import to_click
from harmonise.notation.recording.repeats import facts, onsets, signs
from harmonise.notation.recording.semitones import steps
from harmonise.theory.tune import Tune

COUNT = 32
BARS = 10
_EVEN, _ODD = 0, 1
_BOOK, _EVERY = "essenFolksong", 97
_PENALTY = 3e-4


class Take(NamedTuple):
    """A tune as one voice sang it.

    Attributes:
        number: Of the tune, from 0.
        tune: What was sung.
        click: What the singer heard.
        notes: As they were performed.
        contour: As the ear hears it.
        shift: Semitones by which it was sung higher than it is written.
    """

    number: int
    tune: Tune
    click: Click
    notes: Sequence[SungAt]
    contour: SungContour
    shift: int


class SourceFigures(NamedTuple):
    """How well one source is written down; each from 0 to 1.

    Attributes:
        clicked: F of pitch and sixteenth, with a click.
        free: F of pitch and length, without one.
        onset: mir_eval's F of onset and pitch.
        whole: mir_eval's F of onset, pitch and end.
        marked: Marks in the text, a note.
    """

    clicked: float
    free: float
    onset: float
    whole: float
    marked: float


def old_tunes() -> list[Tune]:
    """Return the first bars of old tunes that have one metre and no odd divisions."""
    chosen = []
    for tune in tunes_of(_BOOK, _EVERY, 400):
        end = tune.bars[min(BARS - 1, len(tune.bars) - 1)].end
        notes = tuple(note for note in tune.notes if note.end <= end)
        plain = all((12 * note.onset).denominator == 1 for note in notes)
        if len({bar.time for bar in tune.bars}) > 1 or len(tune.sounding) < 20:
            continue
        if plain:
            bars = tuple(bar for bar in tune.bars if bar.end <= end)
            chosen.append(tune._replace(notes=notes, bars=bars))
        if len(chosen) == COUNT:
            break
    return chosen


def paces(tunes: Sequence[Tune]) -> list[float]:
    """Return crotchets a minute of each tune, about as quick as it is sung."""
    dice = np.random.default_rng(1)
    plain = [float(dice.integers(76, 112)) for _ in tunes]
    quicker = {8: 1.5, 2: 1.2}
    return [
        pace * quicker.get(tune.bars[-1].time.beat_type, 1.0)
        for pace, tune in zip(plain, tunes, strict=True)
    ]


def takes(voice: Voice, half: int) -> Iterator[Take]:
    """Yield every other tune as a voice sang it.

    Args:
        voice: Who sings.
        half: 0 for the tunes that are fitted to, 1 for the others.
    """
    tunes = old_tunes()
    pieces = [
        performed(tune, pace, voice, number)
        for number, (tune, pace) in enumerate(zip(tunes, paces(tunes), strict=True))
    ]
    rows = zip(tunes, paces(tunes), pieces, sounded(pieces, voice), strict=True)
    for number, (tune, pace, notes, sound) in enumerate(rows):
        if number % 2 != half:
            continue
        first, time = tune.bars[0], tune.bars[-1].time
        pickup = first.length / time.unit if first.offset else None
        click = Click(Fraction(round(pace * 1000), 1000) / time.beat, time, pickup)
        contour = hear_contour(at_16_khz(sound))
        yield Take(number, tune, click, notes, contour, voice.shift)


def at_16_khz(sound: Floats) -> Floats:
    """Return a sound at the rate of the ear, by other code than ours."""
    slower: Floats = signal.resample_poly(sound, 320, RATE * 320 // 16_000)
    return slower


def clicked_figure(take: Take) -> tuple[float, float, HeardLine]:
    """Return F of pitch and sixteenth, marks a note, and the line that was heard."""
    line = hear_line(take.contour, take.click)
    tune = set_on_paper(line, take.click, 0, RemarkList())
    wanted, heard = _places(take.tune, take.shift), _places(tune, 0)
    right = len(wanted & heard)
    marks = sum(remark.code in {"R07", "R08", "R09"} for remark in tune.remarks)
    return 2 * right / (len(wanted) + len(heard)), marks / len(wanted), line


def _places(tune: Tune, shift: int) -> set[tuple[Fraction, int]]:
    """Return where notes begin, and their pitch classes some semitones higher."""
    first = tune.bars[0]
    start = first.end if first.offset else Fraction(0)
    pitches = [(n.pitch.midi + shift) % 12 for n in tune.sounding if n.pitch]
    rows = zip(tune.sounding, pitches, strict=True)
    return {(note.onset - start, pitch) for note, pitch in rows}


def free_figure(take: Take) -> float:
    """Return F of pitch and length where nobody gave a beat."""
    free = take.click._replace(tempo=None)
    tune = set_on_paper(hear_line(take.contour, free), free, 0, RemarkList())
    heard = [
        (before.pitch.midi - take.shift, float(after.onset - before.onset))
        for before, after in pairwise(tune.sounding)
        if before.pitch
    ]
    best = 0.0
    for factor in (0.5, 1.0, 2.0):
        wanted = [
            (a.midi - take.shift, float(b.onset - a.onset) * factor)
            for a, b in pairwise(take.notes)
        ]
        matcher = SequenceMatcher(None, heard, wanted, autojunk=False)
        best = max(best, matcher.ratio())
    return best


def note_measures(take: Take, line: HeardLine) -> tuple[float, float]:
    """Return mir_eval's F by onset and pitch, and by the end too."""
    assert line.pulse
    second = line.pulse.second
    heard = [
        (second(note.place), max(second(note.end), second(note.place) + 0.01))
        for note in line.notes
    ]
    sung = [(note.start, note.end) for note in take.notes]
    pitches = [
        440 * 2 ** ((np.array([note.midi for note in notes], float) - 69) / 12)
        for notes in (take.notes, line.notes)
    ]
    figures = []
    for ratio in (None, 0.2):
        *_, f, _ = transcription.precision_recall_f1_overlap(
            np.array(sung), pitches[0], np.array(heard), pitches[1], offset_ratio=ratio
        )
        figures.append(float(f))
    return figures[0], figures[1]


def figures_of(voice: Voice, half: int = _ODD) -> SourceFigures:
    """Return the figures of a source, the mean of its tunes."""
    rows = []
    for take in takes(voice, half):
        clicked, marked, line = clicked_figure(take)
        onset, whole = note_measures(take, line)
        rows.append((clicked, free_figure(take), onset, whole, marked))
    return SourceFigures(*map(float, np.mean(rows, axis=0)))


def fitted_weights() -> Floats:
    """Return the weights that make the half that is fitted to likeliest."""
    xs: list[Floats] = []
    ys: list[Floats] = []
    sizes: list[Floats] = []
    for voice in VOICES:
        before = sum(map(len, ys))
        for take in takes(voice, _EVEN):
            x, y = _asked(take)
            xs.append(x)
            ys.append(y)
        count = sum(map(len, ys)) - before
        # Each source weighs the same, however many places it has.
        sizes += [np.full(count, 1 / count)]
    x, y, weight = np.vstack(xs), np.concatenate(ys), np.concatenate(sizes)
    weight /= weight.sum()
    # The price of a weight is the same in whatever unit its sign is told.
    unit = np.append(x[:, :-1].std(axis=0) + 1e-6, 1.0)
    x = x / unit

    def loss(w: Floats) -> tuple[float, Floats]:
        sums = x @ w
        value = np.sum(weight * (np.logaddexp(0, sums) - y * sums))
        slope = x.T @ (weight * (1 / (1 + np.exp(-sums)) - y))
        plain = np.append(w[:-1], 0.0)
        return value + _PENALTY * plain @ plain, slope + 2 * _PENALTY * plain

    start = np.zeros(x.shape[1])
    best: Floats = optimize.minimize(loss, start, jac=True, method="L-BFGS-B").x
    weights: Floats = np.round(best / unit, 2)
    return weights


def _asked(take: Take) -> tuple[Floats, Floats]:
    """Return what speaks for each place inside a held note, and whether it is one."""
    line = steps(take.contour)
    rows = signs(take.contour)
    begins = onsets(rows, line)
    crotchet = take.click.crotchet
    assert crotchet
    pulse = to_click(begins, crotchet, take.click)
    places = list(grid_places(line, begins, pulse, take.click.metre))
    first = take.tune.bars[0]
    start = first.end if first.offset else Fraction(0)
    again = {
        4 * (after.onset - start)
        for before, after in pairwise(take.notes)
        if before.midi == after.midi
    }
    struck = np.array([float(place.quarter in again) for place in places])
    return facts(take.contour, rows, line, places), struck


def main() -> None:
    """Print the table, or the weights."""
    out = sys.stdout
    if "--fit" in sys.argv:
        weights = fitted_weights().tolist()
        for start in range(0, len(weights), 8):
            end = start + 8
            out.write("    " + ", ".join(map(str, weights[start:end])) + ",\n")
        return
    out.write("| source | click | free | onset | onset, end | marks a note |\n")
    out.write("| --- | --- | --- | --- | --- | --- |\n")
    for voice in VOICES:
        row = " | ".join(f"{figure:.3f}" for figure in figures_of(voice))
        out.write(f"| {voice.name} | {row} |\n")
        out.flush()


if __name__ == "__main__":
    main()
