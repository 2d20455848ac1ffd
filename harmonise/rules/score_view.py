"""An arrangement seen moment by moment: what sounds from one change to the next.

The rules read this view. It does not mind an arrangement that breaks them all: voices
may cross and notes may stand in any order. Beside it stands what a rule finds in it.
"""

from collections import defaultdict
from collections.abc import Iterator
from enum import Enum
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import Place, Remark, join_sentence
from harmonise.theory.arrangement import (
    PATTERNS,
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.numerals import Role, role_of

_ONSET = attrgetter("onset")


class Moment(NamedTuple):
    """What sounds between two neighbouring changes.

    Attributes:
        onset: Crotchets from the start.
        slot: Slot in force.
        tune: The tune note; None while the tune rests.
        inner: Inner notes from the lowest up.
        left: Left-hand notes from the lowest up.
    """

    onset: Fraction
    slot: Slot
    tune: SoundingNote | None
    inner: tuple[SoundingNote, ...]
    left: tuple[SoundingNote, ...]

    @property
    def right(self) -> tuple[SoundingNote, ...]:
        """Right-hand notes, the tune last."""
        return self.inner if self.tune is None else (*self.inner, self.tune)

    @property
    def under(self) -> tuple[SoundingNote, ...]:
        """All notes but the tune: left hand, inner notes."""
        return self.left + self.inner

    @property
    def notes(self) -> tuple[SoundingNote, ...]:
        """All notes: left hand, inner notes, tune."""
        return self.left + self.right


class Span(NamedTuple):
    """Neighbouring slots under one chord.

    Attributes:
        slots: The slots, at least one.
        chord: Their chord.
    """

    slots: tuple[Slot, ...]
    chord: Chord

    @property
    def onset(self) -> Fraction:
        """Where the chord begins, in crotchets."""
        return self.slots[0].onset

    @property
    def end(self) -> Fraction:
        """Where the chord ends, in crotchets."""
        return self.slots[-1].end

    @property
    def key(self) -> Key:
        """Key in force where the chord begins."""
        return self.slots[0].key

    @property
    def locked(self) -> bool:
        """Whether the user locked the chord."""
        return self.slots[0].locked

    @property
    def degree(self) -> tuple[int, int]:
        """Degree of the root, 1 to 7, and its alteration against the scale."""
        return self.key.degree(self.chord.root)

    @property
    def role(self) -> Role:
        """What the chord is to the key."""
        return role_of(self.chord, self.key)

    def __str__(self) -> str:
        """Return chord and numeral: "G7 (V7)"."""
        numeral = self.slots[0].numeral
        return f"{self.chord} ({numeral})" if numeral else str(self.chord)


class Score:
    """An arrangement with its moments and chords, each worked out when asked for.

    Attributes:
        arrangement: The arrangement.
    """

    def __init__(self, arrangement: Arrangement) -> None:
        """Look at an arrangement."""
        self.arrangement = arrangement

    @cached_property
    def moments(self) -> tuple[Moment, ...]:
        """Moments without gap, in order."""
        return tuple(_moments(self.arrangement))

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        """Stretches under one chord, in order; slots without chord are left out."""
        slots = groupby(self.arrangement.slots, key=lambda slot: slot.chord)
        return tuple(Span(tuple(together), chord) for chord, together in slots if chord)

    @property
    def steps(self) -> tuple[tuple[Span, Span], ...]:
        """Neighbouring chords, each with the one that follows."""
        return tuple(zip(self.spans, self.spans[1:], strict=False))

    @cached_property
    def by_slot(self) -> dict[Fraction, list[Moment]]:
        """The moments of each slot by the slot's onset."""
        rows: dict[Fraction, list[Moment]] = defaultdict(list)
        for moment in self.moments:
            rows[moment.slot.onset].append(moment)
        return rows

    @property
    def chords(self) -> Iterator[tuple[Chord, list[Moment]]]:
        """The chord of each slot that has one, with its moments."""
        for moments in self.by_slot.values():
            if chord := moments[0].slot.chord:
                yield chord, moments

    @property
    def said(self) -> Iterator[tuple[Chord, list[Moment]]]:
        """The chords where they are said, with their moments while they last there.

        A left hand that moves says one for as long as it lasts in a bar, any other says
        it in each slot; a chord that is merely held is not said again.
        """
        rows: list[tuple[Chord, list[Moment]]] = []
        for chord, moments in self.chords:
            onset, inner = moments[0].onset, moments[0].inner
            held = bool(inner) and all(note.onset < onset for note in inner)
            goes_on = bool(rows) and rows[-1][0] == chord and held
            if not rows or (onset in self.basses_due and not goes_on):
                rows.append((chord, []))
            rows[-1][1].extend(moments)
        return iter(rows)

    @cached_property
    def basses_due(self) -> frozenset[Fraction]:
        """Onsets of the slots at which the left hand has to play the chord's bass.

        Where a pattern moves these are the places where a chord begins, or is said
        again by a new bar: within the bar the pattern goes on through its slots. A left
        hand that only holds has the bass in every slot.
        """
        arrangement = self.arrangement
        style, tune = arrangement.style, arrangement.tune
        hands = [style.left_hand, *(part.left_hand for part in style.sections)]
        moves = any(
            hand in PATTERNS and not hand.row.sustained for hand in hands if hand
        )
        due, before = set(), None
        for slot in arrangement.slots:
            here = (slot.chord, tune.bar_at(slot.onset).start)
            if here != before or not moves:
                due.add(slot.onset)
            before = here
        return frozenset(due)

    @cached_property
    def sung(self) -> tuple[tuple[Slot, Chord, tuple[SoundingNote, ...]], ...]:
        """Each slot that has a chord, with the tune notes that sound in it."""
        tune = [n for n in self.arrangement.notes if n.voice is Voice.TUNE]
        rows, first = [], 0
        for slot in self.arrangement.slots:
            while first < len(tune) and tune[first].end <= slot.onset:
                first += 1
            over = []
            for note in tune[first:]:
                if note.onset >= slot.end:
                    break
                over.append(note)
            if slot.chord:
                rows.append((slot, slot.chord, tuple(over)))
        return tuple(rows)


def _moments(arrangement: Arrangement) -> Iterator[Moment]:
    slots = arrangement.slots
    times = {slot.onset for slot in slots}
    struck: dict[Fraction, list[SoundingNote]] = defaultdict(list)
    for note in arrangement.notes:
        struck[note.onset].append(note)
        times |= {note.onset, note.end}
    sounding: list[SoundingNote] = []
    at = 0
    for time in sorted(times):
        if not slots or time >= slots[-1].end:
            break
        while time >= slots[at].end:
            at += 1
        sounding = [note for note in sounding if note.end > time]
        sounding += struck.get(time, ())
        # By height, not by voice: where voices cross, rules must see it.
        ordered = sorted(sounding, key=lambda note: note.pitch.midi)
        tune = [note for note in ordered if note.voice is Voice.TUNE]
        right = [n for n in ordered if n.hand is Hand.RIGHT]
        inner = tuple(n for n in right if n.voice is not Voice.TUNE)
        left = tuple(n for n in ordered if n.hand is Hand.LEFT)
        yield Moment(time, slots[at], tune[-1] if tune else None, inner, left)


class Grade(Enum):
    """How grave a broken rule is."""

    NEVER = "never"
    """Our own score never breaks it; a marker deducts."""
    AVOID = "avoid"
    """Broken only where something else matters more; a marker comments."""


class Found(NamedTuple):
    """A fault as its rule sees it.

    Attributes:
        onset: Crotchets from the start.
        what: What was found, with the notes named, as one sentence.
        remedy: What to do, as an instruction.
        locked: Whether it is the user's own lock that asks for it.
        remark: What the one who had the chords chosen is told; None for a rule that
            chosen chords keep.
    """

    onset: Fraction
    what: str
    remedy: str
    locked: bool = False
    remark: Remark | None = None


class Fault(NamedTuple):
    """A broken rule and its place.

    Attributes:
        rule: Code of the rule, such as "H12".
        grade: How grave it is.
        place: Bar and beat.
        what: What was found, with the notes named, as one sentence.
        remedy: What to do, as an instruction.
    """

    rule: str
    grade: Grade
    place: Place
    what: str
    remedy: str

    def __str__(self) -> str:
        """Return the sentence with its place in front."""
        return join_sentence(self.what, self.place, self.remedy)


def led_on_by_step(score: Score) -> frozenset[SoundingNote]:
    """Return the left-hand notes that step on to the next root, as a bass walks.

    They begin where no bass is due, are struck alone, and go by semitone or tone,
    perhaps through others like them, to the bass of the chord that begins as they end.
    """
    left = [note for note in score.arrangement.notes if note.hand is Hand.LEFT]
    left.sort(key=_ONSET)
    struck = {at: list(notes) for at, notes in groupby(left, key=_ONSET)}
    slots = {slot.onset: slot.chord for slot in score.arrangement.slots}
    leading: set[SoundingNote] = set()
    for onset in sorted(struck, reverse=True):
        note = struck[onset][0]
        goals = struck.get(note.end, ())
        if onset in score.basses_due or len(struck[onset]) > 1 or len(goals) != 1:
            continue
        goal, chord = goals[0], slots.get(goals[0].onset)
        arrives = chord is not None and goal.pitch.name == chord.bass
        # Read from the end, a note also leads on to one that leads on itself.
        near = 0 < abs(goal.pitch.midi - note.pitch.midi) <= 2
        if near and (arrives or goal in leading):
            leading.add(note)
    return frozenset(leading)
