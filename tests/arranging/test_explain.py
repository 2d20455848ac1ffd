"""Every sentence of a reason is worked out again from the tune and the chords alone.

Nothing of the explainer is used here: notes, bars and chords are taken from the
arrangement, and each clause is read back and checked against them: it holds for the
chosen chord, and for the one beside it it does not.
"""

import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.corpus import tunes_of
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.arranging.job import arrange
from harmonise.choice.palette import palette
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    Slot,
    Style,
    Texture,
)
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.pitch import PitchName, parse_name
from harmonise.theory.tune import Bar, Tune, TuneNote

TUNES = sorted((Path(__file__).parents[2] / "tunes").iterdir())
CHORD = r"[A-G][^\s,.;:]*"
NOTE = r"[A-G](?:##|bb|#|b)?"
STYLES = st.tuples(
    st.integers(1, 4),
    st.sampled_from([HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR, HarmonicRhythm.BEAT]),
).map(lambda row: Style(*row))


class Book:
    """The facts of an arrangement, looked up anew."""

    def __init__(self, done: Arrangement) -> None:
        """Keep the arrangement."""
        self.done, self.tune = done, done.tune
        self.slots = [slot for slot in done.slots if slot.chord]

    def inside(self, start: Fraction, end: Fraction) -> list[TuneNote]:
        """Return the tune notes that sound between two onsets."""
        sounding = self.tune.sounding
        return [note for note in sounding if note.onset < end and note.end > start]

    def names(self, slot: Slot) -> list[str]:
        """Return the names of the tune notes in a slot, each once."""
        inside = self.inside(slot.onset, slot.end)
        pitches = [note.pitch for note in inside]
        return list(dict.fromkeys(str(pitch.name) for pitch in pitches if pitch))

    def near(self, at: int) -> Slot | None:
        """Return a slot by its number, None outside."""
        return self.slots[at] if 0 <= at < len(self.slots) else None

    def onward(self, at: int) -> Slot | None:
        """Return the first later slot with another chord."""
        chord = self.slots[at].chord
        return next((slot for slot in self.slots[at:] if slot.chord != chord), None)

    def time_in(self, chord: Chord, start: Fraction, end: Fraction) -> Fraction:
        """Return for how many crotchets the tune is in a chord between two onsets."""
        total = Fraction(0)
        for note in self.inside(start, end):
            if note.pitch and note.pitch.pitch_class in chord.pitch_classes:
                total += min(note.end, end) - max(note.onset, start)
        return total

    def bar_text(self, bar: Bar) -> list[tuple[object, ...]]:
        """Return the notes and rests of a bar, counted from its bar line."""
        return [
            (
                note.pitch,
                max(note.onset, bar.start) - bar.start,
                min(note.end, bar.end) - bar.start,
            )
            for note in self.tune.notes
            if note.onset < bar.end and note.end > bar.start
        ]

    def without_pickup(self, before: list[TuneNote], line: Fraction) -> list[TuneNote]:
        """Leave out what leads to the next line where the tune begins so as well."""
        first = self.tune.bars[0]
        bars = [bar for bar in self.tune.bars if bar.end == line and not bar.offset]
        if not first.offset or not bars or bars[0].length != bars[0].time.bar_length:
            return before
        rest = [n for n in before if n.onset < line - first.length]
        starts = {n.onset for n in before}
        return rest if line - first.length in starts else before

    @cached_property
    def line_ends(self) -> dict[int, int]:
        """The slots in which the last note of a line is struck, and its degree."""
        found = {}
        for line in self.tune.phrases[:-1]:
            before = [n for n in self.tune.sounding if n.onset < line]
            before = self.without_pickup(before, line)
            if not before or before[-1].end <= self.slots[0].onset:
                continue
            struck = max(before[-1].onset, self.slots[0].onset)
            at = max(n for n, s in enumerate(self.slots) if s.onset <= struck)
            pitch = before[-1].pitch
            assert pitch
            found[at] = self.slots[at].key.degree(pitch.name)[0]
        return found


