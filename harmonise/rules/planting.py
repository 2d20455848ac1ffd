"""Planting one fault in an arrangement: in its notes, or in its chords.

A planter yields arrangements that differ from a right one in one bar and hold one fault
more. What it yields is only a proposal: the sheet of faults keeps those in which the
rules find exactly the planted fault. In the chords a chord's stay in a bar gets another
chord that is on offer, struck once and played rightly.
"""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord, Member
from harmonise.theory.key import Key
from harmonise.theory.numerals import numeral
from harmonise.theory.pitch import LETTER_SEMITONES, Pitch, PitchName
from harmonise.theory.reach import bass_under
from harmonise.theory.voicing import close_right_hand


class Bed(NamedTuple):
    """Where a fault is planted.

    Attributes:
        arrangement: The right arrangement.
        offers: Which chords are on offer in a key.
    """

    arrangement: Arrangement
    offers: Callable[[Key], Iterable[Chord]]


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


def _struck(bed: Bed, hand: Hand) -> Iterator[tuple[SoundingNote, Slot, Chord]]:
    """Yield what a hand strikes under the tune, on any beat, inside one bar."""
    slots = bed.arrangement.slots
    for note in bed.arrangement.notes:
        slot = next((s for s in slots if s.onset <= note.onset < s.end), None)
        under = note.hand is hand and note.voice is not Voice.TUNE
        if not under or not slot or not slot.chord:
            continue
        # A note over the bar line would be wrong in two bars.
        if note.end <= bed.arrangement.tune.bar_at(note.onset).end:
            yield note, slot, slot.chord


def _swapped(
    bed: Bed, old: SoundingNote, pitch: Pitch | None, what: str, remedy: str = ""
) -> Proposal:
    """Return the arrangement with another pitch for one note, or without that note."""
    kept = [note for note in bed.arrangement.notes if note is not old]
    if pitch is not None:
        kept.append(old._replace(pitch=pitch, finger=0))
    kept.sort(key=lambda note: (note.onset, note.pitch.midi))
    new = bed.arrangement._replace(notes=tuple(kept))
    return Proposal(new, old.onset, what, remedy or f"{old.pitch} instead of {pitch}.")


def _octaves_off(note: SoundingNote, octaves: int) -> Pitch:
    return note.pitch._replace(octave=note.pitch.octave + octaves)


def wrong_notes(bed: Bed) -> Iterator[Proposal]:
    """Yield a neighbour in place of a root or fifth of the chord."""
    for note, slot, chord in _struck(bed, Hand.RIGHT):
        if chord.member_of(note.pitch.pitch_class) is Member.THIRD:
            continue  # A chord without its third would be a second fault.
        for step in (1, -1):
            pitch = _scale_step(note.pitch, slot.key, step)
            if pitch.pitch_class not in chord.pitch_classes:
                what = f"The right hand has {pitch}, which is not in "
                yield _swapped(bed, note, pitch, f"{what}{chord.with_notes}.")


def _scale_step(pitch: Pitch, key: Key, step: int) -> Pitch:
    octave, letter = divmod(pitch.staff_step + step, 7)
    alter = next(name.alter for name in key.scale if name.letter == letter)
    return Pitch(letter, alter, octave)


def missing_thirds(bed: Bed) -> Iterator[Proposal]:
    """Yield chords whose third became another member, or is left out."""
    for note, _, chord in _struck(bed, Hand.RIGHT):
        third = chord.member(Member.THIRD)
        if note.pitch.name != third:
            continue
        what = f"{chord.with_notes} sounds without its third, {third}."
        right = f"{note.pitch} in the right hand"
        # Within a sixth, so that the shape stays one that a hand might play.
        for midi in range(note.pitch.midi - 9, note.pitch.midi + 10):
            name = chord.spelling(midi % 12)
            kept = name in (chord.root, chord.member(Member.FIFTH))
            if name and kept and not _taken(bed, note, midi):
                pitch = name.at(midi)
                yield _swapped(bed, note, pitch, what, f"{right} instead of {pitch}.")
        yield _swapped(bed, note, None, what, f"{right}.")


