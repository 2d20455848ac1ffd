"""Four parts as music21 hears them: the faults that its voice-leading tests find."""

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations, pairwise

from music21 import interval, note  # noqa: TID251 (the outside check)
from music21.voiceLeading import VoiceLeadingQuartet  # noqa: TID251

from harmonise.choice.parts.choose_parts import Parts
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Tune

Chord = tuple[str, ...]
"""Soprano, alto, tenor and bass in music21's spelling."""


def steps(tune: Tune, parts: Parts) -> Iterator[tuple[int, Chord, Chord]]:
    """Yield each slot from the second, the notes just before it and those on it.

    Only where all four parts sound on both sides.
    """
    grid = parts.choice.grid
    for slot in range(1, grid.slots):
        first = int((grid.slot < slot).sum())
        ends = (first - 1, first)
        tones = [tune.notes[grid.note[part]].pitch for part in ends]
        if tones[0] is None or tones[1] is None:
            continue
        old, new = (
            (_name(top), *lower(parts, at))
            for top, at in zip(tones, (slot - 1, slot), strict=True)
            if top
        )
        yield slot, old, new


def lower(parts: Parts, slot: int) -> Chord:
    """Return alto, tenor and bass of a slot."""
    members = parts.offers[slot].chord.members
    names = {name.pitch_class: name for name in members}
    return tuple(
        _name(names[midi % 12].at(midi)) for midi in parts.notes[slot, 1:].tolist()
    )


def _name(pitch: Pitch) -> str:
    return str(pitch).replace("b", "-")


@lru_cache(maxsize=100_000)
def faults_of(old: Chord, new: Chord, *, closes: bool = False) -> tuple[str, ...]:
    """Return what music21 finds wrong in one step.

    Its hidden fifths and octaves count between tune and bass where the tune leaps;
    overlaps between neighbours only. Tune and bass may close 5-1 by contrary motion.
    """
    found = [
        name for a, b in combinations(range(4), 2) for name in _pair(old, new, (a, b))
    ]
    outer = VoiceLeadingQuartet(old[0], new[0], old[3], new[3])
    if closes and outer.antiParallelMotion() and "octaves" in _pair(old, new, (0, 3)):
        found.remove("octaves")
    for voice in (1, 2, 3):
        step = interval.Interval(note.Note(old[voice]), note.Note(new[voice]))
        if step.simpleName == "A2":
            found.append("augmented second")
    return tuple(found)


def _pair(old: Chord, new: Chord, pair: tuple[int, int]) -> Iterator[str]:
    upper, under = pair
    four = VoiceLeadingQuartet(old[upper], new[upper], old[under], new[under])
    leaps = pair == (0, 3) and abs(four.hIntervals[0].semitones) > 2
    beside = under - upper == 1
    rows = {
        "fifths": four.parallelFifth(),
        "octaves": four.parallelOctave() or four.parallelUnison(),
        "hidden fifth": leaps and four.hiddenFifth(),
        "hidden octave": leaps and four.hiddenOctave(),
        "crossing": beside and four.voiceCrossing(),
        "overlap": beside and four.voiceOverlap(),
    }
    yield from (name for name, wrong in rows.items() if wrong)


def all_faults(tune: Tune, parts: Parts) -> list[tuple[int, tuple[str, ...]]]:
    """Return the slots whose way in has faults, with their names."""
    names = [offer.numeral for offer in parts.offers]
    found = []
    for slot, old, new in steps(tune, parts):
        pair = names[slot - 1 : slot + 1]
        closes = pair[0] in ("V", "V7") and pair[1] in ("I", "i")
        faults = faults_of(old, new, closes=closes)
        if faults:
            found.append((slot, faults))
    return found


def heights(parts: Parts) -> Iterator[tuple[int, ...]]:
    """Yield soprano, alto, tenor and bass of each slot as MIDI numbers."""
    for row in parts.notes.tolist():
        yield tuple(row)


def moves(parts: Parts) -> Iterator[tuple[int, ...]]:
    """Yield the semitones that each voice moves from slot to slot."""
    for old, new in pairwise(heights(parts)):
        yield tuple(b - a for a, b in zip(old, new, strict=True))
