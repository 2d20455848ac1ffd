"""Thirty ways to play a right page rightly, and three hundred chords that are wrong.

Nothing here comes from the engine. A shape takes a right work of `outside_works` and
returns the same chords as another player would write them: every teacher gives full
marks for each. A wrong chord has no note of the tune while it lasts, or lies under a
long foreign one that does not go on into it by step.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from makers.outside_slips import Spot, spots
from makers.outside_works import (
    PAGES,
    Bar,
    Note,
    Work,
    bass,
    height,
    members,
    octave,
    right_work,
    shifted,
    under,
)

Shape = Callable[[Work], Work]


def each_left(change: Callable[[Spot, Note], Iterator[Note]]) -> Shape:
    """Change the left hand's note of each chord."""

    def shape(work: Work) -> Work:
        return work._replace(
            left=tuple(
                new
                for spot in spots(work)
                for note in work.left
                if spot.has(note)
                for new in change(spot, note)
            )
        )

    return shape


def each_inner(change: Callable[[Spot], Iterator[Note]]) -> Shape:
    """Change the inner notes of each chord."""

    def shape(work: Work) -> Work:
        return work._replace(
            inner=tuple(sorted(new for spot in spots(work) for new in change(spot)))
        )

    return shape


def struck_for(notes: list[Note], at: Fraction, end: Fraction) -> Iterator[Note]:
    """Yield notes that sound between two places, cut to them."""
    for note in notes:
        start, stop = max(note.at, at), min(note.end, end)
        if start < stop:
            yield Note(start, stop - start, note.name)


def cut_by(work: Work, notes: list[Note], step: Fraction) -> list[Note]:
    """Return notes struck anew at every step of their bars."""
    out: list[Note] = []
    for bar in work.bars:
        at = bar.at
        while at < bar.at + bar.length:
            stop = min(at + step, bar.at + bar.length)
            out += struck_for(notes, at, stop)
            at = stop
    return out


def octaves(_: Spot, note: Note) -> Iterator[Note]:
    low = octave(note.name, -1)
    yield from (note, note._replace(name=low)) if height(low) > 20 else (note,)


def lower(_: Spot, note: Note) -> Iterator[Note]:
    low = octave(note.name, -1)
    yield note._replace(name=low) if height(low) > 20 else note


def fifths(spot: Spot, note: Note) -> Iterator[Note]:
    yield note
    if not any(height(n.name) <= height(note.name) + 7 for n in spot.inner):
        yield note._replace(name=shifted(note.name, 4, 7))


def alternating(spot: Spot, note: Note) -> Iterator[Note]:
    half = note.length / 2
    yield note._replace(length=half)
    other = shifted(note.name, 4, 7)
    lowest = min(height(n.name) for n in spot.inner)
    name = other if height(other) < lowest else note.name
    yield Note(note.at + half, half, name)


def repeated(_: Spot, note: Note) -> Iterator[Note]:
    half = note.length / 2
    yield note._replace(length=half)
    yield Note(note.at + half, half, note.name)


def held(spot: Spot) -> Iterator[Note]:
    """Hold the shape under the first note while the tune stays in reach."""
    first = spot.tune[0]
    low = under(spot.chord, first.name)
    stop = next(
        (n.at for n in spot.tune if height(n.name) < height(low[-1])
         or height(n.name) - height(low[0]) > 12),
        spot.end,
    )  # fmt: skip
    yield from (Note(spot.at, stop - spot.at, name) for name in low)
    yield from struck_for(spot.inner, stop, spot.end)


def without_fifth(spot: Spot) -> Iterator[Note]:
    fifth = members(spot.chord)[2][:-1]
    yield from (n for n in spot.inner if n.name[:-1] != fifth)