def holds(symbol: str, name: str) -> bool:
    """Whether a chord has a note; an odd tune's B# counts as C."""
    return parse_name(name).pitch_class in parse_symbol(symbol).pitch_classes


def listed(text: str | None) -> list[str]:
    return re.split(r", | and | or ", text) if text else []


def bare(numeral: str) -> str:
    """Return a numeral without its figures: V for V7 and V6/5."""
    return re.sub(r"[\d]+(/\d+)?", "", numeral)


def is_home(numeral: str) -> bool:
    return bare(numeral) in ("I", "i") and numeral[1:] != "6/4"


def is_v(numeral: str) -> bool:
    return bare(numeral) == "V"


def is_back(before: str, after: str) -> bool:
    return is_v(before) and bare(after) in ("IV", "iv", "ii", "ii°", "iiø")


def falls(seventh: PitchName, chord: Chord) -> list[str]:
    """Return the notes of a chord a step under a seventh."""
    under = [
        name
        for name in chord.members
        if (seventh.letter - name.letter) % 7 == 1
        and (seventh.pitch_class - name.pitch_class) % 12 in (1, 2)
    ]
    return [str(name) for name in under]


class Clause(NamedTuple):
    """A clause to check: in which slot it stands, and the chord it speaks against."""

    book: Book
    at: int
    rival: tuple[str, str] | None

    @property
    def slot(self) -> Slot:
        """The slot that the clause is about."""
        return self.book.slots[self.at]

    @property
    def mine(self) -> Chord:
        """The chord chosen."""
        assert self.slot.chord
        return self.slot.chord

    @property
    def notes(self) -> list[str]:
        """Names of the tune notes there."""
        return self.book.names(self.slot)

    def unlike(self, test: Callable[[str, str], bool]) -> None:
        """Check that something is not true of the rival's symbol and numeral."""
        assert self.rival is None or not test(*self.rival)

    def named(self, symbol: str) -> None:
        """Check that a chord named as the other one is the other one."""
        assert symbol != self.mine.symbol
        assert self.rival is None or symbol == self.rival[0]


def chord_at(slot: Slot | None) -> Chord:
    assert slot
    assert slot.chord
    return slot.chord


def check_step(c: Clause, names: Sequence[str]) -> tuple[int, int]:
    """Check the chords and numerals of a step into or out of the slot.

    Returns the numbers of the slots before and after the step.
    """
    before, after, first, second = names
    for one, two in ((c.at - 1, c.at), (c.at, None)):
        left = c.book.near(one)
        right = c.book.near(two) if two is not None else c.book.onward(c.at)
        if not (left and right and left.chord and right.chord):
            continue
        told = (left.chord.symbol, right.chord.symbol, left.numeral, right.numeral)
        if told == (before, after, first, second):
            return one, c.book.slots.index(right)
    pytest.fail(f"no step {before} to {after} here")


def ends(c: Clause) -> None:
    assert c.at == len(c.book.slots) - 1
    assert is_home(c.slot.numeral)
    c.unlike(lambda _, numeral: is_home(numeral))


def begins(c: Clause) -> None:
    assert c.at == 0
    assert is_home(c.slot.numeral)
    c.unlike(lambda _, numeral: is_home(numeral))


def stays_open(c: Clause, degree: str) -> None:
    assert c.book.line_ends[c.at] == int(degree)
    assert degree in "2457"
    assert bare(c.slot.numeral) in ("V", "VII")
    c.unlike(lambda _, numeral: bare(numeral) == bare(c.slot.numeral))


def rests(c: Clause, degree: str) -> None:
    assert c.book.line_ends[c.at] == int(degree)
    assert degree in "135"
    assert is_home(c.slot.numeral)
    c.unlike(lambda _, numeral: is_home(numeral))


