"""The last verse, varied: other hands, other chords, another key, the same tune.

Tune and cadences stay: the chords over the end of every line are those of the other
verses. What asks for other chords or another left hand is arranged anew; octaves in the
right hand and pedals are put into what was arranged.
"""

from fractions import Fraction

from harmonise.form.introduction import Arranged
from harmonise.form.octaves import in_octaves
from harmonise.form.pedals import with_pedal
from harmonise.form.plan import LastVerse, assert_agree
from harmonise.theory.arrangement import Arrangement, LeftHand, Slot, Style
from harmonise.theory.key import Key
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import ChordAt, Tune

_RISES = {LastVerse.SEMITONE: 1, LastVerse.TONE: 2}
_HANDS = {
    LastVerse.LEFT_OCTAVES: LeftHand.OCTAVE,
    LastVerse.WALKING: LeftHand.WALKING,
}
_PEDALS = {LastVerse.TONIC_PEDAL: 1, LastVerse.DOMINANT_PEDAL: 5}
_RICH_LEVEL = 3
"""Lowest level that has V7, vi and ii."""
_HIGHEST_LEVEL = 4


def rise_of(choices: tuple[LastVerse, ...]) -> int:
    """Return how many semitones the last verse goes up."""
    return next((_RISES[own] for own in choices if own in _RISES), 0)


def last_key(tune: Tune, choices: tuple[LastVerse, ...]) -> Key:
    """Return the key of the last verse."""
    return key_moved(tune.key, rise_of(choices))


def last_verse(
    music: Arrangement, choices: tuple[LastVerse, ...], arranged: Arranged
) -> Arrangement:
    """Return the last verse.

    Args:
        music: The verse as it was before.
        choices: How it is varied, at least one.
        arranged: Makes an arrangement.

    Raises:
        HarmoniseError: If two choices contradict each other, if the metre does not suit
            the left hand, or if the right hand may not reach an octave.
    """
    assert_agree(choices)
    found = _arranged_anew(music, choices, arranged)
    if LastVerse.TUNE_OCTAVES in choices:
        found = in_octaves(found)
    for choice, degree in _PEDALS.items():
        if choice in choices:
            found = with_pedal(found, degree, cadence_slots(found))
    return found


def _arranged_anew(
    music: Arrangement, choices: tuple[LastVerse, ...], arranged: Arranged
) -> Arrangement:
    """Return the verse with the chords, left hand and key that were chosen."""
    anew = {*_HANDS, *_RISES, LastVerse.RICHER}
    if not anew & set(choices):
        return music
    tune, style = _asked(music, choices)
    rise = rise_of(choices)
    if rise:
        tune = transposed(tune, key_moved(tune.key, rise), rise)
    found = arranged(tune, style)
    slots = found.slots
    if LastVerse.RICHER in choices:
        own = {slot.onset for slot in music.slots if slot.locked}
        slots = tuple(slot._replace(locked=slot.onset in own) for slot in slots)
    return found._replace(slots=slots)


def _asked(music: Arrangement, choices: tuple[LastVerse, ...]) -> tuple[Tune, Style]:
    """Return the tune with every locked chord, and the style of the last verse."""
    style, locks = music.style, music.style.locks
    for choice, hand in _HANDS.items():
        if choice in choices:
            sections = tuple(own._replace(left_hand=None) for own in style.sections)
            style = style._replace(left_hand=hand, sections=sections)
    if LastVerse.RICHER in choices:
        locks = (*locks, *_locked(music, cadence_slots(music)))
        level = max(_RICH_LEVEL, style.level + 1)
        style = style._replace(level=min(_HIGHEST_LEVEL, level))
    tune = music.tune._replace(locks=locks)
    return tune, style._replace(locks=(), strict=False)


def cadence_slots(music: Arrangement) -> frozenset[Fraction]:
    """Return the onsets of the slots that stay: the first, and those of the cadences.

    A cadence is the last two chords of a line.
    """
    slots = [slot for slot in music.slots if slot.chord]
    found = {slots[0].onset} if slots else set()
    for end in {*music.tune.phrases, music.tune.end}:
        before = [slot for slot in slots if slot.onset < end]
        changes = 0
        for number in range(len(before) - 1, -1, -1):
            found.add(before[number].onset)
            new = number == 0 or before[number - 1].chord != before[number].chord
            changes += new
            if changes == 2:
                break
    return frozenset(found)


def _locked(music: Arrangement, onsets: frozenset[Fraction]) -> list[ChordAt]:
    return [_lock(slot) for slot in music.slots if slot.onset in onsets and slot.chord]


def _lock(slot: Slot) -> ChordAt:
    if slot.chord is None:
        msg = "a slot without a chord cannot be locked"
        raise AssertionError(msg)
    return ChordAt(slot.onset, slot.end, slot.chord)