def with_seventh(work: Work) -> Work:
    """Give each dominant before its tonic a minor seventh in place of its fifth."""
    done, rows = work, spots(work)
    for spot, after in pairwise(rows):
        root = spot.chord
        home = shifted(f"{root.removesuffix('m')}4", 3, 5)[:-1]
        fine = after.chord.removesuffix("m") == home and not root.endswith("m")
        fifth = members(root)[2][:-1]
        dominant = root == DOMINANTS[work.fifths, work.symbols[-1][1].endswith("m")]
        if not (fine and dominant) or len(spot.tune) > 1:
            continue
        if any(n.name[:-1] == fifth for n in spot.inner):
            new = [
                n._replace(name=shifted(n.name, 2, 3)) if n.name[:-1] == fifth else n
                for n in spot.inner
            ]
            if all(height(n.name) < height(spot.tune[0].name) for n in new):
                here = spot._replace(work=done).with_inner(*new)
                done = spot._replace(work=here).with_symbol(f"{root}7")
    return done


DOMINANTS = {
    (0, False): "G", (1, False): "D", (0, True): "E", (2, False): "A",
    (-1, False): "C", (-2, False): "F",
}  # fmt: skip


def first_inversion(work: Work) -> Work:
    """Put the third of the second chord's like into the bass, and say so."""
    spot = spots(work)[1]
    third = members(spot.chord)[1]
    here = spot.with_left(bass(spot.chord, 1))
    return spot._replace(work=here).with_symbol(f"{spot.chord}/{third[:-1]}")


def named_each_bar(work: Work) -> Work:
    rows = dict(work.symbols)
    for spot in spots(work):
        for bar in work.bars:
            if spot.at <= bar.at < spot.end:
                rows[bar.at] = spot.chord
    return work._replace(symbols=tuple(sorted(rows.items())))


def named_once(work: Work) -> Work:
    """Name a chord where it begins and not where it merely stays."""
    kept: list[tuple[Fraction, str]] = []
    for at, chord in work.symbols:
        if not kept or kept[-1][1] != chord:
            kept.append((at, chord))
    return work._replace(symbols=tuple(kept))


def tied(work: Work) -> Work:
    """Hold the left hand through where the chord stays."""
    left: list[Note] = []
    for note in work.left:
        if left and left[-1].name == note.name and left[-1].end == note.at:
            left[-1] = left[-1]._replace(length=left[-1].length + note.length)
        else:
            left.append(note)
    return work._replace(left=tuple(left))


def bars_after(work: Work) -> Work:
    """Let two empty bars follow; a last bar that a pickup made short is filled up."""
    size, last = Fraction(4 * work.beats, work.unit), work.bars[-1]
    rows = [(last.number + n, last.at + n * size) for n in range(3)]
    more = tuple(Bar(number, at, size) for number, at in rows)
    return work._replace(bars=(*work.bars[:-1], *more))


def left_chords(work: Work) -> Work:
    """Play the tune alone over whole close chords in the left hand."""
    left = tuple(
        Note(spot.at, spot.end - spot.at, name)
        for spot in spots(work)
        for root in [bass(spot.chord)]
        for minor in [spot.chord.endswith("m")]
        for name in (root, shifted(root, 2, 3 if minor else 4), shifted(root, 4, 7))
    )
    return work._replace(inner=(), left=left)


def doubled(spot: Spot) -> Iterator[Note]:
    """Add the octave of the tune below a chord that leaves room for it."""
    yield from spot.inner
    for note in spot.tune:
        low = octave(note.name, -1)
        root = members(spot.chord)[0][:-1]
        if note.name[:-1] == root and height(low) > height(bass(spot.chord)):
            yield note._replace(name=low)


def open_shape(work: Work) -> Work:
    """Let the upper inner note of the first chord drop an octave, as an open shape."""
    spot = spots(work)[0]
    top, low = spot.inner[1], octave(spot.inner[1].name, -1)
    wide = max(height(n.name) for n in spot.tune) - height(low)
    if wide > 12 or height(low) <= height(bass(spot.chord)):
        return work
    new = [n._replace(name=octave(n.name, -1)) if n.name == top.name else n
           for n in spot.inner]  # fmt: skip
    return spot.with_inner(*new)


