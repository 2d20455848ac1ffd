"""Which chord is in force where in a work, by its symbols or by what is played.

A symbol counts unless the notes make another chord of the key; without one the notes
count, and where they make none, that chord of those accepted that comes nearest. The
error is carried forward: a wrong chord goes on as long as its bass does.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.choice.palette import palette
from harmonise.marking.aligned import AlignedScript
from harmonise.marking.task import Task
from harmonise.theory.arrangement import Arrangement, Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord, Quality
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import leading_note, numeral
from harmonise.theory.pitch import PitchClass
from harmonise.theory.tune import ChordAt

_WIDEST = 4
"""The level whose palette holds every chord that is taught."""


class Misnamed(NamedTuple):
    """A chord whose symbol names another one.

    Attributes:
        onset: Crotchets from the start.
        symbol: What is written.
        made: What the notes make.
    """

    onset: Fraction
    symbol: Chord
    made: Chord


def chords_in_force(
    task: Task,
    judged: Arrangement,
    aligned: AlignedScript,
    walking: frozenset[SoundingNote],
) -> tuple[tuple[Slot, ...], tuple[Misnamed, ...]]:
    """Return the slots under the chords in force, and the symbols that mislead."""
    if not task.chosen:
        return tuple(_in_force(slot, slot.chord) for slot in task.model.slots), ()
    slots: list[Slot] = []
    misnamed: list[Misnamed] = []
    under: ChordAt | None = None
    for slot in _split(task.model, judged, aligned):
        written = symbol_at(aligned.symbols, slot.onset)
        notes = sounding_at(judged.notes, slot.onset, slot.end)
        made = chord_made(notes, slot.key)
        last = slots[-1].chord if slots else None
        # Symbol and bass of the slot before go on, and so does a slip in them.
        bass = [
            n.onset < slot.onset or n in walking for n in notes if n.voice is Voice.BASS
        ]
        held = bool(bass) and all(bass)
        # The notes may still be the chord that they made under a wrong symbol.
        same = last is not None and (made is None or made.root == last.root)
        chord: Chord | None
        if last and written and written == under and same:
            chord = _fuller(last, made, _meant(task, judged, slot, made), notes)
        elif slots and held and _goes_on(written, slot, last, notes):
            chord = last
        elif written and made and _is_misnamed(written.chord, made, notes, slot.key):
            misnamed.append(Misnamed(slot.onset, written.chord, made))
            chord, under = made, written
        else:
            meant = written.chord if written else _meant(task, judged, slot, made)
            chord, under = meant, None
        slots.append(_in_force(slot, chord))
    return tuple(slots), tuple(misnamed)


def _goes_on(
    written: ChordAt | None,
    slot: Slot,
    last: Chord | None,
    notes: Sequence[SoundingNote],
) -> bool:
    """Whether the chord before goes on over a bass that is held."""
    if written:
        return written.onset < slot.onset
    under = {n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE}
    return last is not None and under <= set(last.pitch_classes)


def _fuller(
    last: Chord, made: Chord | None, meant: Chord | None, notes: Sequence[SoundingNote]
) -> Chord:
    """Return the chord of a wrong symbol that goes on, with a seventh that came in."""
    under = {n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE}
    # Two notes and the bass make no whole chord, but may be the seventh of this one.
    grown = meant and meant.root == last.root and not under <= set(last.pitch_classes)
    chords = (last, made, meant if grown else None)
    return max(filter(None, chords), key=lambda chord: len(chord.members))


def _in_force(slot: Slot, chord: Chord | None) -> Slot:
    """Return a slot under a chord of the pupil's."""
    name = numeral(chord, slot.key) if chord else ""
    bare = Slot(slot.place, slot.onset, slot.length, slot.key, chord, name)
    return bare._replace(position=slot.position)


def _meant(
    task: Task, judged: Arrangement, slot: Slot, made: Chord | None
) -> Chord | None:
    """Return the chord of a slot for which no symbol is written.

    The first of those accepted that has every note under the tune; or the chord that
    the notes make; or that of those accepted that has most of them, against which slips
    are told.
    """
    others = dict(task.accepted).get(slot.onset, ())
    accepted = [slot.chord, *others] if slot.chord else []
    # The chord on the natural seventh may be right itself, beside the dominant.
    unraised = any(_is_unraised(chord, made, slot.key) for chord in accepted)
    if unraised and made not in accepted:
        made = None
        accepted = [chord for chord in accepted if leading_note(chord, slot.key)]
    under = {
        note.pitch.pitch_class
        for note in judged.notes
        if note.onset < slot.end
        and note.end > slot.onset
        and note.voice is not Voice.TUNE
    }
    fits = [chord for chord in accepted if under <= set(chord.pitch_classes)]
    nearest = sorted(accepted, key=lambda own: len(under - set(own.pitch_classes)))
    return next(iter([*fits, *([made] if made else []), *nearest]), None)


