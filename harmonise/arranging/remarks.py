"""What an arrangement has to admit: each rule that gave way, with its place.

Hard rules give way only where no chord of the level can meet them, strong rules where
nothing else fits or where the user's own lock asks for it.
"""

from collections.abc import Collection, Iterator
from fractions import Fraction
from itertools import pairwise

import numpy as np

from harmonise.choice.choose import Choice, line_ends
from harmonise.choice.nonchord import Name
from harmonise.choice.palette import family_of, palette
from harmonise.errors import Remark
from harmonise.rules.steps import grade_step
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.chord import diatonic_triad
from harmonise.theory.key import Key, Mode

REFUSED = frozenset({"H05", "H08"})
"""Codes that `--strict` refuses: a tune note that no chord holds or explains."""


STRONG = frozenset({"H01", "H05", "H07", "H08", "H10", "H11", "H12"})
"""Codes of rules that a richer level may be able to keep."""


def broken_rules(arrangement: Arrangement, choice: Choice) -> tuple[Remark, ...]:
    """Return every rule that gave way, and other things to know, in score order."""
    found = [
        *_unfit(arrangement, choice),
        *_unexplained(arrangement, choice),
        *_syncopated(arrangement, choice),
        *_steps(arrangement),
        *_beginning(arrangement, choice),
        *_lines(arrangement, choice),
        *_close(arrangement),
        *_left_hand(arrangement, choice),
    ]
    return tuple(sorted(found, key=_score_order))


def _score_order(remark: Remark) -> tuple[int, Fraction]:
    if remark.place is None:
        return (-1, Fraction(0))
    return (remark.place.bar, remark.place.beat or Fraction(0))


def _chorded(arrangement: Arrangement) -> list[Slot]:
    return [slot for slot in arrangement.slots if slot.chord]


