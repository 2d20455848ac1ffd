"""Why each chord, in one sentence, and which other chords would do.

A sentence holds only facts that anyone can work out again: the place, the tune note and
its degree, which chords of the level have that note and fit the rest, and what parts
the chosen chord from the best of the others. Which chords are right in a
slot is told here alone: reasons, keys and marks all ask `Explainer`.
"""

from collections.abc import Callable
from enum import Enum
from fractions import Fraction
from functools import cached_property
from itertools import chain, pairwise
from typing import NamedTuple

import numpy as np

from harmonise.arranging import note_reasons as of_notes
from harmonise.arranging import step_reasons as of_steps
from harmonise.arranging.scene import Pair, Scene
from harmonise.choice.choose import Choice
from harmonise.choice.nonchord import WORDS, Name
from harmonise.choice.palette import Offer
from harmonise.errors import bars_called
from harmonise.rules.work import (
    TuneUnder,
    alien_in,
    foreign_to,
    next_chord,
    share_in,
    tune_under,
)
from harmonise.theory.arrangement import Alternative
from harmonise.theory.chord import Chord
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Tune


def with_article(noun: str) -> str:
    """Return a noun or note name with its article: an A, a B, an F#, an escape note."""
    vowel = noun[0] in "aeiou" or (noun[0] in "AEF" and not noun[1:].isalpha())
    return f"{'an' if vowel else 'a'} {noun}"


def listing(names: list[str], word: str) -> str:
    """Return names as a sentence lists them: "C, F and G"."""
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


MARGIN = 2000
"""Extra cost, in thousandths, up to which another chord counts as good too.

The costs are fitted logarithms of chances, but a chain takes neighbours that say the
same for two witnesses: on tunes kept back 2,000 thousandths are a factor of e, so that
a chord at the margin is chosen about a third as often as the best one.
"""
_SHARE = 0.1
"""Share of the larger gain from which on a side has a say in the reason."""


class Side(Enum):
    """Where a fact lies that parts two chords."""

    PLACE = "place"
    NOTES = "notes"
    STEPS = "steps"


_FACTS: tuple[tuple[Side, Callable[[Pair], str]], ...] = (
    (Side.PLACE, of_notes.ends),
    (Side.PLACE, of_notes.half_close),
    (Side.PLACE, of_notes.closes),
    (Side.PLACE, of_notes.makes_close),
    (Side.PLACE, of_notes.begins),
    (Side.PLACE, of_steps.is_richer),
    (Side.NOTES, of_notes.tune_has_seventh),
    (Side.NOTES, of_notes.more_notes),
    (Side.STEPS, of_steps.six_four),
    (Side.STEPS, of_steps.resolves),
    (Side.STEPS, of_steps.passes),
    (Side.STEPS, of_steps.seventh_lands),
    (Side.STEPS, of_steps.would_go_back),
    (Side.STEPS, of_steps.seventh_falls),
    (Side.STEPS, of_steps.seventh_follows),
    (Side.STEPS, of_steps.seventh_hangs),
    (Side.NOTES, of_notes.longer_here),
    (Side.NOTES, of_notes.first_note),
    (Side.STEPS, of_steps.prepares),
    (Side.NOTES, of_notes.longer_in_bar),
    (Side.STEPS, of_steps.falls_a_fifth),
    (Side.STEPS, of_steps.on_its_root),
    (Side.STEPS, of_steps.bass_steps),
    (Side.NOTES, of_notes.firmer_member),
    (Side.STEPS, of_steps.goes_on),
    (Side.STEPS, of_steps.keeps_more),
    (Side.STEPS, of_steps.shares_more),
    (Side.STEPS, of_steps.is_primary),
    (Side.STEPS, of_steps.of_the_key),
    (Side.STEPS, of_steps.stands_still),
    (Side.NOTES, of_notes.one_note),
)
"""All facts, the strongest first."""


class SlotFacts(NamedTuple):
    """What the sentence of one slot is made of.

    Attributes:
        slot: Number of the slot.
        note: The tune's first note in it.
        degree: Its degree, such as "6" or "#4".
        name: What that note is to the chosen chord.
        chosen: The chosen offer.
        having: Offers of the level that have the note, in the palette's order.
        fitting: Those of them that are right in the slot, in the same order.
        rival: The best other chord, which the reason argues with; None if there is
            none.
        locked: Whether the chord is locked.
    """

    slot: int
    note: PitchName
    degree: str
    name: Name
    chosen: Offer
    having: tuple[Offer, ...]
    fitting: tuple[Offer, ...]
    rival: Offer | None
    locked: bool


