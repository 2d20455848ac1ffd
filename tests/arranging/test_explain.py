"""Every sentence of a reason is worked out again from the tune and the chords alone.

Nothing of the explainer is used here: notes, bars and chords are taken from the
arrangement, and each clause is read back and checked against them.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.arranging.job import arrange
from harmonise.choice.palette import palette
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Slot, Style
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.pitch import parse_name
from harmonise.theory.tune import TuneNote

TUNES = sorted((Path(__file__).parents[2] / "tunes").iterdir())
CHORD = r"[A-G][^\s,.;]*"
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

    def inside(self, slot: Slot) -> list[TuneNote]:
        """Return the tune notes that sound in a slot."""
        return [
            note
            for note in self.tune.sounding
            if note.onset < slot.end and note.end > slot.onset
        ]

    def names(self, slot: Slot | None) -> list[str]:
        """Return their names, each once."""
        if slot is None:
            return []
        pitches = [note.pitch for note in self.inside(slot)]
        return list(dict.fromkeys(str(pitch.name) for pitch in pitches if pitch))

    def near(self, at: int) -> Slot | None:
        """Return a slot by its number, None outside."""
        return self.slots[at] if 0 <= at < len(self.slots) else None

    def symbol(self, at: int) -> str:
        """Return the chord of a slot by its number."""
        slot = self.near(at)
        return slot.chord.symbol if slot and slot.chord else ""

    def time_in(self, slot: Slot, chord: Chord) -> Fraction:
        """Return for how long the slot's bar is in a chord."""
        bar = self.tune.bar_at(slot.onset)
        start = max(bar.start, self.slots[0].onset)
        total = Fraction(0)
        for note in self.tune.sounding:
            if note.pitch and note.pitch.pitch_class in chord.pitch_classes:
                overlap = min(note.end, bar.end) - max(note.onset, start)
                total += max(Fraction(0), overlap)
        return total


def holds(symbol: str, name: str) -> bool:
    """Whether a chord has a note; an odd tune's B# counts as C."""
    return parse_name(name).pitch_class in parse_symbol(symbol).pitch_classes


def listed(text: str) -> list[str]:
    return re.split(r", | and | or ", text)


class Clause(NamedTuple):
    """A clause to check: in which slot it stands, and the chord it speaks against."""

    book: Book
    at: int
    rival: str | None

    @property
    def slot(self) -> Slot:
        """The slot that the clause is about."""
        return self.book.slots[self.at]

    @property
    def notes(self) -> list[str]:
        """Names of the tune notes there."""
        return self.book.names(self.slot)

    @property
    def chords(self) -> tuple[str, str, str]:
        """Chord before, chord here, chord after."""
        return tuple(self.book.symbol(self.at + k) for k in (-1, 0, 1))  # type: ignore[return-value]


def all_here(c: Clause, theirs: str, some: str | None) -> None:
    assert all(holds(c.chords[1], name) for name in c.notes)
    has = [name for name in c.notes if holds(theirs, name)]
    assert has == (listed(some) if some else [])
    assert len(has) < len(c.notes)


def some_here(c: Clause, *told: str | None) -> None:
    every, ours, theirs, some = told
    assert (listed(every) == c.notes) if every else (len(c.notes) == 1)
    has = [name for name in c.notes if holds(c.chords[1], name)]
    assert listed(ours or "") == has
    others = [name for name in c.notes if holds(theirs or "", name)]
    assert others == (listed(some) if some else [])
    assert len(others) < len(has)


def under(c: Clause, ours: str, what: str) -> None:
    assert ours == c.chords[1]
    assert what == "such a bar" or listed(what) == c.notes


def around(c: Clause, when: str, names: str, ours: str) -> None:
    near = c.book.names(c.book.near(c.at - 1 if when == "after" else c.at + 1))
    assert ours == c.chords[1]
    assert listed(names) == (near or ["a rest"])


def more_of_the_bar(c: Clause, ours: str) -> None:
    assert ours == c.chords[1]
    assert c.slot.chord
    if c.rival:
        here = c.book.time_in(c.slot, c.slot.chord)
        assert here > c.book.time_in(c.slot, parse_symbol(c.rival))


