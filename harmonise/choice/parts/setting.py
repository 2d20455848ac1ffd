"""From four chosen parts to the notes that two hands play.

All four parts move as the words do: they strike with the tune at every slot, the tune's
own ornaments and passing notes move above the others, and all rest together. Where the
tune holds a note over a slot, a part that keeps its own note holds it too. The right
hand plays soprano and alto, the left tenor and bass. No part but the tune moves inside
a slot. Where the tune itself leaps out of the right hand's reach the alto lets go.

A remark names the place of each hard rule that gave way, which happens only where no
voicing of any chord on offer keeps all of them.
"""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.choice.grid import in_ticks
from harmonise.choice.parts.choose_parts import Parts
from harmonise.choice.parts.laws import faults
from harmonise.choice.parts.voicings import APART, LOOSE, STRICT, UPPER_GAP, outside
from harmonise.errors import Place, Remark
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Tune

PLAYED = (
    (Hand.RIGHT, Voice.INNER),
    (Hand.LEFT, Voice.INNER),
    (Hand.LEFT, Voice.BASS),
)
"""Hand and voice of alto, tenor and bass."""
_ANY = 127


def sounding_parts(
    tune: Tune, parts: Parts, span: int = UPPER_GAP
) -> tuple[SoundingNote, ...]:
    """Return every note of all four parts, by onset and then from the lowest up.

    Args:
        tune: The tune.
        parts: What was chosen under it.
        span: Widest reach of the right hand in semitones.
    """
    notes = [
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.TUNE)
        for note in tune.sounding
        if note.pitch is not None
    ]
    ticks = parts.choice.grid.ticks
    again = {in_ticks(bar.start, ticks) for bar in tune.bars if bar.offset}
    for part, (hand, voice) in enumerate(PLAYED, 1):
        reach = span if hand is Hand.RIGHT else _ANY
        for start, end, pitch in _line(parts, part, reach, again):
            onset, length = Fraction(start, ticks), Fraction(end - start, ticks)
            notes.append(SoundingNote(onset, length, pitch, hand, voice))
    return tuple(sorted(notes, key=lambda note: (note.onset, note.pitch.midi)))


def _line(
    parts: Parts, part: int, reach: int, again: set[int]
) -> Iterator[tuple[int, int, Pitch]]:
    """Yield onset and end in ticks, and pitch, of the notes of one part.

    A chord that goes on into the rest of a split bar, after a repeat, is struck again
    there with the tune.
    """
    grid = parts.choice.grid
    near = grid.midi - parts.notes[grid.slot, part] <= reach
    sounds = (grid.midi >= 0) & near
    rows = zip(
        grid.start.tolist(), grid.length.tolist(), grid.slot.tolist(),
        sounds.tolist(), grid.held.tolist(), strict=True,
    )  # fmt: skip
    now: tuple[int, int, Pitch] | None = None
    before = -1
    for start, length, slot, sound, held in rows:
        if not sound:
            continue
        members = parts.forms[slot].offer.chord.members
        midi = int(parts.notes[slot, part])
        pitch = next(n for n in members if n.pitch_class == midi % 12).at(midi)
        # Inside a slot no part moves. Into the next one a part holds its note over if
        # the tune does so, and if its note stays.
        stays = slot == before and (held or start not in again)
        if now and now[1] == start and (stays or (held and now[2] == pitch)):
            now = (now[0], start + length, now[2])
        else:
            if now:
                yield now
            now = (start, start + length, pitch)
        before = slot
    if now:
        yield now


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
    for slot, voicing in enumerate(parts.single):
        chord, place = parts.offers[slot].chord, _place(tune, parts, slot)
        if voicing.gives == APART:
            what = "the tune leaps further than the right hand reaches; the alto waits."
            yield Remark("PARTS", what, place)
        elif voicing.gives != STRICT:
            broken = "doubling" if voicing.gives == LOOSE else "range and spacing"
            what = f"no voicing of {chord} under this note keeps the rules of {broken}."
            yield Remark("PARTS", what, place)


def _steps(tune: Tune, parts: Parts) -> Iterator[Remark]:
    """Yield the steps that break a rule."""
    for slot in range(1, len(parts.single)):
        before, here = parts.offers[slot - 1].chord, parts.offers[slot].chord
        for name in faults(
            parts.single[slot - 1], parts.single[slot], parts.joins[slot]
        ):
            what = f"from {before} to {here} there is no way without {name}."
            yield Remark("PARTS", what, _place(tune, parts, slot))
