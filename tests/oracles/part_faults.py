"""Four parts as music21 hears them, and as a choir trainer reads the names of notes.

Parallels, crossings and overlaps are found by music21's voice-leading tests; sevenths,
leading basses, spelling and held last notes are read here from the names of the notes
alone. Nothing of the chooser's own rules is used.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
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
    overlaps between neighbours only. Tune and bass may close a line 5-1 by contrary
    motion. A diminished fifth over the bass may not rise to a perfect one.
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
    for voice in (0, 1, 2):
        fifths = [
            interval.Interval(note.Note(chord[3]), note.Note(chord[voice])).simpleName
            for chord in (old, new)
        ]
        rises = [_midi(new[v]) > _midi(old[v]) for v in (voice, 3)]
        if fifths == ["d5", "P5"] and all(rises):
            found.append("opened fifth")
    return tuple(found)


def _midi(name: str) -> int:
    return int(note.Note(name).pitch.midi)


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
    """Return the slots that have faults, or whose way in has, with their names."""
    names = [offer.numeral for offer in parts.offers]
    last = set(last_notes(tune))
    # A close is reached as well where the tune says its last note twice.
    ends = last | {
        first.onset
        for first, second in pairwise(tune.sounding)
        if second.onset in last and first.pitch == second.pitch
    }
    found = []
    for slot, old, new in steps(tune, parts):
        pair = names[slot - 1 : slot + 1]
        closes = pair[0] in ("V", "V7") and pair[1] in ("I", "i")
        at = _onset(parts, slot)
        heard = faults_of(old, new, closes=closes and at in ends)
        faults = [
            # Where a line begins the voices breathe, and may pass each other's notes.
            *(name for name in heard if name != "overlap" or at not in tune.phrases),
            *_of_dominants(parts, slot, old, new),
            *_under_held(tune, parts, slot, old, new),
        ]
        if faults:
            found.append((slot, tuple(faults)))
    return found


def _onset(parts: Parts, slot: int) -> Fraction:
    grid = parts.choice.grid
    return Fraction(int(grid.slot_start[slot]), grid.ticks)


def last_notes(tune: Tune) -> dict[Fraction, Fraction]:
    """Return onset and end of the last note of every line."""
    ends = [*tune.phrases, tune.end]
    last = [[note for note in tune.sounding if note.onset < end][-1:] for end in ends]
    return {note.onset: note.end for found in last for note in found}


def _of_dominants(parts: Parts, slot: int, old: Chord, new: Chord) -> Iterator[str]:
    """Yield sevenths that do not fall, leading notes in the bass that do not rise."""
    before, after = (parts.offers[at] for at in (slot - 1, slot))
    members = [str(name).replace("b", "-") for name in before.chord.members]
    goes_on = before.chord.root == after.chord.root
    for voice, (low, high) in enumerate(zip(old, new, strict=True)):
        way = interval.Interval(note.Note(low), note.Note(high))
        name = low[:-1]
        if members[3:] == [name]:
            taken = goes_on and name in [other[:-1] for other in new]
            if not taken and way.directedName not in ("P1", "m-2", "M-2", "d1"):
                yield "seventh"
        dominant = re.match(r"V(?!I)", before.numeral)
        leads = dominant and voice == 3 and name == members[1]
        sinks = way.directedName == "A-1" and after.chord.is_seventh
        if leads and not goes_on and not sinks and way.directedName != "m2":
            yield "leading bass"


def _under_held(
    tune: Tune, parts: Parts, slot: int, old: Chord, new: Chord
) -> Iterator[str]:
    """Yield a step under the held last note of a line, but 8-7 and 6/4 over V."""
    at = _onset(parts, slot)
    before, after = (parts.offers[at].numeral for at in (slot - 1, slot))
    struck = _onset(parts, slot - 1)
    held = [onset for onset, end in last_notes(tune).items() if onset < at < end]
    settles = after in ("V", "V7") and before in ("V", "I6/4", "i6/4")
    if held and held[0] <= struck and old[1:] != new[1:]:
        moved = [pair for pair in zip(old, new, strict=True) if pair[0] != pair[1]]
        ways = [interval.Interval(note.Note(a), note.Note(b)) for a, b in moved]
        falls = all(way.directedName in ("m-2", "M-2") for way in ways)
        if not (settles and falls and old[3] == new[3]):
            yield "step under a held note"


def misspelled(tune: Tune, parts: Parts) -> list[tuple[int, str, str]]:
    """Return slot, tune note and part that share a letter or a key and not a name.

    Tune notes that sound for half a beat or more in the slot.
    """
    found = []
    for slot in range(parts.choice.grid.slots):
        start, end = _onset(parts, slot), _onset(parts, slot + 1)
        for tone in tune.sounding:
            sounds = min(end, tone.end) - max(start, tone.onset)
            if tone.pitch is None or 2 * sounds < tune.bar_at(start).time.beat:
                continue
            top = note.Note(_name(tone.pitch)).pitch
            for part in lower(parts, slot):
                below = note.Note(part).pitch
                clash = below.step == top.step or below.pitchClass == top.pitchClass
                if clash and below.name != top.name:
                    found.append((slot, top.name, below.name))
    return found


def heights(parts: Parts) -> Iterator[tuple[int, ...]]:
    """Yield soprano, alto, tenor and bass of each slot as MIDI numbers."""
    for row in parts.notes.tolist():
        yield tuple(row)


def moves(parts: Parts) -> Iterator[tuple[int, ...]]:
    """Yield the semitones that each voice moves from slot to slot."""
    for old, new in pairwise(heights(parts)):
        yield tuple(b - a for a, b in zip(old, new, strict=True))
