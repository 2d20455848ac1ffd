"""The last verse, varied: other hands, other chords, another key, the same tune.

Tune and cadences stay: the chords over the end of every line are those of the other
verses. What asks for other chords or another left hand is arranged anew; octaves in the
right hand and pedals are put into what was arranged.

Tonic and dominant pedals: the left hand stays while the chords move over it.

A pedal stands under neighbouring chords that all have its note, so every chord is still
what its symbol says, in another inversion; at cadences the roots come back. Common
practice allows chords foreign to the pedal too; ours never sound against it.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from harmonise.form.introduction import Arranged
from harmonise.form.octaves import in_octaves
from harmonise.form.plan import LastVerse, assert_agree
from harmonise.form.splicing import in_order
from harmonise.rules.score_view import Score, Span
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    LeftHand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Inversion
from harmonise.theory.key import Key
from harmonise.theory.numerals import numeral
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.reach import bass_under
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import ChordAt, Tune


class Pedal(NamedTuple):
    """A pedal: its pitch, and from where to where it lasts."""

    pitch: Pitch
    start: Fraction
    end: Fraction


def with_pedal(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> Arrangement:
    """Return an arrangement with a pedal wherever neighbouring chords allow one.

    Args:
        music: The arrangement.
        degree: 1 for the tonic, 5 for the dominant.
        kept: Onsets of the slots that stay as they are.
    """
    notes, slots = list(music.notes), music.slots
    for pitch, start, end in _pedals(music, degree, kept):
        notes = [n for n in notes if n.hand is Hand.RIGHT or not start <= n.onset < end]
        # It is struck again at every bar line: a piano's note dies away.
        inside = (bar.start for bar in music.tune.bars if start < bar.start < end)
        notes += [
            SoundingNote(at, stop - at, pitch, Hand.LEFT, Voice.BASS)
            for at, stop in pairwise((start, *inside, end))
        ]
        slots = tuple(
            _over(slot, pitch.name) if start <= slot.onset < end else slot
            for slot in slots
        )
    return music._replace(notes=in_order(notes), slots=slots)


def _pedals(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> Iterator[Pedal]:
    """Yield the pedals that an arrangement has room for."""

    def note_of(span: Span) -> PitchName | None:
        name = span.key.name_at(degree)
        stays = any(slot.onset in kept or slot.locked for slot in span.slots)
        return None if stays or name not in span.chord.members else name

    for name, group in groupby(Score(music).spans, note_of):
        run = tuple(group)
        start, end = run[0].onset, run[-1].end
        whole = all(one.end == other.onset for one, other in pairwise(run))
        # Under one chord alone it would be an inversion, not a pedal.
        if name is None or len(run) < 2 or not whole:
            continue
        lowest = min(
            note.pitch.midi
            for note in music.notes
            if note.hand is Hand.RIGHT
            and note.onset < end
            and note.onset + note.length > start
        )
        # The pedal stays below the lowest note that the right hand plays over it.
        midi = bass_under(name.pitch_class, lowest)
        if midi is not None:
            yield Pedal(name.at(midi), start, end)


def _over(slot: Slot, pedal: PitchName) -> Slot:
    """Return a slot whose chord has the pedal in the bass."""
    if slot.chord is None:
        return slot
    inversion = Inversion(slot.chord.members.index(pedal))
    chord = slot.chord._replace(inversion=inversion)
    return slot._replace(chord=chord, numeral=numeral(chord, slot.key))


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
    return next((_RISES[way] for way in choices if way in _RISES), 0)


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
    # Pedals and octaves are put into what is there: it stays note for note.
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
        # The cadences were locked for this verse only, not by the user.
        typed = {slot.onset for slot in music.slots if slot.locked}
        slots = tuple(slot._replace(locked=slot.onset in typed) for slot in slots)
    return found._replace(slots=slots)


def _asked(music: Arrangement, choices: tuple[LastVerse, ...]) -> tuple[Tune, Style]:
    """Return the tune with every locked chord, and the style of the last verse."""
    style, locks = music.style, music.style.locks
    for choice, hand in _HANDS.items():
        if choice in choices:
            # The choice holds for the whole verse, so sections lose their left hands.
            sections = tuple(part._replace(left_hand=None) for part in style.sections)
            style = style._replace(left_hand=hand, sections=sections)
    if LastVerse.RICHER in choices:
        kept = cadence_slots(music)
        locks += tuple(
            ChordAt(slot.onset, slot.end, slot.chord)
            for slot in music.slots
            if slot.chord and slot.onset in kept
        )
        level = max(_RICH_LEVEL, style.level + 1)
        style = style._replace(level=min(_HIGHEST_LEVEL, level))
    # The locks of the style are on the tune now, so that they move with its key.
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
