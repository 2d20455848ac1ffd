"""What an arrangement has to admit: each rule that gave way, with its place.

Hard rules give way only where no chord of the level can meet them, strong rules where
nothing else fits or where the user's own lock asks for it.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

import numpy as np

from harmonise.arranging.advice import NO_CHORD, Advice
from harmonise.choice.choose import Choice
from harmonise.choice.closes import line_ends
from harmonise.choice.nonchord import Name
from harmonise.errors import Place, Remark, same_in
from harmonise.rules import chords, steps
from harmonise.rules.score_view import Score
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.numerals import family_of

REFUSED = frozenset({"H05", "H08"})
"""Codes that `--strict` refuses: a tune note that no chord holds or explains."""


STRONG = frozenset({"H01", "H05", "H07", "H08", "H10", "H11", "H12", "H35"})
"""Codes of rules that a richer level may be able to keep."""


RULES_TOLD = (
    steps.not_syncopated,
    steps.no_step_back,
    chords.begins_on_tonic,
    chords.ends_on_tonic,
    steps.closes_from_dominant,
)
"""The rules whose findings carry the remark that the user reads.

They are named here and not taken from the table of rules, which loads every rule that
a marker asks for; a test compares the two.
"""


def broken_rules(arrangement: Arrangement, choice: Choice) -> tuple[Remark, ...]:
    """Return every rule that gave way, and other things to know, in score order."""
    score = Score(arrangement)
    remarks = [
        *(row.remark for find in RULES_TOLD for row in find(score) if row.remark),
        *_told_once((*_of_notes(score, choice), *_lines(arrangement, choice))),
        *_left_hand(arrangement, choice),
    ]
    return tuple(sorted(remarks, key=score_order))


def _told_once(remarks: Iterable[Remark]) -> Iterator[Remark]:
    """Yield each remark once, with the other bars in which it holds.

    A hard rule that gave way is admitted at each of its places.
    """
    alike: dict[Remark, list[Remark]] = {}
    for remark in remarks:
        hard = remark.code in ("H05", "E18")
        key = remark if hard else remark._replace(place=None)
        alike.setdefault(key, []).append(remark)
    for first, *others in alike.values():
        bars = [remark.place.bar for remark in (first, *others) if remark.place]
        yield first._replace(what=f"{first.what}{same_in(bars)}")


def score_order(remark: Remark) -> tuple[int, Fraction]:
    """Return by what remarks are sorted: the whole tune first, then score order."""
    place = remark.place or Place(-1)
    return place.bar, place.beat or Fraction(0)


def _chorded(arrangement: Arrangement) -> list[Slot]:
    return [slot for slot in arrangement.slots if slot.chord]


def _of_notes(score: Score, choice: Choice) -> Iterator[Remark]:
    """Yield, at most once a slot, what tune and chord have against each other."""
    arrangement, advice = score.arrangement, Advice(score.arrangement, choice)
    unfit = {row.onset for row in chords.filling_note_fits(score)}
    strays = _strays(choice)
    for number, slot in enumerate(_chorded(arrangement)):
        # The chooser keeps more than the rule where it can; what it could not is told.
        kept = choice.costs.fits[number, int(choice.columns[number])]
        told = None
        if slot.onset in unfit or not kept:
            told = _without(advice, number, slot)
        told = told or _clash(advice, number, slot)
        if number in strays and not slot.locked:
            told = told or _stray(advice, number, slot, strays[number])
        if told:
            yield told


def _without(advice: Advice, number: int, slot: Slot) -> Remark | None:
    """Return the remark on a chord that lacks a tune note which it must have.

    Besides a note that fills its slot, which is a rule for all, the first note of a
    slot binds the chooser where chords change on every beat, and so does the seventh
    degree of a minor tune, natural or raised.
    """
    chord, level = slot.chord, advice.arrangement.style.level
    if chord is None:
        return None
    classes, parts = chord.pitch_classes, advice.parts(number)
    part = next((p for p in parts if advice.pitch(p).pitch_class not in classes), None)
    if part is None:
        return None
    pitch = advice.pitch(part)
    if slot.locked:
        return Remark(
            "E18",
            f"you locked {chord.with_notes} but the long tune note is {pitch.name}.",
            slot.place,
            "Kept as you asked; marked with ! in the report.",
        )
    what = (
        f"{pitch.name}, which needs a chord of its own, is not in {chord.with_notes}."
    )
    if not advice.holding(number, pitch):
        what = f"no chord of level {level} has the tune note {pitch.name}."
    return Remark("H05", what, slot.place, advice.on(number, pitch, slot.onset))


def _clash(advice: Advice, number: int, slot: Slot) -> Remark | None:
    """Return the remark on a chord note spelled against a tune note (H35)."""
    found = advice.clash(number, slot.chord) if slot.chord else None
    if found is None:
        return None
    note, name = found
    sounds = any(
        own.pitch.name == name and own.onset < slot.end and own.end > slot.onset
        for own in advice.arrangement.notes
    )
    left_out = "" if sounds else ", which is left out"
    what = f"{note.name} in the tune clashes with the {name} of {slot.chord}{left_out}."
    remedy = "Kept as you locked it." if slot.locked else advice.against(number, note)
    return Remark("H35", what, slot.place, remedy)


def _stray(advice: Advice, number: int, slot: Slot, part: int) -> Remark | None:
    """Return the remark on a tune note that its chord neither has nor explains.

    Where no chord would do it is the tune that is so: a teacher lets it be.
    """
    if slot.chord is None:
        return None
    note, onset = advice.pitch(part), advice.onset(part)
    what = f"{note.name} is not in {slot.chord.with_notes}."
    place = advice.arrangement.tune.place(onset)
    remedy = advice.on(number, note, onset)
    return None if remedy == NO_CHORD else Remark("H08", what, place, remedy)


def _strays(choice: Choice) -> dict[int, int]:
    """Return the unexplained part of each slot that a teacher would remark on.

    It lasts a beat, or half a beat on a strong place, and is neither a sixth nor a
    minor seventh over the chord's root, which belong to any style; or it fills half of
    the slot with others of its kind, sevenths among them. The longest one is told.
    """
    grid, menu = choice.grid, choice.menu
    parts = (choice.names() == Name.UNEXPLAINED).nonzero()[0]
    roots = menu.root[menu.stretch, choice.columns][grid.slot[parts]]
    above = (grid.midi[parts] - roots) % 12
    strong = (grid.order[parts] == 0) & (grid.slot_weight[grid.slot[parts]] >= _STRONG)
    long = grid.length[parts] >= grid.beat[parts]
    long |= strong & (2 * grid.length[parts] >= grid.beat[parts])
    long &= ~np.isin(above, (*_SIXTHS, _SEVENTH))
    heard = np.where(np.isin(above, _SIXTHS), 0, grid.length[parts])
    whole = np.bincount(grid.slot[parts], heard, minlength=grid.slots)
    half = 2 * whole >= np.diff(grid.slot_start)
    told: dict[int, int] = {}
    tells = (long | half[grid.slot[parts]]) & ~np.isin(above, _SIXTHS)
    for part, tell in zip(parts.tolist(), tells.tolist(), strict=True):
        slot = int(grid.slot[part])
        first = told.get(slot, part)
        if tell:
            told[slot] = max(first, part, key=lambda at: (grid.length[at], -at))
    return told


_STRONG = 2
"""The least metric weight of a strong place."""
_SIXTHS, _SEVENTH = (8, 9), 10
"""Semitones above the root of sixths and of the minor seventh."""


def _lines(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield lines that end on 2 or 7 without the dominant, or VII in modes.

    Where neither fits the rest of the place there is nothing to be done.
    """
    slots, advice = _chorded(arrangement), Advice(arrangement, choice)
    for number, degree in line_ends(arrangement.tune, choice.grid, choice.menu):
        chord, family = slots[number].chord, family_of(slots[number].numeral)
        if degree not in (2, 7) or family in ("V", "VII", "v", "III") or not chord:
            continue
        last = advice.pitch(advice.parts(number)[-1]).pitch_class
        row = choice.menu.offers[int(choice.menu.stretch[number])]
        opens = [offer for offer in row if offer.family in ("V", "VII", "v")]
        best = next((o for o in opens if last in o.chord.pitch_classes), None)
        if best and advice.fits(number, best.chord):
            what = f"the line ends on {degree} over {chord}, not over {best.family}."
            remedy = f"Lock {best.chord} here for a half cadence."
            yield Remark("H11", what, slots[number].place, remedy)


def _left_hand(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield slots whose tune lies too low for a left-hand note."""
    hands = choice.hands
    for number, slot in enumerate(_chorded(arrangement)):
        shape = (number, 0, int(choice.kinds[number]))
        if hands.bass[shape] < 0:
            what = "the tune lies so low that the left hand has no room."
            yield Remark("LOW", what, slot.place, "Move the tune up an octave.")
