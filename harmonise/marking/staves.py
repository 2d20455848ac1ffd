"""Which hand plays what, where a page does not say it by its two staves.

The second staff of a part is the left hand; where parts have one staff each, a name, a
bass clef or else the register tells. What all other staves have is the right hand's,
so a voice above the piano counts with it, and a note that both have counts once. A
single staff holds both hands if its chords reach down to the left hand's register: what
lies below the widest gap is the left hand's. Under a right hand that has the tune alone
the chords of the left hand are its own but for their lowest note. What was assumed is
said; what cannot be told is asked. Common practice.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.reach import NEAREST_HIGHEST

_LEFT = re.compile(r"\b(left|l\.?h\.?|bass)\b", re.IGNORECASE)
_OCTAVE = 12
_MOST_ABOVE = 2
"""Staves over the left hand's that are read: a voice and the right hand."""


class Staff(NamedTuple):
    """One staff as it is printed.

    Attributes:
        part: Name of its part; "" for none.
        number: Its number in the part, from 1.
        clef: Letter of its first clef; "" if it has none.
        notes: Its notes, of no hand yet, ties joined.
    """

    part: str
    number: int
    clef: str
    notes: tuple[SoundingNote, ...]


class PlayedHands(NamedTuple):
    """The notes of a page by hands, and what was assumed to part them.

    Attributes:
        notes: The notes, not in order.
        assumed: What was assumed, in whole sentences.
    """

    notes: tuple[SoundingNote, ...]
    assumed: tuple[str, ...] = ()


def by_hands(staves: Sequence[Staff]) -> PlayedHands:
    """Return the notes of some staves by hands.

    Raises:
        NotationError: If there are too many staves to tell.
    """
    full = [staff for staff in staves if staff.notes]
    lowest = _left_of(staves)
    if lowest is None and len(full) == 1:
        return _one_staff(full[0])
    above = [staff for staff in full if staff is not lowest]
    if len(above) > _MOST_ABOVE:
        raise NotationError(
            f"{len(full)} staves have notes, and two hands cannot be told among them.",
            None,
            "Put the right hand on one staff and the left hand on another.",
        )
    left = lowest.notes if lowest else ()
    right = _once(above)
    assumed = []
    if len(above) == _MOST_ABOVE:
        assumed.append(
            "Three staves have notes: the lowest was read as the left hand, the other "
            "two together as the right hand."
        )
    elif lowest and above and staves.index(lowest) < staves.index(above[0]):
        assumed.append("The first staff was read as the left hand.")
    lifted = under_the_tune(right, left)
    if lifted:
        return PlayedHands(lifted.notes, (*assumed, *lifted.assumed))
    notes = (*_as(right, Hand.RIGHT), *_as(left, Hand.LEFT))
    return PlayedHands(notes, tuple(assumed))


def under_the_tune(
    right: Sequence[SoundingNote], left: Sequence[SoundingNote]
) -> PlayedHands | None:
    """Return two hands where the upper one has the tune alone; None where not."""
    if not (_alone(right) and _chords(left)):
        return None
    assumed = (
        "The upper staff has the tune alone, so the chords of the lower staff were "
        "read as the right hand's but for their lowest notes."
    )
    return PlayedHands((*_as(right, Hand.RIGHT), *_lifted(left, right)), (assumed,))


def _left_of(staves: Sequence[Staff]) -> Staff | None:
    """Return the staff of the left hand; None where one staff may be both."""
    # A part of two staves may have its second one empty: one hand was left out.
    for sign in (
        lambda staff: staff.number > 1,
        lambda staff: bool(_LEFT.search(staff.part)),
        lambda staff: staff.clef == "F",
    ):
        named = [staff for staff in staves if sign(staff)]
        if named:
            return min(named, key=_register)
    full = [staff for staff in staves if staff.notes]
    return min(full, key=_register) if len(full) > 1 else None


def _register(staff: Staff) -> tuple[bool, Fraction]:
    """Return how low a staff lies; those without notes come last."""
    heights = [note.pitch.midi for note in staff.notes]
    return not heights, Fraction(sum(heights), max(len(heights), 1))


