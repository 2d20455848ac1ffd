"""What is asked of chords that are heard, whatever they are made of.

Drills and tunes give `HeardChords`; each kind of question has one function here that
turns them into an item: the sentence, the choices, the answer and the reason.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from harmonise.errors import NotationError, listed
from harmonise.lessons.aural import (
    AURAL_STEPS,
    AuralItem,
    AuralKind,
    AuralStep,
    Cadence,
    cadence_of,
    first_step,
)
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import QUALITIES, Chord, Member
from harmonise.theory.key import Key
from harmonise.theory.numerals import NumberedChord, in_mode, role_of
from harmonise.theory.pitch import Pitch

MEMBERS = {"root": Member.ROOT, "third": Member.THIRD, "fifth": Member.FIFTH}
"""What may be asked of the note on top."""
_JOINS = " – "


class HeardChords(NamedTuple):
    """What is heard, before anything is asked.

    Attributes:
        step: Which chords are known.
        key: The key.
        chords: The chords in order.
        score: All that sounds.
        at: Number of the chord that is asked for.
        top: The note on top of it.
        rights: Its right hand as it is heard the first and the second time.
    """

    step: AuralStep
    key: Key
    chords: Sequence[NumberedChord]
    score: Arrangement
    at: int = -1
    top: Pitch | None = None
    rights: tuple[str, str] = ("", "")

    @property
    def asked(self) -> NumberedChord:
        """The chord that is asked for."""
        return self.chords[self.at]

    @property
    def numerals(self) -> list[str]:
        """The numerals of all chords."""
        return [each.numeral for each in self.chords]


def asked_kinds(step: int, about: AuralKind | None) -> tuple[AuralKind, ...]:
    """Return the kinds of question of a step, or the only one that is wanted.

    Raises:
        NotationError: If there is no such step, or the kind is asked later only.
    """
    if not 1 <= step <= len(AURAL_STEPS):
        raise NotationError(
            f"There is no step {step}.",
            None,
            f"Choose one from 1 to {len(AURAL_STEPS)}.",
        )
    if about is None:
        return AURAL_STEPS[step - 1].kinds
    first = first_step(about)
    if step < first:
        raise NotationError(
            f"“{about.row.title}” is not asked before step {first}.",
            None,
            f"Choose step {first}, or another question.",
        )
    return (about,)


def shares(count: int, parts: int) -> list[int]:
    """Return a number in nearly equal parts, the first ones larger.

    >>> shares(8, 3)
    [3, 3, 2]
    """
    return [count // parts + (at < count % parts) for at in range(parts)]


def chord_names(step: AuralStep, key: Key) -> tuple[str, ...]:
    """Return the numerals of a step's chords in a key."""
    return tuple(in_mode(" ".join(step.chords), key.mode).split())


def cadences_in(step: AuralStep) -> tuple[str, ...]:
    """Return the cadences that a step's chords can make."""
    return tuple(
        each.value
        for each in Cadence
        if each is not Cadence.INTERRUPTED or "vi" in step.chords
    )


def member_on_top(chord: Chord, top: Pitch) -> str:
    """Return which member a note is: "root", "third" or "fifth"; "" for none."""
    found = (
        word for word, member in MEMBERS.items() if chord.member(member) == top.name
    )
    return next(found, "")


def _spelled(numbered: NumberedChord) -> str:
    """Return a chord as a reason names it: "IV (F A C)"."""
    names = " ".join(map(str, numbered.chord.members))
    return f"{numbered.numeral} ({names})"


def _seventh(numbered: NumberedChord) -> str:
    """Return what tells a seventh chord from its triad; "" of a triad."""
    if QUALITIES[numbered.chord.quality].added is None:
        return ""
    return f"; its seventh, {numbered.chord.member(Member.SEVENTH)}, is heard too"