def other_chords(chord: str, other: str) -> Shape:
    """Take another chord in the place of one wherever it holds the whole tune."""

    def shape(work: Work) -> Work:
        done = work
        for spot in spots(work)[:-1]:
            names = [name[:-1] for name in members(other)]
            fits = all(note.name[:-1] in names for note in spot.tune)
            if spot.chord == chord and fits:
                done = spot._replace(work=done).with_chord(other)
                break
        return done

    return shape


def both(*shapes: Shape) -> Shape:
    def shape(work: Work) -> Work:
        for one in shapes:
            work = one(work)
        return work

    return shape


def beats(count: Fraction, *, left: bool) -> Shape:
    """Strike a hand anew at every step."""

    def shape(work: Work) -> Work:
        notes = list(work.left if left else work.inner)
        new = tuple(sorted(cut_by(work, notes, count)))
        return work._replace(left=new) if left else work._replace(inner=new)

    return shape


ONE, TWO = Fraction(1), Fraction(2)
SHAPES: dict[str, Shape] = {
    "struck under each tune note": lambda work: work,
    "held under the moving tune": each_inner(held),
    "chords struck every beat": beats(ONE, left=False),
    "chords struck every two beats": beats(TWO, left=False),
    "left hand every beat": beats(ONE, left=True),
    "left hand every two beats": beats(TWO, left=True),
    "both hands every beat": both(beats(ONE, left=True), beats(ONE, left=False)),
    "left hand in octaves": each_left(octaves),
    "left hand an octave lower": each_left(lower),
    "root and fifth together": each_left(fifths),
    "root and fifth in turn": each_left(alternating),
    "root twice": each_left(repeated),
    "no fifth in the right hand": each_inner(without_fifth),
    "V7 for V": with_seventh,
    "one first inversion, named": first_inversion,
    "chords named in each bar": named_each_bar,
    "chords named where they change": named_once,
    "left hand tied over bar lines": tied,
    "empty bars at the end": bars_after,
    "tune alone over left-hand chords": left_chords,
    "the tune's octave in the chord": each_inner(doubled),
    "an open shape": open_shape,
    "vi for I": other_chords("C", "Am"),
    "iii for I": other_chords("C", "Em"),
    "vi for I in D": other_chords("D", "Bm"),
    "ii for IV": other_chords("F", "Dm"),
    "VI for i": other_chords("Am", "F"),
    "no key signature": lambda work: work._replace(fifths=0),
    "held, left hand in octaves": both(each_inner(held), each_left(octaves)),
    "held, root and fifth": both(each_inner(held), each_left(fifths)),
    "V7, held": both(with_seventh, each_left(repeated)),
}


class WrongChord(NamedTuple):
    """A work with one chord that does not go with the tune, well played and named."""

    page: str
    bar: int
    chord: str
    work: Work

    def __str__(self) -> str:
        """Return what is tried, to be read in a failing test."""
        return f"{self.page} {self.bar} {self.chord}"


ROOTS = ("C", "D", "Eb", "E", "F", "G", "A", "Bb", "B", "F#", "Ab", "C#")


def wrong_chords() -> Iterator[WrongChord]:
    """Yield chords that share no note with the tune, or only short ones of it."""
    for name, page in PAGES.items():
        work = right_work(page)
        for spot in spots(work):
            bar = next(b for b in work.bars if b.at <= spot.at < b.at + b.length)
            for root in ROOTS:
                for chord in (root, f"{root}m"):
                    if is_wrong(spot, chord):
                        yield WrongChord(
                            name, bar.number, chord, spot.with_chord(chord)
                        )


def is_wrong(spot: Spot, chord: str) -> bool:
    """Whether less than half of what the tune has is in a chord."""
    classes = {height(name) % 12 for name in members(chord)}
    inside = [note.length for note in spot.tune if height(note.name) % 12 in classes]
    return 2 * sum(inside) < spot.end - spot.at