def of_section(c: Clause, place: str, ours: str) -> None:
    assert ours == c.chords[1]
    number = re.fullmatch(r"bar (\d+)", place)
    assert place.startswith("the last bar") or number
    if number:
        assert int(number[1]) <= len(c.book.tune.bars)


def due(c: Clause, where: str) -> None:
    before, here, after = c.chords
    assert here not in (before, after) or before != after
    bar = c.book.tune.bar_at(c.slot.onset)
    at_line = c.slot.onset == bar.start and not bar.offset
    assert where == ("at the bar line" if at_line else "inside the bar")


def lacks(c: Clause, theirs: str, note: str) -> None:
    assert note == c.notes[0]
    assert not holds(theirs, note)
    first = c.book.inside(c.slot)[0]
    assert first.length >= c.book.tune.bar_at(first.onset).time.beat


def already(c: Clause, chord: str) -> None:
    assert chord == c.chords[0] == c.chords[1]


def carries(c: Clause, chord: str) -> None:
    assert chord == c.chords[1] == c.chords[2]


def comes(c: Clause, before: str, here: str, theirs: str) -> None:
    assert (before, here) == c.chords[:2]
    assert theirs != here


def goes(c: Clause, here: str, after: str, theirs: str) -> None:
    assert (here, after) == c.chords[1:]
    assert theirs != here


def is_ours(c: Clause, chord: str) -> None:
    assert chord == c.chords[1]


def is_theirs(c: Clause, chord: str) -> None:
    assert chord != c.chords[1]


def opens(c: Clause) -> None:
    assert c.at == 0
    assert c.slot.numeral in ("I", "i")


def after_v(c: Clause, theirs: str, before: str, step: str) -> None:
    assert before == c.chords[0]
    assert all(holds(theirs, name) for name in c.notes)
    assert step in ("V–IV", "V–iv")
    assert c.book.slots[c.at - 1].numeral in ("V", "V7")


def before_iv(c: Clause, theirs: str, after: str, step: str) -> None:
    assert after == c.chords[2]
    assert all(holds(theirs, name) for name in c.notes)
    assert step in ("V–IV", "V–iv")
    assert c.book.slots[c.at + 1].numeral in ("IV", "iv")


FORMS: tuple[tuple[str, Callable[..., None]], ...] = (
    (r"it has all the notes here, (CHORD) (?:only (.+)|none of them)", all_here),
    (r"(?:of (.+) )?it has (.+), (CHORD) (?:only (.+)|none of them)", some_here),
    (r"arrangers more often put (CHORD) under (.+)", under),
    (r"(after|before) (.+) arrangers more often have (CHORD)", around),
    (r"the tune is in (CHORD) for more of the bar", more_of_the_bar),
    (r"in (.+) of the section arrangers more often have (CHORD)", of_section),
    (r"the music is already on (CHORD)", already),
    (r"(CHORD) carries on after it", carries),
    (r"a new chord is due (at the bar line|inside the bar)", due),
    (r"(CHORD) goes more often to (CHORD) than to (CHORD)", comes),
    (r"(CHORD) leads more often to (CHORD) than (CHORD) does", goes),
    (r"(CHORD) lacks (.+), the long first note", lacks),
    (r"the tune's notes here rule out (CHORD)", is_theirs),
    (r"(CHORD) is the more usual chord here", is_ours),
    (r"(CHORD) is the form that suits this place", is_ours),
    (r"the first chord is the tonic", opens),
    (r"(CHORD) would come straight after (CHORD) \((.+)\)", after_v),
    (r"(CHORD) would lead straight into (CHORD) \((.+)\)", before_iv),
    (r"with plain triads one way alone is lawful, and it has (CHORD) here", is_ours),
    (r"the whole line runs more smoothly with it", lambda _: None),
)


def check_clause(book: Book, at: int, text: str, rival: str | None) -> None:
    """Check one clause of a reason; an unknown clause fails."""
    for pattern, check in FORMS:
        if match := re.fullmatch(pattern.replace("CHORD", CHORD), text):
            check(Clause(book, at, rival), *match.groups())
            return
    pytest.fail(f"unknown clause: {text}")