def closes(c: Clause, *told: str) -> None:
    before, after = check_step(c, told[:4])
    assert is_v(c.book.slots[before].numeral)
    assert is_home(c.book.slots[after].numeral)
    last = after == len(c.book.slots) - 1
    assert last if told[4] == "tune" else after in c.book.line_ends
    goes_on = c.at == before
    c.unlike(lambda _, n: is_v(n) if goes_on else is_home(n))


def resolves(c: Clause, *told: str) -> None:
    before, after = check_step(c, told)
    first, second = (c.book.slots[at].numeral for at in (before, after))
    applied = bare(first).startswith("V/") and bare(first)[2:] == bare(second)
    leads = is_v(first) or first == "vii°6"
    assert applied or (leads and is_home(second))
    goes_on = c.at == before
    c.unlike(lambda _, n: bare(n) == bare(first) if goes_on else is_home(n))


def passes(c: Clause, before: str, after: str) -> None:
    assert c.slot.numeral == "vii°6"
    near = (c.book.near(c.at - 1), c.book.onward(c.at))
    assert [chord_at(other).symbol for other in near] == [before, after]
    for other in near:
        assert other
        assert is_home(other.numeral)


def prepares(c: Clause, *told: str) -> None:
    before, after = check_step(c, told)
    assert before == c.at
    ready = ("IV", "iv", "ii", "ii°", "iiø")
    assert bare(c.slot.numeral) in ready
    assert is_v(c.book.slots[after].numeral)
    c.unlike(lambda _, numeral: bare(numeral) in ready)


def would_go_back(c: Clause, theirs: str, way: str, near: str, *step: str) -> None:
    c.named(theirs)
    into = way == "come straight after"
    other = c.book.near(c.at - 1 if into else c.at + 1)
    assert other
    assert chord_at(other).symbol == near
    assert is_back(*step)
    assert bare(other.numeral) == (step[0] if into else step[1])
    mine = (other.numeral, c.slot.numeral) if into else (c.slot.numeral, other.numeral)
    assert not is_back(*mine)
    c.unlike(lambda _, numeral: bare(numeral) != (step[1] if into else step[0]))


def sings_seventh(c: Clause, note: str) -> None:
    assert str(c.mine.members[3]) == note
    assert note in c.notes
    c.unlike(lambda symbol, _: holds(symbol, note))


def seventh_falls(c: Clause, note: str, goal: str, after: str) -> None:
    onward = chord_at(c.book.onward(c.at))
    assert onward.symbol == after
    assert str(c.mine.members[3]) == note
    assert goal in falls(c.mine.members[3], onward)
    c.unlike(lambda symbol, _: parse_symbol(symbol).is_seventh)


def seventh_lands(c: Clause, before: str, note: str, goal: str) -> None:
    chord = chord_at(c.book.near(c.at - 1))
    assert chord.symbol == before
    assert str(chord.members[3]) == note
    assert goal in falls(chord.members[3], c.mine)
    c.unlike(lambda symbol, _: bool(falls(chord.members[3], parse_symbol(symbol))))


def seventh_hangs(c: Clause, note: str, other: str, after: str) -> None:
    c.named(other)
    seventh, onward = parse_symbol(other).members[3], chord_at(c.book.onward(c.at))
    assert (str(seventh), onward.symbol) == (note, after)
    assert not falls(seventh, onward)
    assert not c.mine.is_seventh


def seventh_follows(c: Clause, note: str, other: str) -> None:
    c.named(other)
    assert chord_at(c.book.onward(c.at)).symbol == other
    assert str(parse_symbol(other).members[3]) == note
    assert parse_symbol(other).root == c.mine.root
    assert not c.mine.is_seventh


