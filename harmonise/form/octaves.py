"""The tune in octaves of the right hand, with one inner note.

The tune stays on top; the octave below it is an inner note, so it is played only where
the tune note belongs to its chord and the left hand can make room, if need be an octave
lower, and where the octave is not lower than F3. The inner note is the third of the
chord or, under the third, its root. It is struck with notes of a beat or longer and
with the first of each slot; notes down to half a beat have the octave alone. Quicker
notes, notes foreign to the chord and notes that go alone anyway, as pickups do, are
played as they are (common practice). An octave doubling is one line, not two: the rule
that warns of parallel octaves does not know it.
"""

from itertools import pairwise

from harmonise.errors import HarmoniseError
from harmonise.form.splicing import in_order
from harmonise.rules.score_view import Score, Span
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
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
from harmonise.theory.voicing import thin_right_hand

_OCTAVE = 12
_LOWEST = 53
"""F3: lowest note of the right hand's octaves; below it they growl and read badly."""


def in_octaves(music: Arrangement) -> Arrangement:
    """Return an arrangement with its tune in octaves.

    Chords under which no tune note can be doubled stay as they are.

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
    music: Arrangement,
    span: Span,
    tune: list[SoundingNote],
    left: list[SoundingNote],
) -> list[SoundingNote]:
    """Return what is struck under each tune note that can be doubled."""
    found: list[SoundingNote] = []
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
        found += [
            SoundingNote(note.onset, note.length, pitch, Hand.RIGHT, Voice.INNER)
            for pitch in _under(chord, note.pitch, full=bool(full))
        ]
    return found


def _under(chord: Chord, top: Pitch, *, full: bool) -> tuple[Pitch, ...]:
    """Return the octave below a tune note, and one inner note if it is `full`."""
    octave = top._replace(octave=top.octave - 1)
    if not full:
        return (octave,)
    return octave, thin_right_hand(chord, top)[0]
