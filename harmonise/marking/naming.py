"""Which chord notes make, and which chord is in force where a pupil chooses them.

Labels as pupils and printers write them, made plain.
"""

from collections.abc import Sequence
from fractions import Fraction

from harmonise.choice.palette import palette
from harmonise.theory.arrangement import Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord, leading_note, numeral
from harmonise.theory.key import Key, Mode
from harmonise.theory.tune import ChordAt

_WIDEST = 4
"""The level whose palette holds every chord that is taught."""


def sounding_at(
    notes: Sequence[SoundingNote], onset: Fraction, end: Fraction
) -> list[SoundingNote]:
    """Return the notes that sound at a place, or else first before another one."""
    found = [n for n in notes if n.onset <= onset < n.onset + n.length]
    later = [n.onset for n in notes if onset < n.onset < end]
    if any(n.voice is not Voice.TUNE for n in found) or not later:
        return found
    first = min(later)
    return [n for n in notes if n.onset <= first < n.onset + n.length]


def chord_made(notes: Sequence[SoundingNote], key: Key) -> Chord | None:
    """Return the chord of a key that both hands make; None if they make none.

    It is complete, all of its notes but the tune are in it, and its root is in the
    bass: a slip in one voice makes no other chord.
    """
    under = [n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE]
    bass = [n.pitch for n in notes if n.voice is Voice.BASS]
    if not bass or len(bass) == len(under):
        return None
    lowest = min(bass, key=lambda pitch: pitch.midi).pitch_class
    every = {note.pitch.pitch_class for note in notes}
    found = [
        offer.chord
        for offer in palette(key, _WIDEST)
        if offer.chord == offer.chord.upright
        and offer.chord.root.pitch_class == lowest
        and set(under) <= set(offer.chord.pitch_classes)
        and set(offer.chord.pitch_classes[:3]) <= every
    ]
    sevenths = [chord for chord in found if set(chord.pitch_classes) <= set(under)]
    return next(iter([*sevenths, *found]), None)


def likeliest(
    notes: Sequence[SoundingNote], accepted: Sequence[Chord], made: Chord | None
) -> Chord | None:
    """Return the chord that is meant where none is named.

    The first of those accepted that has every note under the tune; or the chord that
    the notes make; or the first of those accepted, against which slips are told.

    Args:
        notes: All that is struck in the slot.
        accepted: What is right in the slot, the model first.
        made: What the notes make at its start.
    """
    under = [n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE]
    fits = [own for own in accepted if set(under) <= set(own.pitch_classes)]
    return next(iter([*fits, *([made] if made else []), *accepted]), None)


def symbol_at(symbols: Sequence[ChordAt], onset: Fraction) -> ChordAt | None:
    """Return the chord symbol in force at a place."""
    return next((own for own in symbols if own.onset <= onset < own.end), None)


def is_unraised(meant: Chord, made: Chord | None, key: Key) -> bool:
    """Whether notes are the dominant of a minor key but for the raised seventh."""
    if made is None or key.mode is not Mode.MINOR or made.root != meant.root:
        return False
    raised = leading_note(meant, key)
    return raised is not None and raised not in made.members


def is_misnamed(
    symbol: Chord, made: Chord | None, notes: Sequence[SoundingNote], key: Key
) -> bool:
    """Whether a symbol names another chord than the notes make.

    A dominant without its raised seventh is named right and played wrong.
    """
    if made is None or symbol.upright == made or is_unraised(symbol, made, key):
        return False
    under = [n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE]
    return any(symbol.member_of(own) is None for own in under)


def same_root(before: Chord | None, made: Chord | None) -> bool:
    """Whether notes may still be the chord before: they make it, or nothing."""
    return before is not None and (made is None or made.root == before.root)


def sounding_members(chord: Chord) -> int:
    """Return how many notes a chord has."""
    return len(chord.members)


def in_force(slot: Slot, chord: Chord | None) -> Slot:
    """Return a slot under a chord of the pupil's."""
    return slot._replace(
        chord=chord,
        numeral=numeral(chord, slot.key) if chord else "",
        alternatives=(),
        reason="",
        locked=False,
    )


_PLAIN = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉♯♭", "01234567890123456789#b")
_STACKED = ("53", "63", "64", "65", "43", "42")


def plain(text: str) -> str:
    """Return a label without raised, lowered or printed signs.

    >>> plain("V⁶₅"), plain("B♭"), plain("First inversion"), plain("⁶₃")
    ('V6/5', 'Bb', 'first', '6/3')
    """
    bare = text.translate(_PLAIN)
    for figures in _STACKED:
        if bare.endswith(figures):
            bare = f"{bare[:-2]}{figures[0]}/{figures[1]}"
    words = bare.lower().removesuffix(" inversion").removesuffix(" position")
    return words if words in ("root", "first", "second", "third", "open") else bare