def _taken(bed: Bed, note: SoundingNote, midi: int) -> bool:
    """Whether another note has a pitch while a note sounds."""
    return any(
        other.pitch.midi == midi and other.onset < note.end and other.end > note.onset
        for other in bed.arrangement.notes
    )


def wrong_roots(bed: Bed) -> Iterator[Proposal]:
    """Yield the fifth or third in the left hand instead of the root."""
    for note, _, chord in _struck(bed, Hand.LEFT):
        for name in (chord.member(Member.FIFTH), chord.member(Member.THIRD)):
            if name is None:
                continue
            rise = (name.pitch_class - note.pitch.pitch_class) % 12
            # The nearest places above and below: in one of them the hands stay apart.
            for move in (rise, rise - 12):
                pitch = name.at(note.pitch.midi + move)
                what = (
                    f"The left hand has {pitch} under {chord.with_notes}, "
                    f"not the root {chord.root}."
                )
                remedy = f"{note.pitch} in the left hand."
                yield _swapped(bed, note, pitch, what, remedy)


def crossed_hands(bed: Bed) -> Iterator[Proposal]:
    """Yield left-hand notes an octave or two too high."""
    for note, _, _ in _struck(bed, Hand.LEFT):
        for octaves in (1, 2):
            pitch = _octaves_off(note, octaves)
            what = f"The left hand's {pitch} is not below the right hand."
            yield _swapped(bed, note, pitch, what, f"{note.pitch} in the left hand.")


def tune_in_the_middle(bed: Bed) -> Iterator[Proposal]:
    """Yield inner notes an octave higher, above the tune."""
    for note, _, _ in _struck(bed, Hand.RIGHT):
        pitch = _octaves_off(note, 1)
        what = f"{pitch} in the right hand lies above the tune."
        yield _swapped(bed, note, pitch, what)


def wide_spans(bed: Bed) -> Iterator[Proposal]:
    """Yield inner notes an octave lower."""
    for note, _, _ in _struck(bed, Hand.RIGHT):
        pitch = _octaves_off(note, -1)
        what = f"The right hand reaches down to {pitch}, further than an octave."
        yield _swapped(bed, note, pitch, what)


def wrong_spellings(bed: Bed) -> Iterator[Proposal]:
    """Yield notes under the name of their neighbour."""
    for note, _, chord in _struck(bed, Hand.RIGHT):
        old = note.pitch
        if not old.alter:
            continue
        letter = (old.letter + (1 if old.alter > 0 else -1)) % 7
        alter = (old.pitch_class - LETTER_SEMITONES[letter] + 6) % 12 - 6
        # Pupils mistake a sharp for a flat; nobody slips into a double flat.
        if abs(alter) == 1:
            pitch = PitchName(letter, alter).at(old.midi)
            what = f"{pitch} is the right key by the wrong name in "
            yield _swapped(bed, note, pitch, f"{what}{chord.with_notes}.")


def natural_sevenths(bed: Bed) -> Iterator[Proposal]:
    """Yield dominants of a minor key without the raised seventh."""
    for note, slot, chord in _struck(bed, Hand.RIGHT):
        key = slot.key
        raised = note.pitch.name == key.name_at(7, 1) and key.mode.is_minor
        # In V the natural seventh leads nowhere; in other chords it may be meant.
        if raised and key.degree(chord.root) == (5, 0):
            pitch = key.name_at(7).at(note.pitch.midi - 1)
            what = f"The seventh degree is not raised in {chord} ({slot.numeral}): "
            yield _swapped(bed, note, pitch, f"{what}{pitch.name}.")


def steps_back(bed: Bed) -> Iterator[Proposal]:
    """Yield IV in place of another chord."""
    for slot, chord, proposal in _other_chords(bed):
        if slot.key.degree(chord.root) == (4, 0):
            what = f"The dominant goes back to {proposal.what}."
            yield _chord_instead(proposal, chord, what)


