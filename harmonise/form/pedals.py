"""Tonic and dominant pedals: the left hand stays while the chords move over it.

A pedal stands under neighbouring chords that all have its note, so every chord is still
what its symbol says, in another inversion; at cadences the roots come back. Common
practice allows chords foreign to the pedal too; ours never sound against it.
"""

from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from harmonise.form.cutting import in_order
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.chord import Inversion, numeral
from harmonise.theory.limits import bass_under
from harmonise.theory.moments import Span, score_of
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Tune


class Pedal(NamedTuple):
    """A pedal note and the chords over it.

    Attributes:
        name: The note.
        spans: The chords, at least two.
        midi: Its place.
    """

    name: PitchName
    spans: tuple[Span, ...]
    midi: int

    def holds(self, onset: Fraction) -> bool:
        """Return whether a place is over the pedal."""
        return self.spans[0].onset <= onset < self.spans[-1].end


def with_pedal(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> Arrangement:
    """Return an arrangement with a pedal wherever chords allow one.

    Args:
        music: The arrangement.
        degree: 1 for the tonic, 5 for the dominant.
        kept: Onsets of the slots that stay as they are.
    """
    pedals = find_pedals(music, degree, kept)
    notes = [
        note
        for note in music.notes
        if note.hand is Hand.RIGHT or not any(own.holds(note.onset) for own in pedals)
    ]
    for pedal in pedals:
        notes += _held(music.tune, pedal)
    slots = tuple(_over(slot, pedals) for slot in music.slots)
    return music._replace(notes=in_order(notes), slots=slots)


def find_pedals(
    music: Arrangement, degree: int, kept: frozenset[Fraction]
) -> tuple[Pedal, ...]:
    """Return the pedals that an arrangement has room for, in order."""
    spans = score_of(music).spans

    def note_of(span: Span) -> PitchName | None:
        name = span.key.name_at(degree)
        stays = any(slot.onset in kept or slot.locked for slot in span.slots)
        return None if stays or name not in span.chord.members else name

    found = []
    for name, group in groupby(spans, note_of):
        run = tuple(group)
        if name is None or len(run) < 2:
            continue
        lowest = min(
            note.pitch.midi
            for note in music.notes
            if note.hand is Hand.RIGHT
            and note.onset < run[-1].end
            and note.onset + note.length > run[0].onset
        )
        midi = bass_under(name.pitch_class, lowest)
        if midi is not None and all(map(_touches, run, run[1:])):
            found.append(Pedal(name, run, midi))
    return tuple(found)


def _touches(one: Span, other: Span) -> bool:
    return one.end == other.onset


def _held(tune: Tune, pedal: Pedal) -> list[SoundingNote]:
    """Return the pedal note, struck again at every bar line."""
    start, end = pedal.spans[0].onset, pedal.spans[-1].end
    inside = (bar.start for bar in tune.bars if start < bar.start < end)
    edges = [start, *inside, end]
    return [
        SoundingNote(at, stop - at, pedal.name.at(pedal.midi), Hand.LEFT, Voice.BASS)
        for at, stop in pairwise(edges)
    ]


def _over(slot: Slot, pedals: tuple[Pedal, ...]) -> Slot:
    """Return a slot whose chord has the pedal in the bass if it is over one."""
    pedal = next((own for own in pedals if own.holds(slot.onset)), None)
    if pedal is None or slot.chord is None:
        return slot
    inversion = Inversion(slot.chord.members.index(pedal.name))
    chord = slot.chord._replace(inversion=inversion)
    return slot._replace(chord=chord, numeral=numeral(chord, slot.key))
