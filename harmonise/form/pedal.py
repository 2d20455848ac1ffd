"""Pedals: one note in the left hand while the chords go on above it.

The dominant is held through the last line up to its cadence, where it is the bass of V
and gathers strength for the close; the tonic is held in every line that bears it. A
chord that has the note is still what its symbol says, in another inversion. One that
does not may pass over it as long as the pedal begins and ends under chords that have
it, and as long as neither the chord nor the tune has the same letter with another
accidental meanwhile. Source: common practice.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from harmonise.form.splicing import in_order
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Voice,
)
from harmonise.theory.chord import Inversion
from harmonise.theory.numerals import numeral
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.reach import bass_under
from harmonise.theory.slices import clipped

DOMINANT = 5
"""The degree whose pedal leads to the close."""
_REACH = 16
"""Semitones of a tenth, the widest that a left hand reaches over a held note."""
_LEAST_CHORDS = 3
"""Under two chords it would be an inversion, not a pedal."""


class _Pedal(NamedTuple):
    """A pedal and the neighbouring slots that it lies under."""

    pitch: Pitch
    slots: tuple[Slot, ...]

    @property
    def start(self) -> Fraction:
        return self.slots[0].onset

    @property
    def end(self) -> Fraction:
        return self.slots[-1].end


def with_pedal(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> Arrangement:
    """Return an arrangement with pedals wherever three neighbouring chords bear one.

    Args:
        music: The arrangement.
        degree: 1 for the tonic, 5 for the dominant, which the last line alone has.
        kept: Onsets of the slots whose chords stay in their inversion.
    """
    notes, slots = list(music.notes), {slot.onset: slot for slot in music.slots}
    for pedal in _pedals(music, degree, kept):
        start, end = pedal.start, pedal.end
        notes = [
            n for n in notes if not start <= n.onset < end or _stays(n, pedal.pitch)
        ]
        # It is struck again at every bar line: a piano's note dies away.
        inside = (bar.start for bar in music.tune.bars if start < bar.start < end)
        notes += [
            SoundingNote(at, stop - at, pedal.pitch, Hand.LEFT, Voice.BASS)
            for at, stop in pairwise((start, *inside, end))
        ]
        over = (_over(slot, pedal.pitch.name) for slot in pedal.slots)
        slots |= {slot.onset: slot for slot in over}
    return music._replace(notes=in_order(notes), slots=tuple(slots.values()))


def _stays(note: SoundingNote, pedal: Pitch) -> bool:
    """Return whether a note sounds on over a pedal, as the tenor of four parts does."""
    tenor = note.voice is Voice.INNER and note.pitch != pedal
    near = 0 < note.pitch.midi - pedal.midi <= _REACH
    return note.hand is Hand.RIGHT or (tenor and near)


def _over(slot: Slot, pedal: PitchName) -> Slot:
    """Return a slot over a pedal, which is in the bass where the chord has it."""
    chord = slot.chord
    if chord and pedal in chord.members:
        chord = chord._replace(inversion=Inversion(chord.members.index(pedal)))
        slot = slot._replace(chord=chord, numeral=numeral(chord, slot.key))
    reason = f"{slot.reason} The left hand holds {pedal} as a pedal.".lstrip()
    return slot._replace(pedal=pedal, reason=reason)


def _pedals(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> Iterator[_Pedal]:
    """Yield the pedals that an arrangement has room for."""
    lines = list(_lines(music))
    for line in lines[-1:] if degree == DOMINANT else lines:

        def note_of(slot: Slot) -> PitchName | None:
            name = slot.key.name_at(degree)
            return name if _bears(music, slot, name, kept) else None

        for name, group in groupby(line, note_of):
            run = _between_own_chords(tuple(group), name) if name else ()
            chords = [chord for chord, _ in groupby(slot.chord for slot in run)]
            leads = degree != DOMINANT or _leads_home(line, run, kept)
            midi = _height(music, run, name) if name and run else None
            if name and midi and leads and len(chords) >= _LEAST_CHORDS:
                yield _Pedal(name.at(midi), run)


def _lines(music: Arrangement) -> Iterator[tuple[Slot, ...]]:
    """Yield the slots of each line that has any with a chord."""
    edges = sorted({Fraction(0), *music.tune.phrases, music.tune.end})
    for start, end in pairwise(edges):
        line = tuple(
            slot for slot in music.slots if slot.chord and start <= slot.onset < end
        )
        if line:
            yield line


def _bears(
    music: Arrangement, slot: Slot, pedal: PitchName, kept: frozenset[Fraction]
) -> bool:
    """Return whether a pedal may sound in a slot, under its chord or a foreign one."""
    if slot.chord is None:
        return False
    # What stays as it is can have it in the bass already.
    if slot.onset in kept or slot.locked:
        return slot.chord.bass == pedal
    tune = (note for note in music.notes if note.voice is Voice.TUNE)
    names = [note.pitch.name for note in clipped(tune, slot.onset, slot.end)]
    return all(
        name == pedal or name.letter != pedal.letter
        for name in (*names, *slot.chord.members)
    )


def _between_own_chords(slots: tuple[Slot, ...], pedal: PitchName) -> tuple[Slot, ...]:
    """Return slots from the first to the last whose chord has the pedal."""
    has = [bool(slot.chord and pedal in slot.chord.members) for slot in slots]
    if not any(has):
        return ()
    return slots[has.index(True) : len(has) - has[::-1].index(True)]


def _leads_home(
    line: tuple[Slot, ...], run: tuple[Slot, ...], kept: frozenset[Fraction]
) -> bool:
    """Return whether a pedal ends under the dominant itself, and its line with it."""
    last = run[-1] if run else None
    if last is None or last.chord is None or last.chord.bass != last.chord.root:
        return False
    after = (slot for slot in line if slot.onset >= last.end)
    own = last.chord.root == last.key.name_at(DOMINANT)
    return own and all(slot.onset in kept for slot in after)


def _height(music: Arrangement, run: tuple[Slot, ...], pedal: PitchName) -> int | None:
    """Return where the left hand holds a pedal, below all that is played over it."""
    upper = (note for note in music.notes if note.voice is not Voice.BASS)
    over = clipped(upper, run[0].onset, run[-1].end)
    return bass_under(pedal.pitch_class, min(note.pitch.midi for note in over))