def _which_chord(heard: HeardChords) -> AuralItem:
    before, then = heard.chords
    one, two = before.chord.bass, then.chord.bass
    way = f"stays on {two}" if one == two else f"goes from {one} to {two}"
    reason = f"The bass {way}, the root of {_spelled(then)}{_seventh(then)}."
    if before == then:
        reason = f"Nothing moves: {_spelled(then)} is heard again."
    return AuralItem(
        AuralKind.CHORD, _number(heard), heard.key,
        "Which is the last chord?",
        chord_names(heard.step, heard.key), heard.score, then.numeral, reason,
        f"{before.numeral}{_JOINS}?",
    )  # fmt: skip


def _bass_line(heard: HeardChords) -> AuralItem:
    letters = [str(each.chord.bass) for each in heard.chords]
    return AuralItem(
        AuralKind.BASS, _number(heard), heard.key,
        "Write the letters of the bass notes, in order.",
        (), heard.score, " ".join(letters),
        f"They are the roots of {listed(heard.numerals)}.",
        _JOINS.join([letters[0], *["?"] * (len(letters) - 1)]),
    )  # fmt: skip


def _missing_chord(heard: HeardChords) -> AuralItem:
    names, gap = heard.numerals, heard.asked
    names[heard.at] = "?"
    return AuralItem(
        AuralKind.MISSING, _number(heard), heard.key,
        "One chord is not given. Which is it?",
        chord_names(heard.step, heard.key), heard.score, gap.numeral,
        f"The bass there is {gap.chord.bass}, the root of {_spelled(gap)}"
        f"{_seventh(gap)}.",
        _JOINS.join(names),
    )  # fmt: skip


def cadence_heard(heard: HeardChords) -> Cadence | None:
    """Return the cadence of the last two chords; None if they make none."""
    before, last = (role_of(each.chord, heard.key) for each in heard.chords[-2:])
    return cadence_of(before, last)


def _which_cadence(heard: HeardChords) -> AuralItem:
    before, last = heard.chords[-2:]
    cadence = cadence_heard(heard)
    if cadence is None:
        raise ValueError(heard.numerals)
    return AuralItem(
        AuralKind.CADENCE, _number(heard), heard.key,
        "Which cadence is heard at the end?",
        cadences_in(heard.step), heard.score, cadence.value,
        f"The last two chords are {before.numeral} and {last.numeral}: "
        f"{before.chord.bass} and {last.chord.bass} in the bass.",
    )  # fmt: skip


def _note_on_top(heard: HeardChords) -> AuralItem:
    then, top = heard.asked, heard.top
    member = member_on_top(then.chord, top) if top else ""
    if not (top and member):
        raise ValueError(heard.numerals)
    return AuralItem(
        AuralKind.POSITION, _number(heard), heard.key,
        "Which note of the last chord is on top?",
        tuple(MEMBERS), heard.score, member,
        f"{top.name} is the {member} of {_spelled(then)}.",
        _JOINS.join(heard.numerals),
    )  # fmt: skip


def _same_or_different(heard: HeardChords) -> AuralItem:
    first, second = heard.rights
    what = f"On {heard.asked.numeral} the right hand has {first}"
    alike = first == second
    return AuralItem(
        AuralKind.LEADING, _number(heard), heard.key,
        "Does the right hand play the same notes both times?",
        ("same", "different"), heard.score, "same" if alike else "different",
        f"{what} both times." if alike else f"{what} first and then {second}.",
        _JOINS.join(heard.numerals),
    )  # fmt: skip


def _number(heard: HeardChords) -> int:
    return AURAL_STEPS.index(heard.step) + 1


QUESTIONS: dict[AuralKind, Callable[[HeardChords], AuralItem]] = {
    AuralKind.LEADING: _same_or_different,
    AuralKind.CHORD: _which_chord,
    AuralKind.BASS: _bass_line,
    AuralKind.MISSING: _missing_chord,
    AuralKind.CADENCE: _which_cadence,
    AuralKind.POSITION: _note_on_top,
}
"""What turns chords into a question of each kind."""