def _once(staves: Sequence[Staff]) -> list[SoundingNote]:
    """Return the notes of some staves; what stands on two of them counts once."""
    kept: list[SoundingNote] = []
    for staff in staves:
        there = {(note.onset, note.pitch.midi) for note in kept}
        kept += [n for n in staff.notes if (n.onset, n.pitch.midi) not in there]
    return kept


def _as(notes: Sequence[SoundingNote], hand: Hand) -> Iterator[SoundingNote]:
    voice = Voice.BASS if hand is Hand.LEFT else Voice.INNER
    for note in notes:
        yield note._replace(hand=hand, voice=voice)


def strikes(notes: Sequence[SoundingNote]) -> list[list[SoundingNote]]:
    """Return notes by where they begin, in order, each strike from the lowest up."""
    struck: dict[Fraction, list[SoundingNote]] = defaultdict(list)
    for note in sorted(notes, key=lambda note: (note.onset, note.pitch.midi)):
        struck[note.onset].append(note)
    return list(struck.values())


def below_the_gap(strike: Sequence[SoundingNote]) -> list[SoundingNote]:
    """Return the notes of a strike that are the left hand's, where one staff has both.

    They lie below the widest gap, and no higher than the left hand plays.
    """
    if strike[0].pitch.midi > NEAREST_HIGHEST:
        return []
    gaps = [high.pitch.midi - low.pitch.midi for low, high in pairwise(strike)]
    under = strike[: gaps.index(max(gaps)) + 1] if gaps else strike
    fine = under[-1].pitch.midi <= NEAREST_HIGHEST
    return list(under if fine else strike[:1])


def _one_staff(staff: Staff) -> PlayedHands:
    chords = [strike for strike in strikes(staff.notes) if len(strike) > 1]
    wide = [
        strike
        for strike in chords
        if strike[-1].pitch.midi - strike[0].pitch.midi > _OCTAVE
        and below_the_gap(strike)
    ]
    # Inner notes may be struck again and again over one bass.
    if 4 * len(wide) < len(chords) or not wide:
        return PlayedHands(tuple(_as(staff.notes, Hand.RIGHT)))
    left = {note for strike in strikes(staff.notes) for note in below_the_gap(strike)}
    right = [note for note in staff.notes if note not in left]
    return PlayedHands(
        (*_as(right, Hand.RIGHT), *_as(list(left), Hand.LEFT)),
        ("One staff holds both hands: its low notes were read as the left hand.",),
    )


def _alone(right: Sequence[SoundingNote]) -> bool:
    """Whether a right hand has one note at a time."""
    return bool(right) and all(len(strike) == 1 for strike in strikes(right))


def _chords(left: Sequence[SoundingNote]) -> bool:
    """Whether a left hand has chords: three notes at most places, not all bare."""
    struck = strikes(left)
    sounding = [[n for n in left if n.onset <= s[0].onset < n.end] for s in struck]
    full = [notes for notes in sounding if len(notes) > 2]
    whole = [notes for notes in full if len({n.pitch.pitch_class for n in notes}) > 2]
    return 2 * len(full) > len(struck) and bool(whole)


def _lifted(
    left: Sequence[SoundingNote], right: Sequence[SoundingNote]
) -> Iterator[SoundingNote]:
    """Yield a left hand whose upper notes are inner ones, in reach of the tune or not.

    A chord that lies right under the tune is the right hand's, written on the other
    staff; one in its own register is played by the left hand.
    """
    for strike in strikes(left):
        onset, lowest = strike[0].onset, strike[0].pitch.midi
        over = [n.pitch.midi for n in right if n.onset <= onset < n.end]
        # Inner notes may be struck again over a bass that is held or has stopped.
        again = lowest > NEAREST_HIGHEST or any(
            n.onset < onset < n.end and n.pitch.midi < lowest for n in left
        )
        upper = strike if again else strike[1:]
        yield from _as(strike[: len(strike) - len(upper)], Hand.LEFT)
        near = bool(over and upper) and over[-1] - upper[0].pitch.midi <= _OCTAVE
        for note in upper:
            hand = Hand.RIGHT if near else Hand.LEFT
            yield note._replace(hand=hand, voice=Voice.INNER)
