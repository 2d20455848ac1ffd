"""Planting one fault in the notes: a wrong one, a missing one, one in the wrong place.

A maker yields arrangements that differ from a right one in one bar and hold one fault
more. What it yields is only a proposal: `faults` keeps those in which the
rules of `harmonise.rules.table` find exactly the planted fault.

Planting one fault in the chords: V back to IV, a chord that does not fit, no close.

A chord's stay in a bar gets another chord of the level, struck once and played rightly.
What is proposed is proved in `faults`.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from harmonise.choice.palette import palette
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord, Member
from harmonise.theory.limits import bass_under
from harmonise.theory.pitch import LETTER_SEMITONES, Pitch, PitchName
from harmonise.theory.voicing import close_shape, right_hand


class Proposal(NamedTuple):
    """An arrangement with one fault more.

    Attributes:
        arrangement: The arrangement.
        onset: Where the fault stands, in crotchets.
        what: What is there, in one sentence.
        remedy: What is right, in one sentence.
    """

    arrangement: Arrangement
    onset: Fraction
    what: str
    remedy: str


def _swapped(
    arrangement: Arrangement, old: SoundingNote, pitch: Pitch | None
) -> Arrangement:
    """Return an arrangement with another pitch for one note, or without that note."""
    kept = [note for note in arrangement.notes if note is not old]
    if pitch is not None:
        kept.append(old._replace(pitch=pitch, finger=0))
    kept.sort(key=lambda note: (note.onset, note.pitch.midi))
    return arrangement._replace(notes=tuple(kept))


def _in_bar(arrangement: Arrangement, note: SoundingNote) -> bool:
    """Whether a note ends inside the bar in which it begins."""
    bar = arrangement.tune.bar_at(note.onset)
    return note.onset + note.length <= bar.end


def _inner(arrangement: Arrangement) -> Iterator[tuple[SoundingNote, Slot, Chord]]:
    """Yield the inner notes that a slot strikes at its start, with slot and chord."""
    slots = {slot.onset: slot for slot in arrangement.slots}
    for note in arrangement.notes:
        slot = slots.get(note.onset)
        if note.voice is not Voice.INNER or not slot or not slot.chord:
            continue
        if _in_bar(arrangement, note):
            yield note, slot, slot.chord


def _bass(arrangement: Arrangement) -> Iterator[tuple[SoundingNote, Slot, Chord]]:
    slots = {slot.onset: slot for slot in arrangement.slots}
    for note in arrangement.notes:
        slot = slots.get(note.onset)
        if note.hand is not Hand.LEFT or not slot or not slot.chord:
            continue
        if _in_bar(arrangement, note):
            yield note, slot, slot.chord


def wrong_notes(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield a neighbour in place of a root or fifth of the chord."""
    for note, slot, chord in _inner(arrangement):
        scale = slot.key.scale
        member = chord.member_of(note.pitch.pitch_class)
        for step in (1, -1):
            pitch = _scale_step(note.pitch, scale, step)
            if member is Member.THIRD or pitch.pitch_class in chord.pitch_classes:
                continue
            yield Proposal(
                _swapped(arrangement, note, pitch),
                note.onset,
                f"The right hand has {pitch}, which is not in {with_members(chord)}.",
                f"{note.pitch} instead of {pitch}.",
            )


def _scale_step(pitch: Pitch, scale: tuple[PitchName, ...], step: int) -> Pitch:
    place = pitch.staff_step + step
    octave, letter = divmod(place, 7)
    alter = next(name.alter for name in scale if name.letter == letter)
    return Pitch(letter, alter, octave)


def with_members(chord: Chord) -> str:
    """Return a chord with its notes: "G (G B D)"."""
    return f"{chord} ({' '.join(map(str, chord.members))})"


