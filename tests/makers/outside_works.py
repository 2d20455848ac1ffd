"""Right works, made by simple string and number work.

Nothing here comes from the engine: no chord, no rule, no shape, no reader. Tunes and
chords are typed as a teacher writes them on a board, and hands are laid under the tune
by counting letters. Times are crotchets from the start.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

LETTERS = "CDEFGAB"
HEIGHTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
REACH = 12
"""Semitones that a right hand spans."""


class Note(NamedTuple):
    """A note: where it begins, how long it lasts, its name and octave."""

    at: Fraction
    length: Fraction
    name: str

    @property
    def end(self) -> Fraction:
        """When it stops."""
        return self.at + self.length


class Bar(NamedTuple):
    """A bar line to the next one; a pickup has the number 0."""

    number: int
    at: Fraction
    length: Fraction


class Work(NamedTuple):
    """What a pupil wrote: the tune, what else each hand has, the symbols.

    `beats` over `unit` is the metre; symbols and other words stand at their places.
    """

    fifths: int
    beats: int
    unit: int
    bars: tuple[Bar, ...]
    tune: tuple[Note, ...]
    inner: tuple[Note, ...]
    left: tuple[Note, ...]
    symbols: tuple[tuple[Fraction, str], ...]
    words: tuple[tuple[Fraction, str], ...] = ()

    @property
    def end(self) -> Fraction:
        """Where the work is over."""
        return self.bars[-1].at + self.bars[-1].length


class Page(NamedTuple):
    """A tune as typed, the signature of its key, and the chords of its bars.

    A bar has one chord or, with a comma, one for each half.
    """

    tune: str
    fifths: int
    chords: str


def page(key: str, time: str, fifths: int, music: str, chords: str) -> Page:
    return Page(f"Key: {key}\nTime: {time}\n{music}\n", fifths, chords)


PAGES = {
    "C major": page(
        "C", "4/4", 0,
        "E5 - G5 E5 | D5 - B4 - | C5 - - - | D5 - B4 D5 | "
        "F5 - A5 F5 | E5 - C5 - | D5 E5 D5 B4 | C5 - - - |",
        "C | G | C | G | F | C | G | C",
    ),
    "G major": page(
        "G", "3/4", 1,
        "D5 | B4 - D5 | E5 - C5 | D5 - B4 | A4 - D5 | G5 - D5 | E5 - C5 | "
        "A4 - F#4 | G4 - |",
        "- | G | C | G | D | G | C | D | G",
    ),
    "A minor": page(
        "A minor", "4/4", 0,
        "C5 - E5 - | B4 - - - | A4 - - - | B4 - E5 - | D5 - F5 - | C5 - E5 - | "
        "B4 - G#4 - | A4 - - - |",
        "Am | E | Am | E | Dm | Am | E | Am",
    ),
    "D major": page(
        "D", "6/8", 2,
        "F#5 - D5 A5 - F#5 | E5 - C#5 A4 - C#5 | D5 - F#5 D5 - A4 | E5 - - - - - | "
        "G5 - B5 G5 - D5 | F#5 - D5 A4 - D5 | C#5 - E5 C#5 - A4 | D5 - - - - - |",
        "D | A | D | A | G | D | A | D",
    ),
    "F major": page(
        "F", "2/4", -1,
        "A4 C5 | F5 - | D5 Bb4 | C5 - | F5 A5 | D5 F5 | C5 E5 | F5 - |",
        "F | F | Bb | F | F | Bb | C | F",
    ),
    "B flat major": page(
        "Bb", "4/4", -2,
        "D5 - Eb5 - | F5 - D5 - | C5 - F5 - | D5 - - - | G5 - Eb5 - | F5 - D5 - | "
        "C5 - A4 - | Bb4 - - - |",
        "Bb,Eb | Bb | F | Bb | Eb | Bb | F | Bb",
    ),
}  # fmt: skip


def height(note: str) -> int:
    """Return how many semitones a note lies above C0."""
    letter, octave = note[0], int(note[-1])
    signs = note.count("#") - note[1:].count("b")
    return 12 * octave + HEIGHTS[letter] + signs


def shifted(name: str, steps: int, semitones: int) -> str:
    """Return the note some letters and semitones higher."""
    place = LETTERS.index(name[0]) + steps
    letter, octave = LETTERS[place % 7], int(name[-1]) + place // 7
    signs = height(name) + semitones - height(f"{letter}{octave}")
    return f"{letter}{'#' * signs if signs > 0 else 'b' * -signs}{octave}"


def members(chord: str) -> list[str]:
    """Return root, third and fifth of a chord as names in octave 4."""
    root = f"{chord.removesuffix('m')}4"
    third = shifted(root, 2, 3 if chord.endswith("m") else 4)
    return [root, third, shifted(root, 4, 7)]


def octave(name: str, up: int) -> str:
    return f"{name[:-1]}{int(name[-1]) + up}"


def under(chord: str, top: str) -> list[str]:
    """Return the two chord notes next below a note, the lower one first."""
    every = [octave(name, up) for name in members(chord) for up in range(-3, 3)]
    return sorted((n for n in every if height(n) < height(top)), key=height)[-2:]


def bass(chord: str, member: int = 0) -> str:
    """Return a member of a chord as the left hand has it, from F2 to E3."""
    name = members(chord)[member]
    return next(n for up in (-3, -2, -1) if height(n := octave(name, up)) >= 29)


def tune_of(page: Page) -> tuple[tuple[Note, ...], tuple[Bar, ...], int, int]:
    """Return notes and bars of a typed tune: a word a beat, "-" for one more beat."""
    _, time, music = page.tune.strip().split("\n")
    beats, unit = map(int, time.removeprefix("Time: ").split("/"))
    step, at = Fraction(4, unit), Fraction(0)
    notes: list[Note] = []
    bars: list[Bar] = []
    pickup = len(music.split("|")[0].split()) < beats
    for bar in filter(None, (part.strip() for part in music.split("|"))):
        bars.append(Bar(len(bars) + (not pickup), at, len(bar.split()) * step))
        for word in bar.split():
            if word == "-":
                notes[-1] = notes[-1]._replace(length=notes[-1].length + step)
            else:
                notes.append(Note(at, step, word))
            at += step
    return tuple(notes), tuple(bars), beats, unit


def slots_of(page: Page) -> list[tuple[Fraction, Fraction, str]]:
    """Return where each chord begins and ends, and its name."""
    rows = []
    names = [part.strip() for part in page.chords.split("|")]
    for bar, text in zip(tune_of(page)[1], names, strict=True):
        parts = text.split(",")
        size = bar.length / len(parts)
        rows += [
            (bar.at + n * size, bar.at + (n + 1) * size, chord)
            for n, chord in enumerate(parts)
            if chord != "-"
        ]
    return rows


def strikes(chord: str, notes: list[Note], end: Fraction) -> Iterator[Note]:
    """Yield the inner notes of a chord, struck close under each of its tune notes.

    They are held while the tune keeps to one note or passes through others.
    """
    group: list[Note] = []
    names = [member[:-1] for member in members(chord)]
    for note in notes:
        lower = bool(group) and height(note.name) < height(group[0].name)
        same = bool(group) and note.name == group[0].name
        if group and not same and (lower or note.name[:-1] in names):
            yield from struck(chord, group, note.at)
            group = []
        group.append(note)
    yield from struck(chord, group, end)


def struck(chord: str, group: list[Note], end: Fraction) -> Iterator[Note]:
    at = group[0].at
    for name in under(chord, group[0].name):
        yield Note(at, end - at, name)


def right_work(page: Page) -> Work:
    """Return the right work: close chords under the tune, roots in the left hand."""
    tune, bars, beats, unit = tune_of(page)
    inner: list[Note] = []
    left, symbols = [], []
    for at, end, chord in slots_of(page):
        notes = [note for note in tune if at <= note.at < end]
        inner += strikes(chord, notes, end)
        left.append(Note(at, end - at, bass(chord)))
        symbols.append((at, chord))
    return Work(page.fifths, beats, unit, bars, tune, tuple(inner), tuple(left),
                tuple(symbols))  # fmt: skip
