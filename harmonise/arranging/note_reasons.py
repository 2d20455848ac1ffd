"""Reasons that lie in the tune: where it begins and ends, and which notes a chord has.

Each is a fact that holds for the chosen chord of a slot and not for another one, in
words, or "" where it does not. All of them are common practice.
"""

from fractions import Fraction

from harmonise.arranging.scene import (
    Pair,
    Stretch,
    has,
    is_dominant,
    is_tonic,
    named_step,
    seventh_of,
)
from harmonise.errors import format_beat, listed
from harmonise.theory.chord import Member

_OPEN, _REST = (2, 4, 5, 7), (1, 3, 5)
"""Degrees on which a line may stay open on V or VII, and those at rest on I."""
_MEMBERS = (Member.ROOT, Member.THIRD, Member.FIFTH, Member.SEVENTH)
"""Members of a chord, the firmest first."""


def ends(pair: Pair) -> str:
    """Tell of the tonic at the end of the tune."""
    last = pair.slot == pair.scene.choice.grid.slots - 1
    rests = is_tonic(pair.mine) and not is_tonic(pair.other)
    return "the tune ends on the tonic" if last and rests else ""


def begins(pair: Pair) -> str:
    """Tell of the tonic as the first chord."""
    rests = is_tonic(pair.mine) and not is_tonic(pair.other)
    return "the tune begins on the tonic" if rests and not pair.slot else ""


def half_close(pair: Pair) -> str:
    """Tell of a line that stays open on V or, in minor and modes, on VII."""
    degree = pair.scene.line_ends.get(pair.slot)
    opens = degree in _OPEN and pair.mine.family in ("V", "VII")
    if not opens or pair.other.family == pair.mine.family:
        return ""
    return f"the line ends here on {degree}: a half cadence"


def closes(pair: Pair) -> str:
    """Tell of a line that comes to rest on the tonic."""
    degree = pair.scene.line_ends.get(pair.slot)
    rests = is_tonic(pair.mine) and not is_tonic(pair.other)
    if degree not in _REST or not rests:
        return ""
    if is_dominant(pair.before):
        return f"{named_step(pair.before, pair.mine)} closes the line"
    return f"the line comes to rest on {degree}"


def makes_close(pair: Pair) -> str:
    """Tell of the dominant before the tonic that ends a line or the tune."""
    parts = is_dominant(pair.mine) and not is_dominant(pair.other)
    if not (parts and is_tonic(pair.after) and pair.scene.is_close(pair.slot + 1)):
        return ""
    last = pair.slot + 2 == pair.scene.choice.grid.slots
    what = "tune" if last else "line"
    return f"{named_step(pair.mine, pair.after)} closes the {what}"


def tune_has_seventh(pair: Pair) -> str:
    """Tell of a seventh in the tune that the same chord without it lacks."""
    seventh = seventh_of(pair.mine)
    if seventh is None or pair.mine.chord.root != pair.other.chord.root:
        return ""
    sung = seventh in pair.scene.names(pair.slot) and not has(pair.other, seventh)
    return f"its seventh, {seventh}, is in the tune" if sung else ""


def more_notes(pair: Pair) -> str:
    """Tell which notes of the tune either chord has, where the chosen one has more."""
    notes = pair.scene.names(pair.slot)
    mine = [str(note) for note in notes if has(pair.mine, note)]
    other = [str(note) for note in notes if has(pair.other, note)]
    if len(mine) <= len(other):
        return ""
    ours, theirs = pair.symbols
    if not other:
        return f"{ours} has {listed(mine)}, {theirs} has not"
    return f"{ours} has {listed(mine)}, {theirs} only {listed(other)}"


def longer_here(pair: Pair) -> str:
    """Tell for how long the tune is in either chord in the slot."""
    return _longer(pair, pair.scene.heard(pair.slot), "here")


def longer_in_bar(pair: Pair) -> str:
    """Tell for how long the tune is in either chord in the bar."""
    return _longer(pair, pair.scene.heard_in_bar(pair.slot), "in the bar")


def _longer(pair: Pair, notes: list[Stretch], where: str) -> str:
    mine, other = (
        sum((note.length for note in notes if has(offer, note.name)), Fraction(0))
        / pair.scene.bar(pair.slot).time.unit
        for offer in (pair.mine, pair.other)
    )
    if mine <= other:
        return ""
    ours, theirs = pair.symbols
    time = f"{format_beat(mine)} {'beat' if mine <= 1 else 'beats'} {where}"
    few = f"for {format_beat(other)}" if other else "never"
    return f"the tune is in {ours} for {time}, in {theirs} {few}"


def first_note(pair: Pair) -> str:
    """Tell of the first note of the slot, which the other chord lacks."""
    notes = pair.scene.names(pair.slot)
    if not notes or not has(pair.mine, notes[0]) or has(pair.other, notes[0]):
        return ""
    ours, theirs = pair.symbols
    return f"{notes[0]}, the first note here, is in {ours}, not in {theirs}"


def one_note(pair: Pair) -> str:
    """Tell of the longest note that the other chord lacks."""
    parts = [
        note
        for note in pair.scene.heard(pair.slot)
        if has(pair.mine, note.name) and not has(pair.other, note.name)
    ]
    if not parts:
        return ""
    ours, theirs = pair.symbols
    longest = max(parts, key=lambda note: note.length)
    return f"{ours} has {longest.name}, {theirs} has not"


def firmer_member(pair: Pair) -> str:
    """Tell of the first note as a firmer member: the root before the third."""
    notes = pair.scene.names(pair.slot)
    if not notes:
        return ""
    mine, other = (
        offer.chord.member_of(notes[0].pitch_class) for offer in (pair.mine, pair.other)
    )
    if mine not in _MEMBERS or other not in _MEMBERS:
        return ""
    if _MEMBERS.index(mine) >= _MEMBERS.index(other):
        return ""
    ours, theirs = pair.symbols
    words = (mine.name.lower(), other.name.lower())
    return f"{notes[0]} is the {words[0]} of {ours}, the {words[1]} of {theirs}"
