"""What a four-part setting has to admit: each hard rule that gave way, with its place.

A hard rule gives way only where no voicing of any chord on offer keeps all of them.
"""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.choice.parts.choose import Parts
from harmonise.choice.parts.ranges import outside
from harmonise.choice.parts.rules import faults
from harmonise.choice.parts.voicings import APART, LOOSE, STRICT
from harmonise.errors import Place, Remark
from harmonise.theory.tune import Tune


def part_remarks(tune: Tune, parts: Parts) -> tuple[Remark, ...]:
    """Return every four-part rule that gave way, in score order."""
    return (*_range(tune), *_chords(tune, parts), *_steps(tune, parts))


def _place(tune: Tune, parts: Parts, slot: int) -> Place:
    grid = parts.choice.grid
    return tune.place(Fraction(int(grid.slot_start[slot]), grid.ticks))


def _range(tune: Tune) -> Iterator[Remark]:
    """Yield the first tune note outside the soprano's range."""
    for note in tune.sounding:
        if note.pitch is not None and outside(note.pitch.midi):
            where = "above" if outside(note.pitch.midi) > 0 else "below"
            what = f"{note.pitch} lies {where} the soprano's range (C4 to A5)."
            remedy = "Choose another key; the other parts go along as far as they must."
            yield Remark("PARTS", what, tune.place(note.onset), remedy)
            return


def _chords(tune: Tune, parts: Parts) -> Iterator[Remark]:
    """Yield the chords that no voicing sets by the rules."""
    for slot, own in enumerate(parts.single):
        chord, place = parts.offers[slot].chord, _place(tune, parts, slot)
        if own.gives == APART:
            what = "the tune leaps further than the right hand reaches; the alto waits."
            yield Remark("PARTS", what, place)
        elif own.gives != STRICT:
            broken = "doubling" if own.gives == LOOSE else "range and spacing"
            what = f"no voicing of {chord} under this note keeps the rules of {broken}."
            yield Remark("PARTS", what, place)


def _steps(tune: Tune, parts: Parts) -> Iterator[Remark]:
    """Yield the steps that break a rule."""
    for slot in range(1, len(parts.single)):
        before, here = parts.offers[slot - 1].chord, parts.offers[slot].chord
        for name in faults(parts.single[slot - 1], parts.single[slot]):
            what = f"from {before} to {here} there is no way without {name}."
            yield Remark("PARTS", what, _place(tune, parts, slot))