def symbol_at(symbols: Sequence[ChordAt], onset: Fraction) -> ChordAt | None:
    """Return the chord symbol in force at a place."""
    inside = (symbol for symbol in symbols if symbol.onset <= onset < symbol.end)
    return next(inside, None)


def _is_unraised(meant: Chord, made: Chord | None, key: Key) -> bool:
    """Whether notes are the dominant of a minor key but for the raised seventh."""
    if made is None or key.mode is not Mode.MINOR or made.root != meant.root:
        return False
    raised = leading_note(meant, key)
    return raised is not None and raised not in made.members


def _is_misnamed(
    symbol: Chord, made: Chord, notes: Sequence[SoundingNote], key: Key
) -> bool:
    """Whether a symbol names another chord than the notes make.

    A dominant without its raised seventh is named right and played wrong.
    """
    if symbol.upright == made or _is_unraised(symbol, made, key):
        return False
    under = {n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE}
    return not under <= set(symbol.pitch_classes)


def sounding_at(
    notes: Sequence[SoundingNote], onset: Fraction, end: Fraction
) -> list[SoundingNote]:
    """Return the notes that sound at a place, or else first before another one."""
    here = [n for n in notes if n.onset <= onset < n.onset + n.length]
    later = [n.onset for n in notes if onset < n.onset < end]
    if any(n.voice is not Voice.TUNE for n in here) or not later:
        return here
    first = min(later)
    return [n for n in notes if n.onset <= first < n.onset + n.length]


def chord_made(notes: Sequence[SoundingNote], key: Key) -> Chord | None:
    """Return the chord of a key that both hands make; None if they make none.

    It is complete, all of its notes but the tune are in it, and its root is in the
    bass: a slip in one voice makes no other chord.
    """
    under = {n.pitch.pitch_class for n in notes if n.voice is not Voice.TUNE}
    bass = [n.pitch for n in notes if n.voice is Voice.BASS]
    if not bass or all(n.voice is not Voice.INNER for n in notes):
        return None
    lowest = min(bass, key=lambda pitch: pitch.midi).pitch_class
    every = {note.pitch.pitch_class for note in notes}
    chords = [
        offer.chord
        for offer in palette(key, _WIDEST)
        if offer.chord == offer.chord.upright
        and offer.chord.root.pitch_class == lowest
        and under <= set(offer.chord.pitch_classes)
        and _needed(offer.chord) <= every
    ]
    # A seventh that sounds makes a seventh chord, though the triad is in it too.
    sevenths = [chord for chord in chords if set(chord.pitch_classes) <= under]
    return next(iter([*sevenths, *chords]), None)


def _needed(chord: Chord) -> set[PitchClass]:
    """Return the pitch classes without which a chord is another one, or none.

    Over its root a dominant seventh is known without its fifth (common practice).
    """
    if chord.quality is not Quality.DOMINANT_SEVENTH:
        return set(chord.pitch_classes[:3])
    return set(chord.pitch_classes) - {chord.pitch_classes[2]}


def _split(
    model: Arrangement, judged: Arrangement, aligned: AlignedScript
) -> Iterator[Slot]:
    """Yield the slots of a model, cut where the pupil changes the chord."""
    cuts = [symbol.onset for symbol in aligned.symbols] or _changes(model, judged)
    for slot in model.slots:
        inside = [cut for cut in cuts if slot.onset < cut < slot.end]
        edges = [slot.onset, *inside, slot.end]
        for start, end in pairwise(edges):
            place = model.tune.place(start)
            yield slot._replace(onset=start, length=end - start, place=place)


def _changes(model: Arrangement, judged: Arrangement) -> list[Fraction]:
    """Return where both hands strike another whole chord while the model keeps one.

    Without symbols nothing else tells that a chord begins there.
    """
    starts = [
        {note.onset for note in judged.notes if note.voice is voice}
        for voice in (Voice.BASS, Voice.INNER)
    ]
    cuts = []
    for slot in model.slots:
        last = chord_made(sounding_at(judged.notes, slot.onset, slot.end), slot.key)
        for onset in sorted(set.intersection(*starts)):
            if last is None or not slot.onset < onset < slot.end:
                continue
            now = chord_made(sounding_at(judged.notes, onset, slot.end), slot.key)
            if now and now.root != last.root:
                cuts.append(onset)
                last = now
    return cuts
