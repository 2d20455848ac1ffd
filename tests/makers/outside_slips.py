"""Right works with one slip, made by simple string and number work.

Nothing here comes from the engine. What each slip is called stands in a table made by
hand from the trade's list of faults.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from makers.outside_works import (
    PAGES,
    REACH,
    Note,
    Work,
    bass,
    height,
    members,
    octave,
    right_work,
    shifted,
    strikes,
)


class Spot(NamedTuple):
    """One chord of a right work and what stands in it."""

    at: Fraction
    end: Fraction
    chord: str
    work: Work

    def has(self, note: Note) -> bool:
        """Whether a note begins in this chord."""
        return self.at <= note.at < self.end

    @property
    def inner(self) -> list[Note]:
        """The inner notes of this chord."""
        return [note for note in self.work.inner if self.has(note)]

    @property
    def tune(self) -> list[Note]:
        """The tune notes over this chord."""
        return [note for note in self.work.tune if self.has(note)]

    def with_inner(self, *new: Note) -> Work:
        """Return the work with other inner notes in this chord."""
        rest = [note for note in self.work.inner if not self.has(note)]
        return self.work._replace(inner=tuple(sorted([*rest, *new])))

    def with_left(self, *names: str) -> Work:
        """Return the work with other notes in the left hand here."""
        rest = [note for note in self.work.left if not self.has(note)]
        new = [Note(self.at, self.end - self.at, name) for name in names]
        return self.work._replace(left=tuple(sorted([*rest, *new])))

    def with_symbol(self, *name: str) -> Work:
        """Return the work with another chord name here, or none."""
        rest = [row for row in self.work.symbols if row[0] != self.at]
        rows = sorted([*rest, *((self.at, own) for own in name)])
        return self.work._replace(symbols=tuple(rows))

    def with_tune(self, old: Note, new: Note) -> Work:
        """Return the work with one tune note replaced."""
        tune = [new if note == old else note for note in self.work.tune]
        return self.work._replace(tune=tuple(tune))

    def with_chord(self, chord: str) -> Work:
        """Return the work with another chord here, rightly played and named."""
        work = self.with_inner(*strikes(chord, self.tune, self.end))
        rest = self._replace(work=work, chord=chord)
        return rest._replace(work=rest.with_left(bass(chord))).with_symbol(chord)

    def third(self, name: str) -> bool:
        """Whether a note is the third of this chord."""
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
    low, root = height(spot.inner[0].name), bass(spot.chord)
    up = next(up for up in range(1, 5) if height(octave(root, up)) > low)
    yield spot.with_left(octave(root, up))


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
    ("A minor", 3, "M16", "Dm"), ("A minor", 2, "M13", "Dm"),
    ("D major", 1, "M13", "A"), ("D major", 8, "M15", "Bm"),
    ("F major", 2, "M13", "Am"), ("F major", 8, "M15", "Dm"),
    ("B flat major", 4, "M13", "F"), ("B flat major", 8, "M15", "Gm"),
)  # fmt: skip
"""Slips in the choice of chords: the page, the bar, the fault, the wrong chord."""
CHORD_SLIPS = {"M13": "chord not holding the tune", "M15": "no close", "M16": "V to IV"}


class Slip(NamedTuple):
    """A work with one slip: its page, kind, bar, what the trade calls it.

    `beside` is told with it and costs nothing; `strict` is what it costs in alone.
    """

    page: str
    kind: str
    bar: int
    code: str
    work: Work
    beside: str = ""
    strict: bool = False

    def __str__(self) -> str:
        return f"{self.page} {self.bar} {self.kind}"

    @property
    def told(self) -> set[tuple[str, int]]:
        """What is to be told of it: codes, each in its bar."""
        return {(code, self.bar) for code in (self.code, self.beside) if code}


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