def has_notes(c: Clause, ours: str, mine: str, theirs: str, few: str | None) -> None:
    assert ours == c.mine.symbol
    c.named(theirs)
    has = [name for name in c.notes if holds(ours, name)]
    others = [name for name in c.notes if holds(theirs, name)]
    if few or not others:
        assert (listed(mine), listed(few)) == (has, others)
        assert len(has) > len(others)
    else:
        # "C has E, F has not": one note alone is told.
        assert mine in has
        assert mine not in others


def common(c: Clause, *told: str | None) -> None:
    ours, verb, mine, near, theirs, few = told
    assert ours == c.mine.symbol
    c.named(str(theirs))
    slot = c.book.near(c.at - 1) if verb == "keeps" else c.book.onward(c.at)
    assert chord_at(slot).symbol == near
    members = [str(name) for name in chord_at(slot).members]
    assert listed(mine) == [n for n in members if holds(str(ours), n)]
    assert listed(few) == [n for n in members if holds(str(theirs), n)]
    assert len(listed(few)) < len(listed(mine))


def no_move(c: Clause, theirs: str, moved: str) -> None:
    c.named(theirs)
    assert c.mine == chord_at(c.book.near(c.at - 1))
    gone = [str(n) for n in c.mine.members if not holds(theirs, str(n))]
    assert listed(moved) == gone


def beats_of(text: str) -> Fraction:
    return sum((Fraction(part) for part in text.split()), Fraction(0))


def for_longer(c: Clause, *told: str) -> None:
    ours, mine, where, theirs, few = told
    assert ours == c.mine.symbol
    c.named(theirs)
    bar = c.book.tune.bar_at(c.slot.onset)
    start, end = c.slot.onset, c.slot.end
    if where == "in the bar":
        start, end = max(bar.start, c.book.slots[0].onset), bar.end
    long, short = (
        c.book.time_in(parse_symbol(symbol), start, end) / bar.time.unit
        for symbol in (ours, theirs)
    )
    assert beats_of(mine) == long
    assert (Fraction(0) if few == "never" else beats_of(few[4:])) == short
    assert short < long


def first_note(c: Clause, note: str, ours: str, theirs: str) -> None:
    c.named(theirs)
    assert note == c.notes[0]
    assert holds(ours, note)
    assert ours == c.mine.symbol
    assert not holds(theirs, note)


def firmer(c: Clause, *told: str) -> None:
    note, mine, ours, other, theirs = told
    order = ["root", "third", "fifth", "seventh"]
    c.named(theirs)
    assert note == c.notes[0]
    assert ours == c.mine.symbol
    for word, symbol in ((mine, ours), (other, theirs)):
        classes = parse_symbol(symbol).pitch_classes
        assert classes[order.index(word)] == parse_name(note).pitch_class
    assert order.index(mine) < order.index(other)


def goes_on(c: Clause, ours: str, *told: str | None) -> None:
    begin, other, beat, over, rival = told
    c.named(str(other or rival))
    assert ours == c.mine.symbol
    bar = c.book.tune.bar_at(c.slot.onset)
    inside = [slot for slot in c.book.slots if bar.start <= slot.onset < bar.end]
    at = inside.index(c.slot)
    if over:
        assert inside[at + 1].chord == c.mine
        assert inside[at + 1].place.beat == beats_of(over)
        return
    assert c.slot.place.beat == beats_of(str(beat))
    first = next(
        n for n, s in enumerate(inside) if s.place.beat == beats_of(str(begin))
    )
    assert first < at
    assert {slot.chord for slot in inside[first:at]} == {c.mine}
    assert not first or inside[first - 1].chord != c.mine


def no_change(c: Clause, theirs: str, where: str) -> None:
    c.named(theirs)
    assert chord_at(c.book.near(c.at - 1)).symbol == theirs
    bar = c.book.tune.bar_at(c.slot.onset)
    assert (c.slot.onset == bar.start and not bar.offset) == ("line" in where)


def kept(c: Clause, theirs: str) -> None:
    c.named(theirs)
    assert chord_at(c.book.onward(c.at)).symbol == theirs