def _unfit(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield the places where a note that fills its slot is not in the chord."""
    grid, tune = choice.grid, arrangement.tune
    slots = _chorded(arrangement)
    for number, slot in enumerate(slots):
        column = int(choice.columns[number])
        if choice.costs.fits[number, column] or slot.chord is None:
            continue
        part = next(
            p
            for p in range(len(grid.slot))
            if grid.slot[p] == number
            and grid.midi[p] >= 0
            and grid.midi[p] % 12 not in slot.chord.pitch_classes
        )
        pitch = tune.notes[grid.note[part]].pitch
        name = str(pitch.name) if pitch else ""
        if slot.locked:
            members = " ".join(map(str, slot.chord.members))
            what = (
                f"you locked {slot.chord} ({members}) but the long tune note is {name}."
            )
            yield Remark(
                "E18",
                what,
                slot.place,
                "Kept as you asked; marked with ! in the report.",
            )
            continue
        level = arrangement.style.level
        what = f"no chord of level {level} has the tune note {name}."
        hint = _level_for(slot.key, {int(grid.midi[part]) % 12}, level)
        remedy = hint or "No level has one: lock a chord of your own here."
        yield Remark("H05", what, slot.place, remedy)


def _unexplained(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield, slot by slot, tune notes that the chord neither holds nor explains."""
    for slot, parts in _stray_parts(choice).items():
        pitches = [arrangement.tune.notes[choice.grid.note[p]].pitch for p in parts]
        names = list(dict.fromkeys(str(pitch.name) for pitch in pitches if pitch))
        classes = {pitch.pitch_class for pitch in pitches if pitch}
        offer = choice.board.offer(slot, int(choice.columns[slot]))
        onset = Fraction(int(choice.grid.start[parts[0]]), choice.grid.ticks)
        place = arrangement.tune.place(onset)
        verb = "is" if len(names) == 1 else "are"
        what = f"{_listing(names)} {verb} not in {offer.chord} and not led to by step."
        key = choice.board.keys[int(choice.board.stretch[slot])]
        hint = _level_for(key, classes, arrangement.style.level)
        yield Remark("H08", what, place, hint)


def _stray_parts(choice: Choice) -> dict[int, list[int]]:
    """Return the unexplained parts by slot; those with remarks of their own not."""
    grid = choice.grid
    span = grid.slot_start[1:] - grid.slot_start[:-1]
    found: dict[int, list[int]] = {}
    for part in (choice.names() == Name.UNEXPLAINED).nonzero()[0].tolist():
        slot = int(grid.slot[part])
        if grid.length[part] != span[slot] and not choice.board.locked[slot]:
            found.setdefault(slot, []).append(part)
    return found


def _level_for(key: Key, classes: Collection[int], level: int) -> str:
    """Return which higher level first has a chord with all these notes, in words.

    "" where the level has one itself, which other notes rule out, or no level has.
    """
    known = {offer.chord for offer in palette(key, level)}
    if any(set(classes) <= set(chord.pitch_classes) for chord in known):
        return ""
    for higher in range(level + 1, 5):
        for offer in palette(key, higher):
            new = offer.chord not in known
            if new and set(classes) <= set(offer.chord.pitch_classes):
                word = "it" if len(classes) == 1 else "them"
                name = f"{offer.chord} ({offer.numeral})"
                return f"Level {higher} has a chord with {word}: {name}."
    return ""


def _listing(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _syncopated(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield chords that begin on a weaker beat and go on over a stronger one."""
    slots = _chorded(arrangement)
    weights = choice.grid.slot_weight.tolist()
    began = 3
    for number, slot in enumerate(slots):
        if number and slot.chord == slots[number - 1].chord:
            if weights[number] > began:
                what = f"{slot.chord} began on a weaker beat and goes on here."
                yield Remark("H07", what, slot.place)
                began = weights[number]
        elif number:
            began = weights[number]


def _steps(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield V to IV, which the ear takes for a step back."""
    changes, line_ends = arrangement.changes, set(arrangement.tune.phrases)
    for before, after in pairwise(changes):
        if after.onset in line_ends:
            continue  # A new line may begin anywhere.
        families = family_of(before.numeral), family_of(after.numeral)
        if grade_step(*families, after.key.mode) == 3:
            what = f"{before.chord} goes to {after.chord} ({'–'.join(families)})."
            remedy = "A V7, or the same chord held, is smoother."
            if after.locked:
                remedy = "Kept as you locked it."
            yield Remark("H12", what, after.place, remedy)


def _beginning(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield a first full bar off the tonic although its note would let it be on."""
    grid = choice.grid
    for number, slot in enumerate(_chorded(arrangement)):
        if slot.place.bar == 0 or slot.chord is None:
            continue
        part = int(np.argmax((grid.slot == number) & (grid.midi >= 0)))
        tonic = next(
            (o for o in choice.board.offers[0] if o.numeral in ("I", "i")), None
        )
        could = tonic and int(grid.midi[part]) % 12 in tonic.chord.pitch_classes
        if could and family_of(slot.numeral) not in ("I", "i"):
            what = f"the tune begins on {slot.chord} ({slot.numeral}), not on I."
            yield Remark("H01", what, slot.place)
        return


def _lines(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield lines that end on 2 or 7 without the dominant."""
    slots = _chorded(arrangement)
    for number, degree in line_ends(arrangement.tune, choice.grid, choice.board):
        slot = slots[number]
        if degree in (2, 7) and family_of(slot.numeral) not in ("V", "VII", "v", "III"):
            what = f"the line ends on {degree} over {slot.chord}, not over V."
            yield Remark("H11", what, slot.place)


def _tonic_chord(key: Key) -> str:
    return diatonic_triad(key, 1).symbol


def _close(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield what is unusual about the end."""
    changes = arrangement.changes
    last = changes[-1]
    tonic = last.key.tonic
    if family_of(last.numeral) not in ("I", "i"):
        note = arrangement.tune.sounding[-1].pitch
        ends = f"the tune ends on {note.name if note else ''} over {last.chord}"
        ask = f"Is {tonic} really the keynote, or does the tune go round again?"
        if note and last.key.degree(note.name) == (5, 0):
            ask = f"So it can go round again; lock {_tonic_chord(last.key)} to close."
        yield Remark("H02", f"{ends}, not on {tonic}.", last.place, ask)
        return
    if len(changes) < 2:
        return
    before = changes[-2]
    family = family_of(before.numeral)
    modal = last.key.mode not in (Mode.MAJOR, Mode.MINOR)
    if family == "V" or (modal and family in ("VII", "v")):
        return
    kind = "a plagal close" if family in ("IV", "iv") else "no close by V"
    what = f"the last change is {before.chord} to {last.chord} ({kind})."
    yield Remark("H10", what, last.place)


def _left_hand(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield slots whose tune lies too low for a left-hand note."""
    hands = choice.hands
    for number, slot in enumerate(_chorded(arrangement)):
        shape = (number, 0, int(choice.kinds[number]))
        if hands.bass[shape] < 0:
            what = "the tune lies so low that the left hand has no room."
            yield Remark("LOW", what, slot.place, "Move the tune up an octave.")
