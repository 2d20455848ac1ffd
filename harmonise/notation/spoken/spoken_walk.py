"""From chord to chord in words: which notes a hand keeps, which it moves, and where.

The shapes compared are those of the right hand, tune included, where each chord begins;
octaves are named where the same letter comes back in another octave.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import bars_called, listed
from harmonise.notation.spoken.spoken_words import (
    say_chord,
    say_name,
    say_pitch,
    say_place,
)
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote
from harmonise.theory.pitch import Pitch, PitchName


class Shapes(NamedTuple):
    """What both hands play or hold where a chord begins, lowest first."""

    right: tuple[Pitch, ...]
    left: tuple[Pitch, ...]


def format_walk(arrangement: Arrangement) -> str:
    """Return a walk through the chords, one line a change of chord.

    Args:
        arrangement: What was arranged.

    Returns:
        Lines such as "Bar 2, beat 1. Next chord F: keep C, move E to F and G to A;
        left hand to F.", the first with every note; "" if there is no chord.
    """
    return "".join(f"{words}\n" for _, words in walk_steps(arrangement))


def walk_steps(arrangement: Arrangement) -> Iterator[tuple[Slot, str]]:
    """Yield every change of chord with the words that lead there."""
    before: Shapes | None = None
    for slot, here in _shapes(arrangement):
        beat = say_place(slot.place.beat or Fraction(1))
        step = _step(slot, before, here)
        bar = bars_called([slot.place.bar])
        yield slot, f"{bar[:1].upper()}{bar[1:]}, beat {beat}. {step}"
        before = here


def _shapes(arrangement: Arrangement) -> Iterator[tuple[Slot, Shapes]]:
    """Yield every change of chord with what both hands then play or hold."""
    waiting = deque(sorted(arrangement.notes, key=lambda note: note.onset))
    sounding: list[SoundingNote] = []
    for slot in arrangement.changes:
        while waiting and waiting[0].onset <= slot.onset:
            sounding.append(waiting.popleft())
        sounding = [n for n in sounding if n.onset + n.length > slot.onset]
        yield slot, Shapes(_of(Hand.RIGHT, sounding), _of(Hand.LEFT, sounding))


def _of(hand: Hand, notes: Sequence[SoundingNote]) -> tuple[Pitch, ...]:
    pitches = (note.pitch for note in notes if note.hand is hand)
    return tuple(sorted(pitches, key=lambda pitch: pitch.midi))


def _step(slot: Slot, before: Shapes | None, here: Shapes) -> str:
    if slot.chord is None:
        return "No chord."
    chord = say_chord(slot.chord)
    if before is None:
        right, left = (_all(shape) for shape in here)
        return f"First chord {chord}: right hand {right}; left hand {left}."
    right = move_words(before.right, here.right)
    return f"Next chord {chord}: {right}; left hand {_left(before.left, here.left)}."


def _all(pitches: Sequence[Pitch]) -> str:
    return listed([say_pitch(pitch) for pitch in pitches]) or "rests"


def _left(before: Sequence[Pitch], here: Sequence[Pitch]) -> str:
    if not here:
        return "rests"
    if before == here:
        return f"stays on {_all(here) if len(here) > 1 else say_name(here[0].name)}"
    # Octaves are only said where the letters alone would not tell.
    names = {pitch.name for pitch in (*before, *here)}
    plain = len(names) == len(before) + len(here)
    to = [say_name(p.name) if plain else say_pitch(p) for p in here]
    if len(before) == len(here) == 1:
        return _way(before[0], here[0]) + to[0]
    return f"to {listed(to)}"


def move_words(before: Sequence[Pitch], here: Sequence[Pitch]) -> str:
    """Return how a hand goes from one shape to the next.

    Args:
        before: Its notes, lowest first.
        here: Its next notes, lowest first.

    >>> from harmonise.theory.pitch import parse_pitch
    >>> shapes = [[parse_pitch(n) for n in t.split()] for t in ("C4 E4 G4", "C4 F4 A4")]
    >>> move_words(*shapes)
    'keep C, move E to F and G to A'
    """
    # Fingers that stay are the anchor of the move, so they come first.
    kept = [pitch for pitch in before if pitch in here]
    leaving = [pitch for pitch in before if pitch not in kept]
    coming = [pitch for pitch in here if pitch not in kept]
    octaves: dict[PitchName, set[int]] = {}
    for pitch in (*before, *here):
        octaves.setdefault(pitch.name, set()).add(pitch.octave)

    def say(pitch: Pitch) -> str:
        # The octave is told only where the bare name would leave a doubt.
        doubtful = len(octaves[pitch.name]) > 1
        return say_pitch(pitch) if doubtful else say_name(pitch.name)

    # Notes are paired from the top down, as the tune leads; the rest is left over.
    count = min(len(leaving), len(coming))
    old, new = len(leaving) - count, len(coming) - count
    pairs = zip(leaving[old:], coming[new:], strict=True)
    dropped, added = leaving[:old], coming[:new]
    parts = [
        ("keep", [say(pitch) for pitch in kept]),
        ("move", [f"{say(was)} {_way(was, now)}{say(now)}" for was, now in pairs]),
        ("let go", [say(pitch) for pitch in dropped]),
        ("add", [say(pitch) for pitch in added]),
    ]
    said = [f"{verb} {listed(names)}" for verb, names in parts if names]
    return ", ".join(said) or "rest"


def _way(old: Pitch, new: Pitch) -> str:
    """Return "to ", with the direction where it is not the nearer one."""
    step = new.midi - old.midi
    # Up to a fourth the hand finds the way by itself.
    if abs(step) < 6:
        return "to "
    return "up to " if step > 0 else "down to "