def fifth(c: Clause, way: str, near: str) -> None:
    slot = c.book.near(c.at - 1) if way == "from" else c.book.onward(c.at)
    other = chord_at(slot)
    assert other.symbol == near

    def is_fifth(chord: Chord) -> bool:
        high, low = (other, chord) if way == "from" else (chord, other)
        down = (low.root.letter - high.root.letter) % 7 == 3
        return down and (low.root.pitch_class - high.root.pitch_class) % 12 == 5

    assert is_fifth(c.mine)
    c.unlike(lambda symbol, _: is_fifth(parse_symbol(symbol)))


def by_step(c: Clause, bass: str, way: str, near: str) -> None:
    slot = c.book.near(c.at - 1) if way == "from" else c.book.onward(c.at)
    other = chord_at(slot).bass
    assert (str(c.mine.bass), str(other)) == (bass, near)

    def is_step(name: PitchName) -> bool:
        apart = (name.pitch_class - other.pitch_class) % 12
        return (name.letter - other.letter) % 7 in (1, 6) and apart in (1, 2, 10, 11)

    assert is_step(c.mine.bass)
    c.unlike(lambda symbol, _: is_step(parse_symbol(symbol).bass))


def six_four(c: Clause, bass: str, after: str) -> None:
    assert c.slot.numeral in ("I6/4", "i6/4")
    onward = c.book.onward(c.at)
    assert onward
    assert is_v(onward.numeral)
    assert (chord_at(onward).symbol, str(chord_at(onward).bass)) == (after, bass)
    assert str(c.mine.bass) == bass
    c.unlike(lambda symbol, _: str(parse_symbol(symbol).bass) == bass)


def on_root(c: Clause, ours: str, theirs: str) -> None:
    c.named(theirs)
    assert ours == c.mine.symbol
    assert c.mine.bass == c.mine.root
    assert parse_symbol(theirs).bass != parse_symbol(theirs).root


PRIMARY = {
    "major": ("I", "IV", "V"),
    "minor": ("i", "iv", "V"),
    "dorian": ("i", "IV", "VII"),
    "mixolydian": ("I", "IV", "VII"),
    "aeolian": ("i", "VI", "VII"),
}


def primary(c: Clause, *told: str) -> None:
    ours, mine, theirs, other = told
    c.named(theirs)
    assert (ours, mine) == (c.mine.symbol, c.slot.numeral)
    # A major tune with flat sevenths has the chords of the Mixolydian mode.
    modes = {c.slot.key.mode.value}
    modes |= {"mixolydian"} & ({"mixolydian"} if modes == {"major"} else set())
    assert any(
        bare(mine) in PRIMARY[mode] and bare(other) not in PRIMARY[mode]
        for mode in modes
    )


def not_of_key(c: Clause, theirs: str, note: str, key: str) -> None:
    c.named(theirs)
    assert parse_name(note) in parse_symbol(theirs).members
    tonic = key.split(maxsplit=1)[0]
    assert tonic == str(c.slot.key.tonic)
    scale = c.slot.key.scale if key == str(c.slot.key) else None
    if scale:
        assert parse_name(note) not in scale
        assert set(c.mine.members) <= set(scale)


def joins(c: Clause, ours: str) -> None:
    assert ours == c.mine.symbol


