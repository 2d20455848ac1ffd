"""Slips between one chord and the next, planted by counting semitones.

Nothing here comes from the engine. A chord is laid in other keys of the same chord, the
left hand in another octave, a chord begins too early: what each slip is called stands
beside the count that makes it one.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations, pairwise
from typing import NamedTuple

from makers.outside_slips import Slip, Spot, spots
from makers.outside_works import (
    PAGES,
    REACH,
    Note,
    Page,
    Work,
    bass,
    height,
    members,
    octave,
    page,
    right_work,
    shifted,
    strikes,
)

STRICT_PAGES = {
    "G minor, strict": page(
        "G minor", "4/4", -2,
        "G5 - Bb5 - | F#5 - - - | G5 - Bb5 - | Eb5 - G5 - | F#5 - - - | Bb5 - - - | "
        "A5 - D5 - | G5 - - - |",
        "Gm | D | Gm | Cm | D | Gm | D | Gm",
    ),
    "A major, strict": page(
        "A", "4/4", 3,
        "E5 - A5 - | F#5 - D5 - | E5 - C#5 - | G#4 - - - | C#5 - E5 - | F#5 - - - | "
        "B5 - - - | A4 - - - |",
        "A | D | A | E | A | D | E | A",
    ),
}  # fmt: skip
"""Tunes whose dominants have the leading note on top, or go to a high third."""
TUNES: dict[str, Page] = {**PAGES, **STRICT_PAGES}
LOWEST, HIGHEST = 24, 43
"""C2 and G3, between which a left hand is planted."""


class Join(NamedTuple):
    """A chord with what sounds right before it and as it begins."""

    spot: Spot
    before: tuple[Note, ...]
    inner: tuple[Note, ...]
    tune: Note

    @property
    def shape(self) -> tuple[int, ...]:
        """How high the inner notes lie."""
        return tuple(height(note.name) for note in self.inner)

    @property
    def last(self) -> tuple[int, ...]:
        """How high those before them lay."""
        return tuple(height(note.name) for note in self.before)

    def with_shape(self, names: tuple[str, ...]) -> Work:
        """Return the work with other keys in the first strike of this chord."""
        rest = [n for n in self.spot.work.inner if n not in self.inner]
        rows = zip(self.inner, names, strict=True)
        new = [note._replace(name=name) for note, name in rows]
        return self.spot.work._replace(inner=tuple(sorted([*rest, *new])))


def joins(work: Work) -> Iterator[Join]:
    """Yield each change of chord between two shapes of two inner notes."""
    for old, spot in pairwise(spots(work)):
        before = upward(n for n in work.inner if n.end == spot.at)
        inner = upward(n for n in work.inner if n.at == spot.at)
        tune = next(n for n in work.tune if n.at <= spot.at < n.end)
        if old.chord != spot.chord and len(before) == len(inner) == 2:
            yield Join(spot, before, inner, tune)


def upward(notes: Iterator[Note]) -> tuple[Note, ...]:
    return tuple(sorted(notes, key=lambda note: height(note.name)))


def shapes(join: Join) -> Iterator[tuple[str, ...]]:
    """Yield the other whole pairs under the tune, in reach, with one leading note."""
    spot, stop = join.spot, join.inner[0].end
    over = [height(n.name) for n in spot.work.tune if n.at < stop and n.end > spot.at]
    names = [octave(name, up) for name in members(spot.chord) for up in (-2, -1, 0, 1)]
    floor = max(max(over) - REACH, height(bass(spot.chord)) + 3)
    inside = [n for n in names if floor <= height(n) < min(over)]
    root, third, fifth = (name[:-1] for name in members(spot.chord))
    for pair in combinations(sorted(inside, key=height), 2):
        letters = [name[:-1] for name in (*pair, join.tune.name)]
        whole = {root, third, fifth} == {*letters, root}
        leads = spot.chord == dominant(spot.work) and letters.count(third) > 1
        if whole and not leads and heights(pair) != join.shape:
            yield pair


def heights(names: tuple[str, ...]) -> tuple[int, ...]:
    return tuple(height(name) for name in names)


def way(old: tuple[int, ...], new: tuple[int, ...]) -> int:
    """Return how many semitones two voices move in all."""
    return sum(abs(b - a) for a, b in zip(old, new, strict=True))


def voices(work: Work, at: Fraction, *, before: bool) -> list[int]:
    """Return how high bass, inner notes and tune lie as a chord ends, or begins."""
    rows = (work.left, work.inner, work.tune)
    here = [
        [n for n in row if (n.at < at <= n.end if before else n.at <= at < n.end)]
        for row in rows
    ]
    return [height(note.name) for row in here for note in upward(iter(row))]


def parallels(work: Work) -> list[Fraction]:
    """Return where two voices go the same way from fifth to fifth, octave to octave."""
    places = []
    for before, spot in pairwise(spots(work)):
        old, new = (voices(work, spot.at, before=flag) for flag in (True, False))
        if before.chord == spot.chord or len(old) != len(new):
            continue
        for low, high in combinations(range(len(old)), 2):
            was, now = (row[high] - row[low] for row in (old, new))
            same = (new[low] - old[low]) * (new[high] - old[high]) > 0
            # The octave of the tune below it is the tune again.
            doubled = was == now == REACH and high == len(old) - 1 and low
            if same and was % 12 == now % 12 in (0, 7) and not doubled:
                places.append(spot.at)
    return places


def further(work: Work) -> Iterator[tuple[str, Fraction, Work]]:
    """Yield shapes that lie further away: a common tone is lost, or none was."""
    for join in joins(work):
        near = way(join.last, join.shape)
        kept = [n for n in (0, 1) if join.last[n] == join.shape[n]]
        done = set()
        for pair in shapes(join):
            there = heights(pair)
            lost = any(there[n] != join.last[n] for n in kept)
            kind = "common tone lost" if lost else "voice moved too far"
            changed = join.with_shape(pair)
            clean = len(parallels(changed)) >= len(parallels(work))
            if way(join.last, there) > near and clean and kind not in done:
                done.add(kind)
                yield kind, join.spot.at, changed


def too_early(work: Work) -> Iterator[tuple[str, Fraction, Work]]:
    """Yield chords that begin within the bar before and stay over the bar line."""
    step = Fraction(4, work.unit)
    for spot, after in pairwise(spots(work)[:-1]):
        half = spot.end - step * (work.beats // 2 if work.beats % 3 else 1)
        if work.beats == 6:
            half = spot.end - 3 * step
        rest = [n for n in spot.tune if n.at >= half]
        names = [name[:-1] for name in members(after.chord)]
        fits = all(note.name[:-1] in names for note in rest)
        bars = {bar.at for bar in work.bars}
        whole = spot.at in bars and after.at in bars and after.chord != spot.chord
        begin = [n for n in spot.tune if n.at < half]
        if not (rest and begin and rest[0].at == half and fits and whole):
            continue
        inner = [
            *strikes(spot.chord, begin, half), *strikes(after.chord, rest, spot.end)
        ]  # fmt: skip
        left = [
            Note(spot.at, half - spot.at, bass(spot.chord)),
            Note(half, spot.end - half, bass(after.chord)),
        ]
        done = spot.with_inner(*inner)
        others = [note for note in done.left if not spot.has(note)]
        symbols = [row for row in done.symbols if row[0] != after.at]
        yield (
            "chord begun too early",
            after.at,
            done._replace(
                left=tuple(sorted([*others, *left])),
                symbols=tuple(sorted([*symbols, (half, after.chord)])),
            ),
        )


def in_parallel(work: Work) -> Iterator[tuple[str, Fraction, Work]]:
    """Yield left-hand notes an octave away that move in parallel with the right."""
    usual = set(parallels(work))
    for spot in spots(work)[1:]:
        low = min(HIGHEST, *(height(note.name) - 3 for note in spot.inner))
        for up in (1, -1):
            name = octave(bass(spot.chord), up)
            done = spot.with_left(name)
            inside = LOWEST <= height(name) <= low
            if inside and {*usual, spot.at} == set(parallels(done)) > usual:
                yield "parallels", spot.at, done


def leading_note_twice(work: Work) -> Iterator[tuple[str, Fraction, Work]]:
    """Yield dominants with the leading note under the tune's own."""
    for join in joins(work):
        low = octave(join.tune.name, -1)
        leading = low[:-1] == members(dominant(work))[1][:-1]
        if join.spot.chord != dominant(work) or not leading:
            continue
        root = [n.name for n in join.inner if n.name[:-1] == join.spot.chord]
        clear = height(low) > height(bass(join.spot.chord)) + 2
        done = join.with_shape((low, *root)) if len(root) == 1 else work
        if done != work and clear and parallels(done) == parallels(work):
            yield "leading note twice", join.spot.at, done


