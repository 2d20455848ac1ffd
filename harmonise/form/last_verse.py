"""The last verse, varied: other hands, other chords, another key, the same tune.

Tune and cadences stay: the chords over the end of every line are those of the other
verses, whatever is chosen. Other chords, another key or another left hand are arranged
anew; octaves in the right hand and pedals are put into what was arranged, so that the
rest stays note for note. Source: common practice.
"""

from fractions import Fraction
from itertools import groupby, pairwise

from harmonise.errors import HarmoniseError
from harmonise.form.introduction import Arranged
from harmonise.form.pedal import with_pedal
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
    Texture,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import (
    LEFT_HAND_GAP,
    LEFT_HAND_LOWEST,
    OCTAVE_LOWEST,
    low_interval,
    with_fingers,
)
from harmonise.theory.slices import clipped, later
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import ChordAt, Tune
from harmonise.theory.voicing import thin_right_hand

_OCTAVE = 12
_LOWEST = 53
"""F3: lowest note of the right hand's octaves; below it they growl and read badly."""


def in_octaves(music: Arrangement) -> Arrangement:
    """Return an arrangement with its tune in octaves, and one inner note between.

    The tune stays on top. The octave below it is an inner note, so it is played only
    where the tune note belongs to its chord, the left hand can make room, if need be an
    octave lower, and the octave is not lower than F3. Chords under which no tune note
    can be doubled stay as they are. An octave doubling is one line, not two: the rule
    that warns of parallel octaves does not know it.

    Raises:
        HarmoniseError: If the right hand may not reach an octave.
    """
    if music.style.span < _OCTAVE:
        raise HarmoniseError(
            f"The right hand may reach {music.style.span} semitones only, so the last "
            "verse cannot have its tune in octaves.",
            None,
            "Allow a reach of 12 semitones, or vary the last verse otherwise.",
        )
    notes = list(music.notes)
    for span in Score(music).spans:
        notes = _doubled(music, span, notes)
    ordered = in_order(notes)
    if music.style.fingering:
        ordered = with_fingers(tuple(note._replace(finger=0) for note in ordered))
    return music._replace(notes=ordered)


def _doubled(
    music: Arrangement, span: Span, notes: list[SoundingNote]
) -> list[SoundingNote]:
    """Return the notes with those under one chord in octaves where that can be."""
    inside = [
        note
        for note in notes
        if note.onset < span.end and note.onset + note.length > span.onset
    ]
    under = [note for note in inside if note.voice is not Voice.TUNE]
    melody = (note for note in inside if note.voice is Voice.TUNE)
    every = later(clipped(melody, span.onset, span.end), span.onset)
    tune = [note for note in every if any(_together(note, other) for other in under)]
    left = [note for note in under if note.hand is Hand.LEFT]
    moved = _with_room(left, tune, span.chord)
    made = _inner_notes(music, span, tune, moved)
    if not made:
        return notes
    # What was struck before the first octave goes on sounding up to it.
    first = made[0].onset
    kept = [
        note._replace(length=min(note.length, first - note.onset))
        for note in inside
        if note.voice is Voice.INNER and note.onset < first
    ]
    # Equal notes may be struck in both hands, so they are told apart by identity.
    gone = {id(note) for note in under}
    return [*(note for note in notes if id(note) not in gone), *moved, *kept, *made]


def _together(one: SoundingNote, other: SoundingNote) -> bool:
    """Return whether two notes sound at once."""
    starts = max(one.onset, other.onset)
    return starts < min(one.onset + one.length, other.onset + other.length)


def _with_room(
    left: list[SoundingNote], tune: list[SoundingNote], chord: Chord
) -> list[SoundingNote]:
    """Return the left hand, an octave lower if only that leaves room for octaves."""
    high = [note for note in tune if note.pitch.midi - _OCTAVE >= _LOWEST]
    doubled = [note for note in high if note.pitch.name in chord.members]
    if not left or all(_has_room(note, left) for note in doubled):
        return left
    lower = [
        note._replace(pitch=note.pitch._replace(octave=note.pitch.octave - 1))
        for note in left
    ]
    return lower if _is_clear(lower) else left


def _is_clear(left: list[SoundingNote]) -> bool:
    """Return whether left-hand notes are not too low, alone or together."""
    ordered = in_order(left)
    for low, high in pairwise(ordered):
        if low.onset == high.onset and low_interval(low.pitch.midi, high.pitch.midi):
            return False
    # Two low notes at once growl sooner than one.
    together = len({note.onset for note in left}) < len(left)
    lowest = OCTAVE_LOWEST if together else LEFT_HAND_LOWEST
    return min(note.pitch.midi for note in left) >= lowest