STEP = r"(CHORD) to (CHORD) \((\S+)–(\S+)\)"
BEATS = r"((?:\d+ )?\d+(?:/\d+)?)"
STRAIGHT = (
    r"(CHORD) would (come straight after|lead straight into) (CHORD) "
    r"\((\S+)–(\S+)\)"
)
IN_CHORD = (
    rf"the tune is in (CHORD) for {BEATS} beats? (here|in the bar), "
    rf"in (CHORD) (for {BEATS[1:-1]}|never)"
)
GOES_ON = (
    rf"(CHORD) goes on (?:from beat {BEATS}, (CHORD) would come in on beat {BEATS}|"
    rf"over beat {BEATS}, where (CHORD) would have to change)"
)
FORMS: tuple[tuple[str, Callable[..., None]], ...] = (
    (r"the tune ends on the tonic", ends),
    (r"the tune begins on the tonic", begins),
    (r"the line ends here on (\d): a half cadence", stays_open),
    (r"the line comes to rest on (\d)", rests),
    (STEP + r" closes the (line|tune)", closes),
    (STEP + r" resolves", resolves),
    (r"it passes from (CHORD) to (CHORD)", passes),
    (STEP + r" leads to the dominant", prepares),
    (STRAIGHT, would_go_back),
    (r"its seventh, (NOTE), is in the tune", sings_seventh),
    (r"its seventh, (NOTE), falls to (NOTE) in (CHORD)", seventh_falls),
    (r"the seventh of (CHORD), (NOTE), falls to (NOTE)", seventh_lands),
    (r"(NOTE), the seventh of (CHORD), does not fall to (CHORD)", seventh_hangs),
    (r"the seventh, (NOTE), comes in next, with (CHORD)", seventh_follows),
    (r"(CHORD) has (LIST), (CHORD) (?:only (LIST)|has not)", has_notes),
    (
        r"(CHORD) (keeps|has) (LIST) (?:from|of) (CHORD), (CHORD) (?:only (LIST)|none)",
        common,
    ),
    (r"no note need move; (CHORD) would move (LIST)", no_move),
    (IN_CHORD, for_longer),
    (r"(NOTE), the first note here, is in (CHORD), not in (CHORD)", first_note),
    (r"(NOTE) is the (\w+) of (CHORD), the (\w+) of (CHORD)", firmer),
    (GOES_ON, goes_on),
    (r"with (CHORD) the chord would not change (here|at the bar line)", no_change),
    (r"(CHORD) is kept for the next change", kept),
    (r"its root falls a fifth (from|to) (CHORD)", fifth),
    (r"its bass, (NOTE), goes by step (from|to) (NOTE)", by_step),
    (r"its bass, (NOTE), stays under (CHORD): a cadential 6/4", six_four),
    (r"(CHORD) stands on its root, (CHORD) does not", on_root),
    (r"(CHORD) \((\S+)\) is a primary chord, (CHORD) \((\S+)\) is not", primary),
    (r"(CHORD) has (NOTE), which is not in ([A-G]\S* \w+)", not_of_key),
    (r"(CHORD) joins the chords around it best", joins),
)


def check_clause(book: Book, at: int, text: str, rival: tuple[str, str] | None) -> None:
    """Check one clause of a reason; an unknown clause fails."""
    for pattern, check in FORMS:
        names = f"{NOTE}(?:(?:, | and ){NOTE})*"
        whole = pattern.replace("CHORD", CHORD).replace("NOTE", NOTE)
        if match := re.fullmatch(whole.replace("LIST", names), text):
            check(Clause(book, at, rival), *match.groups())
            return
    pytest.fail(f"unknown clause: {text}")


NAMES = "(?:passing|neighbour|chord|escape) note|appoggiatura|suspension|anticipation"
INTERVALS = {
    "minor ninth": (1, 1), "ninth": (1, 2), "fourth": (3, 5),
    "augmented fourth": (3, 6), "diminished fifth": (4, 6), "minor sixth": (5, 8),
    "sixth": (5, 9), "diminished seventh": (6, 9), "minor seventh": (6, 10),
    "major seventh": (6, 11),
}  # fmt: skip


