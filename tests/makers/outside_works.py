"""Right works and works with one slip, made by simple string and number work.

Nothing here comes from the engine: no chord, no rule, no shape, no reader. Tunes and
chords are typed as a teacher writes them on a board, hands are laid under the tune by
counting letters, and what each slip is called stands in a table made by hand from the
trade's list of faults. Times are crotchets from the start.
"""

from collections.abc import Callable, Iterator
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
        return self.at + self.length


class Bar(NamedTuple):
    """A bar line to the next one; a pickup has the number 0."""

    number: int
    at: Fraction
    length: Fraction


class Work(NamedTuple):
    """What a pupil wrote: the tune, what else each hand has, the symbols.

    `beats` over `unit` is the metre; symbols stand at their places.
    """

    fifths: int
    beats: int
    unit: int
    bars: tuple[Bar, ...]
    tune: tuple[Note, ...]
    inner: tuple[Note, ...]
    left: tuple[Note, ...]
    symbols: tuple[tuple[Fraction, str], ...]

    @property
    def end(self) -> Fraction:
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
        lower = min((n.name for n in [*group, note]), key=height)
        if group and (note.name[:-1] in names or height(lower) < height(group[0].name)):
            if note.name != group[0].name:
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


class Spot(NamedTuple):
    """One chord of a right work and what stands in it."""

    at: Fraction
    end: Fraction
    chord: str
    work: Work

    def has(self, note: Note) -> bool:
        return self.at <= note.at < self.end

    @property
    def inner(self) -> list[Note]:
        return [note for note in self.work.inner if self.has(note)]

    @property
    def tune(self) -> list[Note]:
        return [note for note in self.work.tune if self.has(note)]

    def with_inner(self, *new: Note) -> Work:
        """Return the work with other inner notes in this chord."""
        rest = [note for note in self.work.inner if not self.has(note)]
        return self.work._replace(inner=tuple(sorted([*rest, *new])))

    def with_left(self, *names: str) -> Work:
        rest = [note for note in self.work.left if not self.has(note)]
        new = [Note(self.at, self.end - self.at, name) for name in names]
        return self.work._replace(left=tuple(sorted([*rest, *new])))

    def with_symbol(self, *name: str) -> Work:
        rest = [row for row in self.work.symbols if row[0] != self.at]
        rows = sorted([*rest, *((self.at, own) for own in name)])
        return self.work._replace(symbols=tuple(rows))

    def with_tune(self, old: Note, new: Note) -> Work:
        tune = [new if note == old else note for note in self.work.tune]
        return self.work._replace(tune=tuple(tune))

    def with_chord(self, chord: str) -> Work:
        """Return the work with another chord here, rightly played and named."""
        work = self.with_inner(*strikes(chord, self.tune, self.end))
        rest = self._replace(work=work, chord=chord)
        return rest._replace(work=rest.with_left(bass(chord))).with_symbol(chord)

    def third(self, name: str) -> bool:
        return name[:-1] == members(self.chord)[1][:-1]


def spots(work: Work) -> list[Spot]:
    ends = [*(at for at, _ in work.symbols[1:]), work.end]
    rows = zip(work.symbols, ends, strict=True)
    return [Spot(at, end, chord, work) for (at, chord), end in rows]


Change = Callable[[Spot], Iterator[Work]]


def wrong_note(spot: Spot) -> Iterator[Work]:
    """Yield the work with the root a step too high or the fifth a step too low."""
    for member, steps in ((0, 1), (2, -1)):
        name = members(spot.chord)[member][:-1]
        new = [
            note._replace(name=shifted(note.name, steps, 2 * steps))
            if note.name[:-1] == name
            else note
            for note in spot.inner
        ]
        reach = max(height(n.name) for n in spot.tune) - height(new[0].name)
        low = height(new[0].name) - height(bass(spot.chord))
        if new != spot.inner and reach <= REACH and low > 2:
            yield spot.with_inner(*new)


def third_missing(spot: Spot) -> Iterator[Work]:
    if not any(spot.third(note.name) for note in spot.tune):
        kept = [note for note in spot.inner if not spot.third(note.name)]
        yield spot.with_inner(*kept)


def wrong_root(spot: Spot) -> Iterator[Work]:
    yield spot.with_left(bass(spot.chord, 2))


def third_in_bass(spot: Spot) -> Iterator[Work]:
    yield spot.with_left(bass(spot.chord, 1))


def inner_over_tune(spot: Spot) -> Iterator[Work]:
    low, *others = spot.inner
    yield spot.with_inner(low._replace(name=octave(low.name, 1)), *others)


def crossed(spot: Spot) -> Iterator[Work]:
    up = next(up for up in range(1, 5)
              if height(octave(bass(spot.chord), up)) > height(spot.inner[0].name))  # fmt: skip
    yield spot.with_left(octave(bass(spot.chord), up))