def _has_room(note: SoundingNote, left: list[SoundingNote]) -> bool:
    """Return whether the octave below a tune note is clear of the left hand."""
    heights = (other.pitch.midi for other in left if _together(note, other))
    octave = note.pitch.midi - _OCTAVE
    highest = max(heights, default=LEFT_HAND_LOWEST)
    return octave >= _LOWEST and highest <= octave - LEFT_HAND_GAP


def _inner_notes(
    music: Arrangement, span: Span, tune: list[SoundingNote], left: list[SoundingNote]
) -> list[SoundingNote]:
    """Return what is struck under each tune note that can be doubled.

    The inner note is struck with notes of a beat or longer and with the first of each
    slot; notes down to half a beat have the octave alone. Quicker notes, notes foreign
    to the chord and notes that go alone anyway, as pickups do, are played as they are.
    """
    inner: list[SoundingNote] = []
    chord, bare = span.chord, [slot.onset for slot in span.slots]
    for note in tune:
        if note.pitch.name not in chord.members or not _has_room(note, left):
            continue
        end = note.onset + note.length
        # Each slot needs its harmony once, by the first note that can carry it.
        new = bare and bare[0] < end
        beat = music.tune.bar_at(note.onset).time.beat
        if not new and note.length < beat / 2:
            continue
        full = new or note.length >= beat
        bare = [onset for onset in bare if onset >= end] if full else bare
        inner += [
            SoundingNote(note.onset, note.length, pitch, Hand.RIGHT, Voice.INNER)
            for pitch in _under(chord, note.pitch, full=bool(full))
        ]
    return inner


def _under(chord: Chord, top: Pitch, *, full: bool) -> tuple[Pitch, ...]:
    """Return the octave below a tune note, and one inner note if it is `full`."""
    octave = top._replace(octave=top.octave - 1)
    if not full:
        return (octave,)
    return octave, thin_right_hand(chord, top)[0]


_RISES = {LastVerse.SEMITONE: 1, LastVerse.TONE: 2}
_HANDS = {LastVerse.LEFT_OCTAVES: LeftHand.OCTAVE, LastVerse.WALKING: LeftHand.WALKING}
_PEDALS = {LastVerse.TONIC_PEDAL: 1, LastVerse.DOMINANT_PEDAL: 5}
_RICH_LEVEL = 3
"""Lowest level of four parts that has V7, vi and ii."""
_HIGHEST_LEVEL = 4


def rise_of(choices: tuple[LastVerse, ...]) -> int:
    """Return how many semitones the last verse goes up."""
    return next((_RISES[way] for way in choices if way in _RISES), 0)


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
    verse = _arranged_anew(music, choices, arranged)
    if LastVerse.TUNE_OCTAVES in choices:
        verse = in_octaves(verse)
    for choice, degree in _PEDALS.items():
        if choice in choices:
            verse = with_pedal(verse, degree, cadence_slots(verse))
    return verse


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
    verse = arranged(tune, style)
    slots = verse.slots
    if LastVerse.RICHER in choices:
        slots = tuple(map(_kept, music.slots, slots))
    return verse._replace(slots=slots)


def _kept(old: Slot, new: Slot) -> Slot:
    """Return a slot of the richer verse; locks of cadences are not the user's own."""
    if new.locked == old.locked:
        return new
    reason = new.reason.replace(", as you locked it.", ", as in the other verses.")
    return new._replace(locked=old.locked, reason=reason, alternatives=())


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
        style = style._replace(richer=True)
        if style.texture is Texture.HYMN:
            # Four parts choose among the chords of a level.
            level = max(_RICH_LEVEL, style.level + 1)
            style = style._replace(level=min(_HIGHEST_LEVEL, level))
    # The locks of the style are on the tune now, so that they move with its key.
    tune = music.tune._replace(locks=locks)
    return tune, style._replace(locks=(), strict=False)


def cadence_slots(music: Arrangement) -> frozenset[Fraction]:
    """Return the onsets of the slots that stay: the first, and those of the cadences.

    A cadence is the last chord of a line and the slot before it.
    """
    slots = [slot for slot in music.slots if slot.chord]
    onsets = {slots[0].onset} if slots else set()
    for end in {*music.tune.phrases, music.tune.end}:
        before = (slot for slot in slots if slot.onset < end)
        runs = [tuple(run) for _, run in groupby(before, lambda slot: slot.chord)]
        kept = (*(runs[-2:-1] or [()])[0][-1:], *(runs[-1] if runs else ()))
        onsets |= {slot.onset for slot in kept}
    return frozenset(onsets)