def missing_thirds(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield chords whose third became another member, or is left out."""
    for note, _, chord in _inner(arrangement):
        if chord.member_of(note.pitch.pitch_class) is not Member.THIRD:
            continue
        for move in range(-9, 10):
            midi = note.pitch.midi + move
            name = chord.spelling(midi % 12)
            kept = name in (chord.root, chord.member(Member.FIFTH))
            if name and kept and not _taken(arrangement, note, midi):
                yield _without_third(arrangement, note, chord, name.at(midi))
        yield _without_third(arrangement, note, chord, None)


def _taken(arrangement: Arrangement, note: SoundingNote, midi: int) -> bool:
    """Whether another note has a pitch while a note sounds."""
    end = note.onset + note.length
    return any(
        other.pitch.midi == midi
        and other.onset < end
        and other.onset + other.length > note.onset
        for other in arrangement.notes
    )


def _without_third(
    arrangement: Arrangement, note: SoundingNote, chord: Chord, pitch: Pitch | None
) -> Proposal:
    third = chord.member(Member.THIRD)
    instead = f" instead of {pitch}" if pitch else ""
    return Proposal(
        _swapped(arrangement, note, pitch),
        note.onset,
        f"{with_members(chord)} sounds without its third, {third}.",
        f"{note.pitch} in the right hand{instead}.",
    )


def wrong_roots(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield the fifth or third in the left hand instead of the root."""
    for note, _, chord in _bass(arrangement):
        for member in (Member.FIFTH, Member.THIRD):
            name = chord.member(member)
            if name is None:
                continue
            rise = (name.pitch_class - note.pitch.pitch_class) % 12
            for move in (rise, rise - 12):
                pitch = name.at(note.pitch.midi + move)
                yield Proposal(
                    _swapped(arrangement, note, pitch),
                    note.onset,
                    f"The left hand has {pitch} under {with_members(chord)}, "
                    f"not the root {chord.root}.",
                    f"{note.pitch} in the left hand.",
                )


def crossed_hands(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield left-hand notes an octave or two too high."""
    for note, _, _ in _bass(arrangement):
        for octaves in (1, 2):
            pitch = note.pitch._replace(octave=note.pitch.octave + octaves)
            yield Proposal(
                _swapped(arrangement, note, pitch),
                note.onset,
                f"The left hand's {pitch} is not below the right hand.",
                f"{note.pitch} in the left hand.",
            )


def _octave_moved(
    arrangement: Arrangement, note: SoundingNote, octaves: int, told: str
) -> Proposal:
    """Return a note moved by octaves; `told` has {} where the wrong pitch stands."""
    pitch = note.pitch._replace(octave=note.pitch.octave + octaves)
    return Proposal(
        _swapped(arrangement, note, pitch),
        note.onset,
        told.format(pitch),
        f"{note.pitch} instead of {pitch}.",
    )


def tune_in_the_middle(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield inner notes an octave higher, above the tune."""
    for note, _, _ in _inner(arrangement):
        told = "{} in the right hand lies above the tune."
        yield _octave_moved(arrangement, note, 1, told)


def wide_spans(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield inner notes an octave lower."""
    for note, _, _ in _inner(arrangement):
        told = "The right hand reaches down to {}, further than an octave."
        yield _octave_moved(arrangement, note, -1, told)


def wrong_spellings(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield notes under the name of their neighbour."""
    for note, _, chord in _inner(arrangement):
        old = note.pitch
        if not old.alter:
            continue
        letter = (old.letter + (1 if old.alter > 0 else -1)) % 7
        alter = (old.pitch_class - LETTER_SEMITONES[letter] + 6) % 12 - 6
        if abs(alter) != 1:
            continue
        pitch = PitchName(letter, alter).at(old.midi)
        yield Proposal(
            _swapped(arrangement, note, pitch),
            note.onset,
            f"{pitch} is the right key by the wrong name in {with_members(chord)}.",
            f"{old} instead of {pitch}.",
        )


def natural_sevenths(arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield dominants of a minor key without the raised seventh."""
    for note, slot, chord in _inner(arrangement):
        key = slot.key
        raised = note.pitch.name == key.name_at(7, 1) and key.mode.is_minor
        if not raised or key.degree(chord.root) != (5, 0):
            continue
        pitch = key.name_at(7).at(note.pitch.midi - 1)
        yield Proposal(
            _swapped(arrangement, note, pitch),
            note.onset,
            f"The seventh degree is not raised in {chord} ({slot.numeral}): "
            f"{pitch.name}.",
            f"{note.pitch} instead of {pitch}.",
        )


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