def dominant(work: Work) -> str:
    """Return the major chord a fifth above the last one."""
    return shifted(f"{work.symbols[-1][1].removesuffix('m')}4", 4, 7)[:-1]


def seventh_left(work: Work) -> Iterator[tuple[str, Fraction, Work]]:
    """Yield dominants with a seventh below which the next chord has no note."""
    for join in joins(work):
        old = next(s for s in spots(work) if s.end == join.spot.at)
        home = work.symbols[-1][1]
        if (old.chord, join.spot.chord) != (dominant(work), home):
            continue
        third = members(old.chord)[1][:-1]
        for note in join.before:
            seventh = shifted(octave(members(old.chord)[0], -1), 6, 10)
            names = [seventh, octave(seventh, 1)]
            others = [n for n in join.before if n != note]
            fits = [
                name
                for name in names
                if abs(height(name) - height(note.name)) < 5
                and height(name) < min(height(n.name) for n in old.tune)
                and third in {n.name[:-1] for n in (*others, *old.tune[-1:])}
                and note.at == old.at
            ]
            above = {height(join.tune.name), *join.shape}
            last = heights(tuple(n.name for n in work.inner if n.end == old.at))
            for name in fits:
                new = [n._replace(name=name) if n == note else n for n in old.inner]
                there = sorted(heights(tuple(n.name for n in new)))
                longer = way(last, tuple(there)) > way(
                    last, tuple(sorted(height(n.name) for n in join.before))
                )
                if above & {height(name) - 1, height(name) - 2} or longer:
                    continue
                done = old._replace(work=old.with_inner(*new))
                wrong = done.with_symbol(f"{old.chord}7")
                if set(parallels(wrong)) <= set(parallels(work)):
                    yield "seventh left", join.spot.at, wrong


KINDS = {
    "common tone lost": ("M04", "M05"),
    "voice moved too far": ("M05", ""),
    "chord begun too early": ("M14", ""),
    "parallels": ("M17", ""),
    "leading note twice": ("M18", ""),
    "seventh left": ("M18", ""),
}
"""What the trade calls each slip, and what it tells with it at no cost."""
STRICTLY = ("M17", "M18")
"""What costs in strict style alone."""
ROUGH = "D major"
"""A page that has parallels itself where others would have none."""
MAKERS = (further, too_early, in_parallel, leading_note_twice, seventh_left)


def joining_slips() -> Iterator[Slip]:
    """Yield every slip of joining at every place where its page has room for it."""
    for name, typed in TUNES.items():
        work = right_work(typed)
        for make in MAKERS:
            for kind, at, wrong in make(work):
                code, beside = KINDS[kind]
                bar = next(b for b in work.bars if b.at <= at < b.at + b.length)
                strict = code in STRICTLY
                slip = Slip(name, kind, bar.number, code, wrong, beside, strict)
                if not (strict and name == ROUGH):
                    yield slip
