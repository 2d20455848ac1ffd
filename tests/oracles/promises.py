"""The promise of every page, checked instant by instant without the engine's help."""

from bisect import bisect_left, bisect_right
from fractions import Fraction

from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    LeftHand,
    Slot,
    SoundingNote,
    Texture,
    Voice,
)

TWO_HANDS = tuple(own for own in Texture if own is not Texture.HYMN)
"""Textures of which this is the promise; four parts have their own."""


def broken_promises(arrangement: Arrangement, *, inversions: bool = False) -> list[str]:
    """Return what is wrong with an arrangement, in words; [] if all is well."""
    return [
        *_tune_kept(arrangement),
        *_order(arrangement),
        *_chords(arrangement, inversions=inversions),
    ]


def _tune_kept(arrangement: Arrangement) -> list[str]:
    given = [(n.onset, n.length, n.pitch) for n in arrangement.tune.sounding]
    played = [
        (n.onset, n.length, n.pitch) for n in arrangement.notes if n.voice is Voice.TUNE
    ]
    return [] if given == played else ["the tune is not the one that was given"]


def _instants(arrangement: Arrangement) -> list[tuple[Fraction, list[SoundingNote]]]:
    """Return the notes that sound after each onset or end."""
    events: dict[Fraction, tuple[list[SoundingNote], list[SoundingNote]]] = {}
    for note in arrangement.notes:
        events.setdefault(note.onset, ([], []))[0].append(note)
        events.setdefault(note.onset + note.length, ([], []))[1].append(note)
    now: list[SoundingNote] = []
    found = []
    for when in sorted(events):
        starts, ends = events[when]
        now = [note for note in now if note not in ends] + starts
        found.append((when, list(now)))
    return found


def _order(arrangement: Arrangement) -> list[str]:
    wrong = []
    for when, notes in _instants(arrangement):
        tune = [n.pitch.midi for n in notes if n.voice is Voice.TUNE]
        inner = [n.pitch.midi for n in notes if n.voice is Voice.INNER]
        left = [n.pitch.midi for n in notes if n.hand is Hand.LEFT]
        if len(tune) > 1:
            wrong.append(f"{when}: two tune notes")
        if tune and inner and max(inner) >= min(tune):
            wrong.append(f"{when}: inner note not under the tune")
        if left and (tune or inner) and max(left) >= min(tune + inner):
            wrong.append(f"{when}: hands meet")
        if tune and inner and max(tune) - min(inner) > 12:
            wrong.append(f"{when}: wider than an octave")
        if len(set(inner)) < len(inner):
            wrong.append(f"{when}: an inner note twice")
    return wrong


def _chords(arrangement: Arrangement, *, inversions: bool) -> list[str]:
    wrong = []
    slots = [slot for slot in arrangement.slots if slot.chord]
    onsets, ends = [slot.onset for slot in slots], [slot.end for slot in slots]
    assert onsets == sorted(onsets)
    for note in arrangement.notes:
        if note.voice is Voice.TUNE:
            continue
        first = bisect_right(ends, note.onset)
        for slot in slots[first : bisect_left(onsets, note.onset + note.length)]:
            if slot.chord is None:
                continue
            if _moves_although_held(arrangement, note, slot):
                wrong.append(f"{slot.place}: left hand {note.pitch} under a held root")
            member = note.pitch.name in slot.chord.members
            left = note.hand is Hand.LEFT
            if not member and not (
                left and (_walks(arrangement, note) or _stays(arrangement, note, slot))
            ):
                wrong.append(f"{slot.place}: {note.pitch} is not in {slot.chord}")
    return [*wrong, *_roots(arrangement, inversions=inversions)]


def _moves_although_held(
    arrangement: Arrangement, note: SoundingNote, slot: Slot
) -> bool:
    style = arrangement.style
    held = style.left_hand is LeftHand.HELD and not style.sections
    root = slot.chord and note.pitch.name in (slot.chord.bass, slot.pedal)
    return held and note.hand is Hand.LEFT and not root


def _walks(arrangement: Arrangement, note: SoundingNote) -> bool:
    """Return whether a left-hand note goes on by step and begins with no chord."""
    if any(slot.onset == note.onset for slot in _beginnings(arrangement)):
        return False
    after = [
        other
        for other in arrangement.notes
        if other.hand is Hand.LEFT and other.onset == note.onset + note.length
    ]
    return len(after) == 1 and abs(after[0].pitch.midi - note.pitch.midi) in (1, 2)


def _stays(arrangement: Arrangement, note: SoundingNote, slot: Slot) -> bool:
    """Return whether a note is a pedal that begins and ends under chords that have it.

    The slots that are said to have it are looked at, out from one of them both ways.
    """
    slots = arrangement.slots
    at = slots.index(slot)
    for way in (slots[at::-1], slots[at:]):
        held = []
        for other in way:
            if other.pedal != note.pitch.name:
                break
            held.append(other)
        chord = held[-1].chord if held else None
        if chord is None or note.pitch.name not in chord.members:
            return False
    return True


_STILL = (LeftHand.AUTO, LeftHand.HELD, LeftHand.OCTAVE, LeftHand.DRONE)
"""Left hands that have the root, or root and fifth, from slot to slot."""


def _beginnings(arrangement: Arrangement) -> list[Slot]:
    """Return the slots that begin a chord, or a bar; all where the left hand is still.

    A pattern that moves runs through the slots of its chord.
    """
    style = arrangement.style
    asked = [style.left_hand, *(part.left_hand for part in style.sections)]
    if all(hand in (None, *_STILL) for hand in asked):
        return list(arrangement.slots)
    lines = {bar.start for bar in arrangement.tune.bars}
    pairs = zip((None, *arrangement.slots), arrangement.slots, strict=False)
    return [
        slot
        for before, slot in pairs
        if before is None or before.chord != slot.chord or slot.onset in lines
    ]


def _roots(arrangement: Arrangement, *, inversions: bool) -> list[str]:
    """Return where another left-hand note than the root is lowest as a chord begins."""
    wrong = []
    sounding = dict(_instants(arrangement))
    for slot in _beginnings(arrangement):
        left = [n for n in sounding.get(slot.onset, []) if n.hand is Hand.LEFT]
        if slot.chord is None or not left:
            continue
        wanted = slot.chord.bass if inversions else slot.chord.root
        lowest = min(left, key=lambda note: note.pitch.midi)
        if lowest.pitch.name != (slot.pedal or wanted):
            wrong.append(f"{slot.place}: left hand {lowest.pitch} under {slot.chord}")
    return wrong
