"""Answers to questions by ear that are played on a keyboard, and not told.

A bass line is played note by note, a chord as its notes in any order and octave, the
note on top as that note. Same or different, and cadences, are told in words.
"""

from collections.abc import Sequence

from harmonise.errors import NotationError, listed
from harmonise.lessons.aural import AuralItem, AuralKind
from harmonise.lessons.aural_questions import MEMBERS
from harmonise.notation.midi.spelling import spell
from harmonise.theory.chord import Chord, Member
from harmonise.theory.numerals import parse_numeral

_CHORDS = (AuralKind.CHORD, AuralKind.MISSING)
_MOST_OF_CHORD = 4


def most_keys(item: AuralItem) -> int:
    """Return how many keys answer a question at most; 0 if it is told in words."""
    if item.kind in _CHORDS:
        return _MOST_OF_CHORD
    if item.kind is AuralKind.BASS:
        return item.marks
    return 1 if item.kind is AuralKind.POSITION else 0


def played_answer(item: AuralItem, keys: Sequence[int]) -> str:
    """Return what was played, in the words of an answer.

    Args:
        item: The question.
        keys: The keys in order, 60 for middle C; of a bass line the given note aside.

    Raises:
        NotationError: If no answer is played so.
    """
    if item.kind is AuralKind.BASS:
        spelled = spell(list(keys), [item.key] * len(keys))
        return " ".join(str(pitch.name) for pitch in spelled)
    classes = {key % 12 for key in keys}
    for answer, wanted in _playable(item):
        if classes == wanted:
            return answer
    raise NotationError(
        f"These keys are none of the answers: {listed(list(item.choices))}.",
        None,
        "Play every note of the chord, in any octave."
        if item.kind in _CHORDS
        else "Play the root, the third or the fifth of the last chord.",
    )


def _playable(item: AuralItem) -> list[tuple[str, set[int]]]:
    """Return the answers that can be played, with their pitch classes."""
    if item.kind in _CHORDS:
        return [
            (each, set(classes))
            for each in item.choices
            for classes in _ways(parse_numeral(each, item.key))
        ]
    if item.kind is not AuralKind.POSITION:
        return []
    last = _last_chord(item)
    names = ((word, last.member(member)) for word, member in MEMBERS.items())
    return [(word, {name.pitch_class}) for word, name in names if name]


def _ways(chord: Chord) -> list[tuple[int, ...]]:
    """Return the pitch classes of a chord; a seventh chord may go without its fifth."""
    classes, fifth = chord.pitch_classes, chord.member(Member.FIFTH)
    if fifth is None or len(classes) < _MOST_OF_CHORD:
        return [classes]
    return [classes, tuple(one for one in classes if one != fifth.pitch_class)]


def _last_chord(item: AuralItem) -> Chord:
    return next(slot.chord for slot in reversed(item.score.slots) if slot.chord)
