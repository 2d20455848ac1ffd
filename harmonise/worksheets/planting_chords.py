"""Planting one fault in the chords: V back to IV, a chord that does not fit, no close.

A chord's stay in a bar gets another chord of the level, struck once and played rightly.
What is proposed is proved in `faults`.
"""

from collections.abc import Iterator
from itertools import groupby

from harmonise.choice.palette import palette
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord
from harmonise.theory.limits import bass_under
from harmonise.theory.voicing import close_shape, right_hand
from harmonise.worksheets.planting import Proposal, with_members


def _other_chords(arrangement: Arrangement) -> Iterator[tuple[Slot, Chord, Proposal]]:
    """Yield each chord's stay in a bar under each other chord, played rightly."""
    for stay in _stays(arrangement):
        offers = palette(stay[0].key, arrangement.style.level)
        for offer in offers:
            if offer.chord == stay[0].chord:
                continue
            slots = tuple(
                slot._replace(chord=offer.chord, numeral=offer.numeral)
                if slot in stay
                else slot
                for slot in arrangement.slots
            )
            notes = _replayed(arrangement, stay, offer.chord)
            done = arrangement._replace(slots=slots, notes=notes)
            what, remedy = f"{offer.chord} ({offer.numeral})", f"{stay[0].chord}"
            found = Proposal(done, stay[0].onset, what, remedy)
            yield stay[-1], offer.chord, found


def _stays(arrangement: Arrangement) -> Iterator[tuple[Slot, ...]]:
    """Yield neighbouring slots of one bar and chord that share no note with others."""
    tune = arrangement.tune

    def chord_in_bar(slot: Slot) -> tuple[object, ...]:
        return tune.bar_at(slot.onset).start, slot.chord

    for _, together in groupby(arrangement.slots, key=chord_in_bar):
        stay = tuple(together)
        start, end = stay[0].onset, stay[-1].end
        shut = end <= tune.bar_at(start).end and not any(
            note.voice is not Voice.TUNE
            and note.onset < edge < note.onset + note.length
            for note in arrangement.notes
            for edge in (start, end)
        )
        if stay[0].chord and shut and not any(slot.locked for slot in stay):
            yield stay


def _replayed(
    arrangement: Arrangement, stay: tuple[Slot, ...], chord: Chord
) -> tuple[SoundingNote, ...]:
    """Return the notes with a chord struck once, close under its lowest tune note."""
    start, end = stay[0].onset, stay[-1].end
    tune = [note for note in arrangement.notes if note.voice is Voice.TUNE]
    over = [n.pitch for n in tune if n.onset < end and n.onset + n.length > start]
    if not over:
        return arrangement.notes
    top = min(over, key=lambda pitch: pitch.midi)
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    right = right_hand(chord, top, close_shape(chord.quality, interval))[:-1]
    bass = bass_under(chord.bass.pitch_class, right[0].midi)
    low = [] if bass is None else [chord.bass.at(bass)]
    kept = [
        note
        for note in arrangement.notes
        if note.voice is Voice.TUNE or not start <= note.onset < end
    ]
    struck = [(pitch, Hand.RIGHT, Voice.INNER) for pitch in right]
    struck += [(pitch, Hand.LEFT, Voice.BASS) for pitch in low]
    kept += [SoundingNote(start, end - start, *row) for row in struck]
    return tuple(sorted(kept, key=lambda note: (note.onset, note.pitch.midi)))


def steps_back(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield IV in place of another chord."""
    for slot, chord, found in _other_chords(arrangement):
        if slot.key.degree(chord.root) == (4, 0):
            what = f"The dominant goes back to {found.what}."
            remedy = f"{found.remedy} instead of {chord}, with its notes."
            yield found._replace(what=what, remedy=remedy)


def chords_that_do_not_fit(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield chords without the tune note that stands over them."""
    for slot, chord, found in _other_chords(arrangement):
        tune = [n for n in arrangement.notes if n.voice is Voice.TUNE]
        note = next((n for n in tune if n.onset + n.length > slot.onset), None)
        if note is None or note.pitch.pitch_class in chord.pitch_classes:
            continue
        what = f"{with_members(chord)} does not fit the tune note {note.pitch}."
        remedy = f"{found.remedy} instead of {chord}, with its notes."
        yield found._replace(what=what, remedy=remedy)


def open_ends(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield last chords that are not the tonic."""
    last = arrangement.slots[-1]
    for slot, _, found in _other_chords(arrangement):
        if slot is last:
            what = f"The piece ends on {found.what}, not on the tonic."
            yield found._replace(what=what, remedy=f"End on {found.remedy}.")