def chords_that_do_not_fit(bed: Bed) -> Iterator[Proposal]:
    """Yield chords without the tune note that stands over them."""
    tune = [n for n in bed.arrangement.notes if n.voice is Voice.TUNE]
    for slot, chord, proposal in _other_chords(bed):
        note = next((n for n in tune if n.end > slot.onset), None)
        if note and note.pitch.pitch_class not in chord.pitch_classes:
            what = f"{chord.with_notes} does not fit the tune note {note.pitch}."
            yield _chord_instead(proposal, chord, what)


def open_ends(bed: Bed) -> Iterator[Proposal]:
    """Yield last chords that are not the tonic."""
    for slot, _, proposal in _other_chords(bed):
        if slot is bed.arrangement.slots[-1]:
            what = f"The piece ends on {proposal.what}, not on the tonic."
            yield proposal._replace(what=what, remedy=f"End on {proposal.remedy}.")


def _chord_instead(proposal: Proposal, chord: Chord, what: str) -> Proposal:
    remedy = f"{proposal.remedy} instead of {chord}, with its notes."
    return proposal._replace(what=what, remedy=remedy)


def _other_chords(bed: Bed) -> Iterator[tuple[Slot, Chord, Proposal]]:
    """Yield each chord's stay in a bar under each other chord, played rightly.

    The proposal tells the new chord with its numeral, and the right one as its remedy.
    """
    arrangement = bed.arrangement
    for stay in _stays(arrangement):
        key, right = stay[0].key, stay[0].chord
        for chord in bed.offers(key):
            if chord == right:
                continue
            name = numeral(chord, key)
            slots = tuple(
                slot._replace(chord=chord, numeral=name) if slot in stay else slot
                for slot in arrangement.slots
            )
            notes = _replayed(arrangement, stay[0].onset, stay[-1].end, chord)
            changed = arrangement._replace(slots=slots, notes=notes)
            proposal = Proposal(changed, stay[0].onset, f"{chord} ({name})", str(right))
            yield stay[-1], chord, proposal


def _stays(arrangement: Arrangement) -> Iterator[tuple[Slot, ...]]:
    """Yield neighbouring slots of one bar and chord that share no note with others."""
    tune = arrangement.tune

    def chord_in_bar(slot: Slot) -> tuple[object, ...]:
        return tune.bar_at(slot.onset).start, slot.chord

    for _, together in groupby(arrangement.slots, key=chord_in_bar):
        stay = tuple(together)
        start, end = stay[0].onset, stay[-1].end
        shut = end <= tune.bar_at(start).end and not any(
            note.voice is not Voice.TUNE and note.onset < edge < note.end
            for note in arrangement.notes
            for edge in (start, end)
        )
        if stay[0].chord and shut and not any(slot.locked for slot in stay):
            yield stay


def _replayed(
    arrangement: Arrangement, start: Fraction, end: Fraction, chord: Chord
) -> tuple[SoundingNote, ...]:
    """Return the notes with a chord struck once, close under its lowest tune note."""
    tune = [note for note in arrangement.notes if note.voice is Voice.TUNE]
    over = [n.pitch for n in tune if n.onset < end and n.end > start]
    if not over:
        return arrangement.notes
    top = min(over, key=lambda pitch: pitch.midi)
    right = close_right_hand(chord, top)[:-1]
    bass = bass_under(chord.bass.pitch_class, right[0].midi)
    kept = [
        note
        for note in arrangement.notes
        if note.voice is Voice.TUNE or not start <= note.onset < end
    ]
    struck = [(pitch, Hand.RIGHT, Voice.INNER) for pitch in right]
    if bass is not None:
        struck.append((chord.bass.at(bass), Hand.LEFT, Voice.BASS))
    kept += [SoundingNote(start, end - start, *row) for row in struck]
    return tuple(sorted(kept, key=lambda note: (note.onset, note.pitch.midi)))