def check_reason(book: Book, at: int) -> None:
    """Check the sentence of one slot, its opening and its clause."""
    slot, ours = book.slots[at], chord_at(book.slots[at]).symbol
    match = re.fullmatch(r"tune (\S+) \((\S+)\): (.+)\.", slot.reason)
    assert match
    sounding = book.names(slot)
    if sounding:
        assert match[1] == sounding[0]
    rest = match[3]
    if only := re.fullmatch(rf"of (.+) only ({CHORD}) has an? (\S+)", rest):
        assert only[2] == ours
        assert [s for s in listed(only[1]) if holds(s, only[3])] == [ours]
        return
    if rest.endswith("as you locked it"):
        assert slot.locked
        return
    opening, _, why = rest.partition(". ")
    good = {ours, *(other.chord.symbol for other in slot.alternatives)}
    if fit := re.fullmatch(r"(.+) would fit", opening):
        # What is said to fit is what keys and marks accept.
        assert set(listed(fit[1])) == {s for s in good if holds(s, match[1])}
    elif have := re.fullmatch(
        rf"(.+) have an? (\S+), and only ({CHORD}) fits the rest", opening
    ):
        assert have[2] == match[1]
        assert have[3] == ours
        assert all(holds(symbol, match[1]) for symbol in listed(have[1]))
        assert {s for s in good if holds(s, match[1])} == {ours}
    else:
        check_stranger(slot, opening, match[1])
    check_why(book, at, why)


def check_stranger(slot: Slot, opening: str, note: str) -> None:
    """Check what a tune note outside its chord is called."""
    chord = chord_at(slot)
    named = re.fullmatch(rf"(\S+) is (?:an? |the )(.+) over ({CHORD})", opening)
    assert named
    assert (named[1], named[3]) == (note, chord.symbol)
    assert not holds(chord.symbol, note)
    if re.fullmatch(NAMES, named[2]):
        return
    letters = (parse_name(note).letter - chord.root.letter) % 7
    semitones = (parse_name(note).pitch_class - chord.root.pitch_class) % 12
    if named[2] == "foreign note":
        assert (letters, semitones) not in INTERVALS.values()
    else:
        assert INTERVALS[named[2]] == (letters, semitones)


def check_why(book: Book, at: int, why: str) -> None:
    slot = book.slots[at]
    ours = re.escape(chord_at(slot).symbol)
    if again := re.fullmatch(
        rf"{ours}, as in bar (\d+), which has the same notes", why
    ):
        bar = book.tune.bar_at(slot.onset)
        like = [
            other
            for other in book.slots[:at]
            if other.place.bar == int(again[1])
            and other.place.beat == slot.place.beat
            and other.chord == slot.chord
            and book.bar_text(book.tune.bar_at(other.onset)) == book.bar_text(bar)
        ]
        assert like
        return
    match = re.fullmatch(rf"{ours}, because (.+?)(?:; (its bass, .+))?", why)
    assert match
    check_clause(book, at, match[1], None)
    if match[2]:
        assert chord_at(slot).inversion
        check_clause(book, at, match[2], None)


def check_others(book: Book, at: int) -> None:
    """Check the other good chords of a slot, and why each comes second."""
    slot = book.slots[at]
    costs = [other.cost for other in slot.alternatives]
    assert costs == sorted(costs)
    for other in slot.alternatives:
        ours = re.escape(chord_at(slot).symbol)
        match = re.fullmatch(rf"{ours} comes first because (.+)\.", other.reason)
        assert match
        assert other.chord != slot.chord
        check_clause(book, at, match[1], (other.chord.symbol, other.numeral))


@pytest.mark.parametrize("level", [1, 2, 3, 4])
@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_reason_of_our_tunes_is_true(path: Path, level: int) -> None:
    book = Book(arrange(read_tune(path), Style(level)))
    for at in range(len(book.slots)):
        check_reason(book, at)
        check_others(book, at)


@pytest.mark.parametrize("path", TUNES[::4], ids=lambda path: path.stem)
def test_every_reason_in_four_parts_is_true(path: Path) -> None:
    book = Book(arrange(read_tune(path), Style(4, texture=Texture.HYMN)))
    for at in range(len(book.slots)):
        check_reason(book, at)
        check_others(book, at)