class Explainer:
    """Explains one choice; everything it says is worked out from the choice alone."""

    def __init__(self, tune: Tune, choice: Choice) -> None:
        """Keep the tune and the choice, and price every detour once."""
        self._tune, self._choice = tune, choice
        self._detours = choice.detours()
        self._names = choice.names()
        grid = choice.grid
        sounding = np.flatnonzero(grid.midi >= 0)
        at = np.searchsorted(grid.slot[sounding], np.arange(grid.slots))
        self._first_part = sounding[np.minimum(at, len(sounding) - 1)]
        self._scene = Scene(tune, choice)

    @cached_property
    def _under(self) -> tuple[TuneUnder, ...]:
        """What the tune has in each slot, to tell which chords it is foreign to."""
        grid, sounding = self._choice.grid, self._tune.sounding
        edges = [Fraction(edge, grid.ticks) for edge in grid.slot_start.tolist()]
        return tuple(
            tune_under(sounding, start, end, self._tune.key_at(start))
            for start, end in pairwise(edges)
        )

    def _row(self, slot: int) -> tuple[Offer, ...]:
        """Return what is on offer in a slot."""
        return self._choice.menu.offers[int(self._choice.menu.stretch[slot])]

    def facts(self, slot: int) -> SlotFacts:
        """Return what the sentence of a slot is made of, and its chord's rival."""
        choice, part = self._choice, self._first_part[slot]
        pitch = self._tune.notes[choice.grid.note[part]].pitch
        if pitch is None:
            msg = "a sounding part has a pitch"
            raise AssertionError(msg)
        key = choice.menu.keys[int(choice.menu.stretch[slot])]
        degree, alter = key.degree(pitch.name)
        row, chosen = self._row(slot), int(choice.columns[slot])
        having = [
            c for c, o in enumerate(row) if pitch.pitch_class in o.chord.pitch_classes
        ]
        fitting = [column for column in having if column in self._right[slot]]
        rival = self._rival(slot, fitting, having)
        return SlotFacts(
            slot, pitch.name, _signed(degree, alter), Name(int(self._names[part])),
            row[chosen], tuple(row[c] for c in having), tuple(row[c] for c in fitting),
            None if rival is None else row[rival], bool(choice.menu.locked[slot]),
        )  # fmt: skip

    def _rival(self, slot: int, fitting: list[int], having: list[int]) -> int | None:
        """Return the column of the chord that a reason argues with.

        A chord on another root before the same chord with another figure, one that
        fits before one that only has the note.
        """
        row, chosen = self._row(slot), int(self._choice.columns[slot])
        prices = self._detours[slot].tolist()
        others = sorted(
            (c for c in range(len(row)) if c != chosen), key=prices.__getitem__
        )
        for group in (fitting, having, others):
            best = [column for column in others if column in group]
            apart = [c for c in best if row[c].chord.root != row[chosen].chord.root]
            if best:
                return (apart or best)[0]
        return None

    def reason(self, slot: int) -> str:
        """Return why a slot has its chord, in one sentence without the place."""
        facts = self.facts(slot)
        name = facts.chosen.chord.symbol
        tune = f"tune {facts.note} ({facts.degree})"
        if facts.locked:
            return f"{tune}: {name}, as you locked it."
        if facts.chosen not in facts.having:
            what = _what_is(facts.note, facts.chosen.chord, facts.name)
            return f"{tune}: {facts.note} is {what} over {name}. {self._why(facts)}"
        names = [offer.chord.symbol for offer in facts.having]
        note = with_article(str(facts.note))
        if len(names) == 1:
            offers = [offer.chord.symbol for offer in self._row(slot)]
            return f"{tune}: of {listing(offers, 'and')} only {name} has {note}."
        if len(facts.fitting) == 1:
            have = f"{listing(names, 'and')} have {note}, and only {name} fits the rest"
            return f"{tune}: {have}. {self._why(facts)}"
        names = [offer.chord.symbol for offer in facts.fitting]
        return f"{tune}: {listing(names, 'or')} would fit. {self._why(facts)}"

    def _why(self, facts: SlotFacts) -> str:
        name = facts.chosen.chord.symbol
        again = self._scene.like_bar(facts.slot)
        if again is not None:
            return f"{name}, as in {bars_called([again])}, which has the same notes."
        if facts.rival is None:
            return f"{name}, because no other chord is on offer."
        clause = self._difference(facts.slot, facts.rival)
        # An inversion is there for its bass.
        pair = Pair(self._scene, facts.slot, facts.chosen, facts.rival)
        bass = "" if "its bass" in clause else of_steps.turned_bass(pair)
        return f"{name}, because {'; '.join(filter(None, (clause, bass)))}."

    def _difference(self, slot: int, rival: Offer) -> str:
        """Return what parts the chosen chord from another one, in a clause.

        Facts of the place come first, then the strongest of those sides, notes or
        steps, on which the costs part the two.
        """
        row, chosen = self._row(slot), int(self._choice.columns[slot])
        pair = Pair(self._scene, slot, row[chosen], rival)
        sides = self._sides(slot, chosen, row.index(rival))
        told = (fact(pair) for side, fact in _FACTS if side in sides)
        # Where the side that costs most has no fact of its own, the other one has.
        every = (fact(pair) for _, fact in _FACTS)
        clause = next(filter(None, chain(told, every)), "")
        return clause or f"{pair.symbols[0]} joins the chords around it best"

    def _sides(self, slot: int, mine: int, other: int) -> set[Side]:
        """Return the sides on which the costs part two chords, the neighbours kept.

        Args:
            slot: Number of the slot.
            mine: Column of the chosen chord.
            other: Column of the other one.
        """
        costs, columns = self._choice.costs, self._choice.columns
        # A chord that a rule or the user forbids has no price to compare.
        if not self._choice.menu.allowed[slot, other]:
            return set(Side)
        here, steps = costs.here[slot], 0
        if slot:
            row = costs.step[slot, columns[slot - 1]]
            steps += int(row[other]) - int(row[mine])
        if slot + 1 < self._choice.grid.slots:
            column = costs.step[slot + 1][:, columns[slot + 1]]
            steps += int(column[other]) - int(column[mine])
        gains = {Side.NOTES: int(here[other]) - int(here[mine]), Side.STEPS: steps}
        least = _SHARE * max(gains.values())
        return {Side.PLACE, *(side for side, gain in gains.items() if gain > least)}

    @cached_property
    def _right(self) -> tuple[list[int], ...]:
        """The columns of the chords that are right in each slot, the best first."""
        return tuple(map(self._right_in, range(self._choice.grid.slots)))

    def _right_in(self, slot: int) -> list[int]:
        """Return the columns of the chords that are right in a slot.

        Beside the chosen one those that fit the tune and belong to the key or lead on:
        every plain one, so that no primary triad that holds the notes is ever missing,
        and every other within the margin. Where the chosen chord does not fit the tune,
        those within the margin need only have as much of it.
        """
        chosen, row = int(self._choice.columns[slot]), self._row(slot)
        prices, mine = self._detours[slot].tolist(), row[chosen].chord
        right, known = [chosen], {mine.upright}
        for column in sorted(range(len(row)), key=lambda column: prices[column]):
            chord, near = row[column].chord, prices[column] <= MARGIN
            plain = chord == chord.upright and chord not in known
            if column == chosen or not (near or plain):
                continue
            if self._does(slot, chord, mine if near else None):
                right.append(column)
                known.add(chord.upright)
        return sorted(right, key=lambda column: (prices[column], column))

    def _does(self, slot: int, chord: Chord, near: Chord | None) -> bool:
        """Return whether a chord does in a slot.

        Args:
            slot: Number of the slot.
            chord: The chord.
            near: The chosen chord, if the other one is nearly as good.
        """
        menu, under = self._choice.menu, self._under[slot]
        after = next_chord(chord, self._scene.later(slot))
        # A major tune with flat sevenths is at home in its mode too.
        keys = (under.key, menu.keys[int(menu.stretch[slot])])
        if all(alien_in(chord, under._replace(key=key), after) for key in keys):
            return False
        if foreign_to(chord, under) is None:
            return True
        if near is None or foreign_to(near, under) is None:
            return False
        return share_in(chord, under) >= share_in(near, under)

    def alternatives(self, slot: int) -> tuple[Alternative, ...]:
        """Return the other chords that are right in a slot, best first."""
        row, chosen = self._row(slot), int(self._choice.columns[slot])
        first = f"{row[chosen].chord.symbol} comes first because"
        return tuple(
            Alternative(
                row[column].chord,
                row[column].numeral,
                self._detours[slot, column].item(),
                f"{first} {self._difference(slot, row[column])}.",
            )
            for column in self._right[slot]
            if column != chosen
        )


def _signed(degree: int, alter: int) -> str:
    return f"{'#' * alter if alter > 0 else 'b' * -alter}{degree}"


_INTERVALS = {
    (1, 1): "minor ninth", (1, 2): "ninth", (3, 5): "fourth",
    (3, 6): "augmented fourth", (4, 6): "diminished fifth", (5, 8): "minor sixth",
    (5, 9): "sixth", (6, 9): "diminished seventh", (6, 10): "minor seventh",
    (6, 11): "major seventh",
}  # fmt: skip
"""Intervals of letters and semitones above a root that belong to no triad."""


def _what_is(note: PitchName, chord: Chord, name: Name) -> str:
    """Return what a tune note outside its chord is: its name, or its interval."""
    if name is not Name.UNEXPLAINED:
        return with_article(WORDS[name])
    steps = (note.letter - chord.root.letter) % 7
    semitones = (note.pitch_class - chord.root.pitch_class) % 12
    interval = _INTERVALS.get((steps, semitones))
    return f"the {interval}" if interval else "a foreign note"
