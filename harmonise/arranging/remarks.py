"""What an arrangement has to admit: each rule that gave way, with its place.

Hard rules give way only where no chord of the level can meet them, strong rules where
nothing else fits or where the user's own lock asks for it.
"""

from collections.abc import Collection, Iterator
from fractions import Fraction

from harmonise.choice.choose import Choice
from harmonise.choice.closes import line_ends
from harmonise.choice.nonchord import Name
from harmonise.choice.palette import palette
from harmonise.errors import Place, Remark, listed
from harmonise.rules import chords, steps
from harmonise.rules.score_view import Score
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.numerals import family_of
from harmonise.theory.pitch import Pitch

REFUSED = frozenset({"H05", "H08"})
"""Codes that `--strict` refuses: a tune note that no chord holds or explains."""


STRONG = frozenset({"H01", "H05", "H07", "H08", "H10", "H11", "H12"})
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
        *_unfit(score, choice),
        *_unexplained(arrangement, choice),
        *_lines(arrangement, choice),
        *_left_hand(arrangement, choice),
    ]
    return tuple(sorted(remarks, key=score_order))


def score_order(remark: Remark) -> tuple[int, Fraction]:
    """Return by what remarks are sorted: the whole tune first, then score order."""
    place = remark.place or Place(-1)
    return place.bar, place.beat or Fraction(0)


def _chorded(arrangement: Arrangement) -> list[Slot]:
    return [slot for slot in arrangement.slots if slot.chord]


def _unfit(score: Score, choice: Choice) -> Iterator[Remark]:
    """Yield the places where a note that its chord must have is not in it.

    Besides a note that fills its slot, which is a rule for all, the first note of a
    slot binds the chooser where chords change on every beat, and so does the seventh
    degree of a minor tune, natural or raised.
    """
    grid, tune = choice.grid, score.arrangement.tune
    unfit = {row.onset for row in chords.filling_note_fits(score)}
    for number, slot in enumerate(_chorded(score.arrangement)):
        # The chooser keeps more than the rule where it can; what it could not is told.
        fits = choice.costs.fits[number, int(choice.columns[number])]
        if fits and slot.onset not in unfit:
            continue
        for part in (grid.slot == number).nonzero()[0].tolist():
            pitch = tune.notes[grid.note[part]].pitch
            classes = slot.chord.pitch_classes if slot.chord else ()
            if pitch and slot.chord and pitch.pitch_class not in classes:
                yield _without(slot, slot.chord, pitch, score.arrangement.style.level)
                break


def _without(slot: Slot, chord: Chord, pitch: Pitch, level: int) -> Remark:
    """Return the remark on a chord that lacks a tune note."""
    if slot.locked:
        return Remark(
            "E18",
            f"you locked {chord.with_notes} but the long tune note is {pitch.name}.",
            slot.place,
            "Kept as you asked; marked with ! in the report.",
        )
    hint = _level_for(slot.key, {pitch.pitch_class}, level)
    return Remark(
        "H05",
        f"no chord of level {level} has the tune note {pitch.name}.",
        slot.place,
        hint or "No level has one: lock a chord of your own here.",
    )


def _unexplained(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield, slot by slot, tune notes that the chord neither holds nor explains."""
    for slot, parts in _stray_parts(choice).items():
        pitches = [arrangement.tune.notes[choice.grid.note[p]].pitch for p in parts]
        names = list(dict.fromkeys(str(pitch.name) for pitch in pitches if pitch))
        classes = {pitch.pitch_class for pitch in pitches if pitch}
        offer = choice.menu.offer(slot, int(choice.columns[slot]))
        onset = Fraction(int(choice.grid.start[parts[0]]), choice.grid.ticks)
        place = arrangement.tune.place(onset)
        verb = "is" if len(names) == 1 else "are"
        what = f"{listed(names)} {verb} not in {offer.chord} and not led to by step."
        key = choice.menu.keys[int(choice.menu.stretch[slot])]
        hint = _level_for(key, classes, arrangement.style.level)
        yield Remark("H08", what, place, hint)


def _stray_parts(choice: Choice) -> dict[int, list[int]]:
    """Return the unexplained parts by slot; those with remarks of their own not."""
    grid = choice.grid
    span = grid.slot_start[1:] - grid.slot_start[:-1]
    parts: dict[int, list[int]] = {}
    for part in (choice.names() == Name.UNEXPLAINED).nonzero()[0].tolist():
        slot = int(grid.slot[part])
        if grid.length[part] != span[slot] and not choice.menu.locked[slot]:
            parts.setdefault(slot, []).append(part)
    return parts


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


def _lines(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield lines that end on 2 or 7 without the dominant."""
    slots = _chorded(arrangement)
    for number, degree in line_ends(arrangement.tune, choice.grid, choice.menu):
        slot = slots[number]
        if degree in (2, 7) and family_of(slot.numeral) not in ("V", "VII", "v", "III"):
            what = f"the line ends on {degree} over {slot.chord}, not over V."
            yield Remark("H11", what, slot.place)


def _left_hand(arrangement: Arrangement, choice: Choice) -> Iterator[Remark]:
    """Yield slots whose tune lies too low for a left-hand note."""
    hands = choice.hands
    for number, slot in enumerate(_chorded(arrangement)):
        shape = (number, 0, int(choice.kinds[number]))
        if hands.bass[shape] < 0:
            what = "the tune lies so low that the left hand has no room."
            yield Remark("LOW", what, slot.place, "Move the tune up an octave.")