@given(tunes(most_notes=40), STYLES)
@settings(max_examples=examples(120), deadline=None, derandomize=True)
def test_every_reason_of_any_tune_is_true(tune: Tune, style: Style) -> None:
    book = Book(arrange(tune, style))
    for at in range(len(book.slots)):
        check_reason(book, at)
        check_others(book, at)


EMPTY = (
    "already on", "carries on", "the form that suits", "more often", "more usual",
    "joins the chords around it best",
)  # fmt: skip


def test_reasons_of_old_tunes_are_true_short_and_say_something() -> None:
    # Forty tunes of old printed books, by music21's corpus, beside our own.
    books = ("ryansMammoth", "airdsAirs", "oneills1850")
    old = [tune for book in books for tune in tunes_of(book, 60, 13)]
    reasons = []
    for tune in [*(read_tune(path) for path in TUNES), *old]:
        book = Book(arrange(tune, Style(3)))
        for at, slot in enumerate(book.slots):
            check_reason(book, at)
            reasons.append(slot.reason)
    assert len(reasons) > 1000
    empty = [text for text in reasons if any(words in text for words in EMPTY)]
    assert 50 * len(empty) <= len(reasons)
    long = [text for text in reasons if len(text) > 150]
    assert 50 * len(long) <= len(reasons)
    # No one fact may do for everything.
    tails = [re.sub(NOTE, "", text.partition(". ")[2])[:30] for text in reasons]
    most = max(len(list(group)) for _, group in groupby(sorted(tails)))
    assert 4 * most <= len(reasons)


def test_what_only_one_chord_has_is_told_so() -> None:
    # Common practice: of I, IV and V only IV has the sixth degree.
    done = arrange(parse_tune_text("Key: C\nA - - - | C - - -")[0])
    assert done.slots[0].reason == "tune A (6): of C, F and G only F has an A."
    names = [str(offer.chord) for offer in palette(done.slots[0].key, 1)]
    assert names == ["C", "F", "G"]


def test_a_bar_that_comes_again_points_to_the_first() -> None:
    line = "E E G E | D D B3 - | E E G E | D B3 C -"
    done = arrange(parse_tune_text(f"Key: C\n{line}")[0], Style(3))
    told = [slot.reason for slot in done.slots if slot.place.bar == 3]
    assert any("as in bar 1, which has the same notes" in reason for reason in told)


def test_a_locked_chord_is_told_as_locked() -> None:
    done = arrange(parse_tune_text("Key: C\nE - - - | C - - -\nChords: Am | ?")[0])
    assert done.slots[0].reason == "tune E (3): Am, as you locked it."


def test_the_seventh_over_the_dominant_is_called_so() -> None:
    # Common practice: F over a G major triad is its minor seventh.
    done = arrange(parse_tune_text("Key: C\nC E G - | F D B3 - | C - - -")[0], Style(1))
    told = next(slot.reason for slot in done.slots if slot.place.bar == 2)
    assert told.startswith("tune F (4): F is the minor seventh over G. G, because ")


def test_a_chord_that_only_has_the_note_is_not_said_to_fit() -> None:
    # In G major A, B and E major have a note each that is foreign to the key, and
    # belong only where they lead to D, Em and Am.
    line = "G B A G | E G B G | D G F# A | G - - -"
    done = arrange(parse_tune_text(f"Key: G\n{line}")[0], Style(4))
    leads = {"A": "D", "B": "Em", "E": "Am", "G7": "C"}
    for at, slot in enumerate(done.slots):
        for other in slot.alternatives:
            if set(other.chord.members) <= set(slot.key.scale):
                continue
            goes_on = set(map(str, other.chord.members))
            later = [chord_at(own) for own in done.slots[at + 1 :]]
            after = [n for n in later if not goes_on <= set(map(str, n.members))]
            assert after[0].symbol.removesuffix("7") == leads[other.chord.symbol]