def check_reason(book: Book, at: int) -> None:
    """Check the sentence of one slot, its opening and its clauses."""
    slot, ours = book.slots[at], book.symbol(at)
    match = re.fullmatch(r"tune (\S+) \((\S+)\): (.+)\.", slot.reason)
    assert match
    sounding = book.inside(slot)
    if sounding:
        assert match[1] == book.names(slot)[0]
    rest = match[3]
    if only := re.fullmatch(rf"of (.+) only ({CHORD}) has an? (\S+)", rest):
        assert only[2] == ours
        assert [s for s in listed(only[1]) if holds(s, only[3])] == [ours]
        return
    if rest.endswith("as you locked it"):
        assert slot.locked
        return
    opening, _, why = rest.partition(". ")
    if fit := re.fullmatch(r"(.+) would fit", opening):
        fitting = listed(fit[1])
        assert all(holds(symbol, match[1]) for symbol in fitting)
        assert ours in fitting
    elif have := re.fullmatch(
        rf"(.+) have an? (\S+), and only ({CHORD}) fits the rest", opening
    ):
        having = listed(have[1])
        assert have[2] == match[1]
        assert have[3] == ours
        assert all(holds(symbol, match[1]) for symbol in having)
        for other in having:
            assert other == ours or not all(holds(other, n) for n in book.names(slot))
    else:
        named = re.fullmatch(rf"(\S+) is an? [a-z ]+ over ({CHORD})", opening)
        assert named
        assert named[1] == match[1]
        assert named[2] == ours
        assert not holds(ours, match[1])
    check_why(book, at, why)


def check_why(book: Book, at: int, why: str) -> None:
    ours = re.escape(book.symbol(at))
    if again := re.fullmatch(
        rf"{ours}, as in bar (\d+), which has the same notes", why
    ):
        assert int(again[1]) <= book.slots[at].place.bar
        same = [s for s in book.slots[:at] if s.place.bar == int(again[1])]
        assert any(s.chord == book.slots[at].chord for s in same)
        return
    match = re.fullmatch(rf"{ours}, because (.+)", why)
    assert match
    if match[1] == "the tune ends on the tonic":
        assert at == len(book.slots) - 1
        assert book.slots[at].numeral in ("I", "i")
    elif match[1] == "the line ends here: a half cadence":
        closing = [
            max(note.onset for note in book.tune.sounding if note.onset < end)
            for end in book.tune.phrases[:-1]
        ]
        slot = book.slots[at]
        assert any(slot.onset <= onset < slot.end for onset in closing)
    else:
        check_clauses(book, at, match[1], None)


def check_clauses(book: Book, at: int, text: str, rival: str | None) -> None:
    """Check a clause, or two that "and" joins: one of the ways to part them holds."""
    cuts: list[tuple[str, ...]] = [(text,)]
    cuts += [(text[: m.start()], text[m.end() :]) for m in re.finditer(" and ", text)]
    failures: list[BaseException] = []
    for cut in cuts:
        try:
            for clause in cut:
                check_clause(book, at, clause, rival)
        except (AssertionError, pytest.fail.Exception) as error:
            failures.append(error)
        else:
            return
    raise failures[-1]


@pytest.mark.parametrize("level", [1, 2, 3, 4])
@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_reason_of_our_tunes_is_true(path: Path, level: int) -> None:
    book = Book(arrange(read_tune(path), Style(level)))
    for at in range(len(book.slots)):
        check_reason(book, at)


@given(tunes(most_notes=40), STYLES)
@settings(max_examples=examples(150), deadline=None, derandomize=True)
def test_every_reason_of_any_tune_is_true(tune: object, style: Style) -> None:
    book = Book(arrange(tune, style))  # type: ignore[arg-type]
    for at in range(len(book.slots)):
        check_reason(book, at)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_other_good_chord_is_second_for_a_true_reason(path: Path) -> None:
    book = Book(arrange(read_tune(path), Style(3)))
    for at, slot in enumerate(book.slots):
        costs = [other.cost for other in slot.alternatives]
        assert costs == sorted(costs)
        for other in slot.alternatives:
            match = re.fullmatch(r"Second, because (.+)\.", other.reason)
            assert match
            assert other.chord != slot.chord
            check_clauses(book, at, match[1], other.chord.symbol)


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