def stretched(spot: Spot) -> Iterator[Work]:
    low, *others = spot.inner
    name = octave(low.name, -1)
    if height(name) > height(bass(spot.chord)) and len(spot.inner) == 2:
        yield spot.with_inner(low._replace(name=name), *others)


def misspelled(spot: Spot) -> Iterator[Work]:
    for note in spot.inner:
        sharp = "#" in note.name
        if sharp or "b" in note.name[1:]:
            name = shifted(note.name, 1 if sharp else -1, 0)
            others = [own for own in spot.inner if own != note]
            yield spot.with_inner(note._replace(name=name), *others)
            return


def unraised(spot: Spot) -> Iterator[Work]:
    tops = [note.name[:-1] for note in spot.tune]
    names = [note.name[:-1] for note in spot.inner]
    if spot.chord == "E" and "G#" in names and "G#" not in tops:
        new = [note._replace(name=note.name.replace("#", "")) for note in spot.inner]
        yield spot.with_inner(*new)


def wrong_symbol(spot: Spot) -> Iterator[Work]:
    root = shifted(f"{spot.chord.removesuffix('m')}4", 1, 2)[:-1]
    yield spot.with_symbol(f"{root}m")


def no_symbol(spot: Spot) -> Iterator[Work]:
    # The symbol before it goes on, and is then a wrong one.
    before = [chord for at, chord in spot.work.symbols if at < spot.at]
    if before and before[-1] != spot.chord:
        yield spot.with_symbol()


def left_too_short(spot: Spot) -> Iterator[Work]:
    short = [note._replace(length=note.length / 2) if spot.has(note) else note
             for note in spot.work.left]  # fmt: skip
    yield spot.work._replace(left=tuple(short))


def tune_too_short(spot: Spot) -> Iterator[Work]:
    note = spot.tune[-1]
    if note.length >= 2:
        yield spot.with_tune(note, note._replace(length=note.length / 2))


def tune_pitch(spot: Spot) -> Iterator[Work]:
    note = spot.tune[0]
    up = shifted(note.name, 2, 4)
    if height(up) - height(spot.inner[0].name) <= REACH:
        yield spot.with_tune(note, note._replace(name=up))


SLIPS: dict[str, tuple[str, Change]] = {
    "inner note over the tune": ("M01", inner_over_tune),
    "wrong inner note": ("M02", wrong_note),
    "third missing": ("M03", third_missing),
    "fifth in the bass": ("M06", wrong_root),
    "third in the bass": ("M06", third_in_bass),
    "stretch": ("M07", stretched),
    "crossed hands": ("M08", crossed),
    "wrong symbol": ("M10", wrong_symbol),
    "no symbol": ("M10", no_symbol),
    "spelling": ("M11", misspelled),
    "seventh not raised": ("M12", unraised),
    "left hand too short": ("M19", left_too_short),
    "tune note too short": ("M19", tune_too_short),
    "tune note altered": ("M20", tune_pitch),
}
"""What the trade calls each slip."""
CHORDS = (
    ("C major", 5, "M13", "G"), ("C major", 2, "M13", "F"), ("C major", 8, "M15", "Am"),
    ("C major", 3, "M16", "F"), ("G major", 1, "M13", "C"), ("G major", 4, "M13", "C"),
    ("A minor", 3, "M16", "Dm"), ("A minor", 2, "M13", "Am"),
    ("D major", 1, "M13", "A"), ("D major", 8, "M15", "Bm"),
    ("F major", 2, "M13", "Am"), ("F major", 8, "M15", "Dm"),
    ("B flat major", 4, "M13", "F"), ("B flat major", 8, "M15", "Gm"),
)  # fmt: skip
"""Slips in the choice of chords: the page, the bar, the fault, the wrong chord."""
CHORD_SLIPS = {"M13": "chord not holding the tune", "M15": "no close", "M16": "V to IV"}


class Slip(NamedTuple):
    """A work with one slip: its page, kind, bar, what the trade calls it."""

    page: str
    kind: str
    bar: int
    code: str
    work: Work

    def __str__(self) -> str:
        return f"{self.page} {self.bar} {self.kind}"


def slips() -> Iterator[Slip]:
    """Yield every slip at every place where its page has room for it."""
    for name, typed in PAGES.items():
        work = right_work(typed)
        for spot in spots(work):
            bar = next(b.number for b in work.bars if b.at <= spot.at < b.at + b.length)
            for kind, (code, change) in SLIPS.items():
                for wrong in change(spot):
                    yield Slip(name, kind, bar, code, wrong)
            for where, number, code, chord in CHORDS:
                if (where, number) == (name, bar):
                    wrong = spot.with_chord(chord)
                    yield Slip(name, CHORD_SLIPS[code], bar, code, wrong)
