"""Why each chord, in one sentence, and which other chords would do.

A sentence holds only facts that anyone can work out again: the place, the tune note and
its degree, which chords of the level have that note, and the largest named terms of
cost that part the chosen chord from the next best one, its neighbours kept. Each term
has a clause that names facts of the tune or of the chosen chords. Where the fact alone
does not decide, the clause says what arrangers more often do: the costs are fitted to
the chords of several hundred folk tunes, as tests/benchmarks/FIGURES.md tells.
"""

from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, line_ends
from harmonise.choice.costs import NEVER
from harmonise.choice.fitted.costing import NAMED, Terms, terms_of
from harmonise.choice.nonchord import WORDS, Name
from harmonise.choice.palette import Offer
from harmonise.rules.work import TuneUnder, foreign_to, tune_under
from harmonise.theory.arrangement import Alternative
from harmonise.theory.numerals import Role, goes_back
from harmonise.theory.pitch import parse_name
from harmonise.theory.tune import Tune


class Scene:
    """What surrounds a slot: its notes, its bar, its neighbours."""

    def __init__(self, tune: Tune, choice: Choice) -> None:
        """Keep the tune and what was chosen."""
        self.tune, self.choice = tune, choice
        seen = choice.costs.seen
        self.frame, self.first = seen.sight.frame, seen.first
        self._pitches = [note.pitch for note in tune.notes]
        twin = choice.costs.twin[self.first]
        self._model = np.searchsorted(self.first, twin)

    def notes(self, slot: int) -> list[str]:
        """Return the names of the tune notes in a slot, each once, in order."""
        grid = self.choice.grid
        if not 0 <= slot < grid.slots:
            return []
        low, high = np.searchsorted(grid.slot, [slot, slot + 1])
        pitches = [self._pitches[note] for note in grid.note[low:high]]
        return list(dict.fromkeys(str(pitch.name) for pitch in pitches if pitch))

    def chord(self, slot: int) -> Offer | None:
        """Return the chord chosen in a slot; None outside the tune."""
        if not 0 <= slot < self.choice.grid.slots:
            return None
        return self.choice.menu.offer(slot, int(self.choice.columns[slot]))

    def bar_of(self, slot: int) -> int:
        """Return the number of a slot's bar."""
        return self.tune.bars[int(self.choice.grid.slot_bar[slot])].number

    def inside(self, slot: int) -> str:
        """Return where a slot begins: "at the bar line" or "inside the bar"."""
        at_line = self.choice.grid.slot_weight[slot] == 3
        return "at the bar line" if at_line else "inside the bar"

    def held(self, slot: int, chord: Offer) -> Fraction:
        """Return for how many crotchets of a slot's bar the tune is in a chord."""
        grid = self.choice.grid
        bar = grid.slot_bar[grid.slot] == grid.slot_bar[slot]
        inside = np.isin(grid.midi % 12, list(chord.chord.pitch_classes))
        ticks = grid.length[bar & inside & (grid.midi >= 0)].sum()
        return Fraction(int(ticks), grid.ticks)

    def place(self, slot: int) -> str:
        """Return where a slot's bar stands in its section."""
        at = self.first[slot]
        left, since = int(self.frame.left[at]), int(self.frame.since[at])
        if left == 0:
            return "the last bar of the section"
        if left == 1:
            return "the last bar but one of the section"
        return f"bar {since + 1} of the section"

    def like_bar(self, slot: int) -> str:
        """Return an earlier bar with the same notes and chord there, "" for none."""
        model = int(self._model[slot])
        chords = self.chord(model), self.chord(slot)
        same = model < slot and chords[0] == chords[1]
        return f"bar {self.bar_of(model)}" if same else ""


def say(scene: Scene, term: str, slot: int, mine: Offer, other: Offer) -> str:
    """Return the clause of one term, for a chord chosen before another."""
    if term in ("change", "come", "go", "figure"):
        return _of_steps(scene, term, slot, (mine, other))
    if term == "only":
        return _of_only_way(scene, slot, mine, other)
    ours, theirs = mine.chord.symbol, other.chord.symbol
    notes = scene.notes(slot)
    if term == "here":
        return _of_notes(notes, mine, other)
    if term in ("before", "after"):
        around = scene.notes(slot - 1 if term == "before" else slot + 1)
        when = "after" if term == "before" else "before"
        names = listing(around, "and") if around else "a rest"
        return f"{when} {names} arrangers more often have {ours}"
    more = scene.held(slot, mine) > scene.held(slot, other)
    clauses = {
        "law": f"the tune's notes here rule out {theirs}",
        "accent": f"{theirs} lacks {notes[0] if notes else 'it'}, the long first note",
        "place": f"in {scene.place(slot)} arrangers more often have {ours}",
        "bar": f"arrangers more often put {ours} under such a bar",
    }
    if term == "bar" and more:
        return f"the tune is in {ours} for more of the bar"
    return clauses[term]


def _of_notes(notes: list[str], mine: Offer, other: Offer) -> str:
    ours, theirs = mine.chord.symbol, other.chord.symbol
    if not notes:
        return f"{ours} is the more usual chord here"
    here = [note for note in notes if _holds(mine, note)]
    there = [note for note in notes if _holds(other, note)]
    if len(here) > len(there):
        only = f"only {listing(there, 'and')}" if there else "none of them"
        if len(here) == len(notes) > 1:
            return f"it has all the notes here, {theirs} {only}"
        of = f"of {listing(notes, 'and')} " if len(notes) > 1 else ""
        return f"{of}it has {listing(here, 'and')}, {theirs} {only}"
    under = listing(notes, "and")
    return f"arrangers more often put {ours} under {under}"


def _holds(offer: Offer, note: str) -> bool:
    return parse_name(note).pitch_class in offer.chord.pitch_classes


def _of_steps(scene: Scene, term: str, slot: int, pair: tuple[Offer, Offer]) -> str:
    mine, other = pair
    before, after = scene.chord(slot - 1), scene.chord(slot + 1)
    ours, theirs = mine.chord.symbol, other.chord.symbol
    clause = f"{ours} is the form that suits this place"
    if term == "figure":
        return clause
    if mine == before and term != "go":
        clause = f"the music is already on {ours}"
    elif mine == after and term != "come":
        clause = f"{ours} carries on after it"
    elif term == "change":
        clause = f"a new chord is due {scene.inside(slot)}"
    elif term == "come" and before:
        clause = f"{before.chord.symbol} goes more often to {ours} than to {theirs}"
    elif after:
        clause = f"{ours} leads more often to {after.chord.symbol} than {theirs} does"
    return clause


def _of_only_way(scene: Scene, slot: int, mine: Offer, other: Offer) -> str:
    """Return which rule keeps another chord out where one way is lawful."""
    before, after = scene.chord(slot - 1), scene.chord(slot + 1)
    theirs, notes = other.chord.symbol, scene.notes(slot)
    if not all(_holds(other, note) for note in notes):
        return _of_notes(notes, mine, other)
    if before is None:
        return "the first chord is the tonic"
    if goes_back(before.role, other.role):
        step = f"{before.family}\N{EN DASH}{other.family}"
        return f"{theirs} would come straight after {before.chord.symbol} ({step})"
    if after and goes_back(other.role, after.role):
        step = f"{other.family}\N{EN DASH}{after.family}"
        return f"{theirs} would lead straight into {after.chord.symbol} ({step})"
    ours = mine.chord.symbol
    return f"with plain triads one way alone is lawful, and it has {ours} here"


def with_article(noun: str) -> str:
    """Return a noun or note name with its article: an A, a B, an F#, an escape note."""
    vowel = noun[0] in "aeiou" or (noun[0] in "AEF" and not noun[1:].isalpha())
    return f"{'an' if vowel else 'a'} {noun}"


def listing(names: list[str], word: str) -> str:
    """Return names as a sentence lists them: "C, F and G"."""
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


MARGIN = 1000
"""Extra cost, in thousandths, up to which another chord counts as good too.

The costs are fitted logarithms of chances, so that a chord at the margin is chosen
about a third as often as the best one.
"""
_TOLD = 2
_LEAST = 0.25
"""Terms that one sentence tells, and the least share of the largest that is told."""


class SlotFacts(NamedTuple):
    """What the sentence of one slot is made of.

    Attributes:
        slot: Number of the slot.
        note: Name of the tune's first note in it, such as "A".
        degree: Its degree, such as "6" or "#4".
        name: What that note is to the chosen chord.
        chosen: The chosen offer.
        having: Offers of the level that have the note, in the palette's order.
        right: Offers that are right in the slot, the chosen one among them.
        rival: The next best chord that has the note; None if there is none.
        locked: Whether the chord is locked.
    """

    slot: int
    note: str
    degree: str
    name: Name
    chosen: Offer
    having: tuple[Offer, ...]
    right: tuple[Offer, ...]
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
        self._line_ends = dict(line_ends(tune, grid, choice.menu))
        self._scene = Scene(tune, choice)
        self._facts: dict[int, SlotFacts] = {}

    @cached_property
    def _under(self) -> tuple[TuneUnder, ...]:
        """What the tune has in each slot, to tell which chords it is foreign to."""
        grid, sounding = self._choice.grid, self._tune.sounding
        edges = [Fraction(edge, grid.ticks) for edge in grid.slot_start.tolist()]
        return tuple(
            tune_under(sounding, start, end, self._tune.key_at(start))
            for start, end in pairwise(edges)
        )

    @cached_property
    def _terms(self) -> Terms:
        costs = self._choice.costs
        return terms_of(costs.table, costs.seen, costs.kinds, costs.kind)

    def facts(self, slot: int) -> SlotFacts:
        """Return what the sentence of a slot is made of, and its chord's rival."""
        if slot not in self._facts:
            self._facts[slot] = self._facts_of(slot)
        return self._facts[slot]

    def _facts_of(self, slot: int) -> SlotFacts:
        choice, part = self._choice, self._first_part[slot]
        pitch = self._tune.notes[choice.grid.note[part]].pitch
        if pitch is None:
            msg = "a sounding part has a pitch"
            raise AssertionError(msg)
        stretch = choice.menu.stretch[slot]
        degree, alter = choice.menu.keys[stretch].degree(pitch.name)
        row = choice.menu.offers[stretch]
        chosen = int(choice.columns[slot])
        having = [
            c for c, o in enumerate(row) if pitch.pitch_class in o.chord.pitch_classes
        ]
        order = np.argsort(self._detours[slot], kind="stable").tolist()
        rival = next((c for c in order if c in having and c != chosen), None)
        if rival is None:
            # No other chord has the note: the next best one of all is argued with.
            rival = next((c for c in order if c < len(row) and c != chosen), None)
        return SlotFacts(
            slot, str(pitch.name), _signed(degree, alter), Name(int(self._names[part])),
            row[chosen], tuple(row[c] for c in having),
            tuple(row[c] for c in self._right[slot]),
            None if rival is None else row[rival], bool(choice.menu.locked[slot]),
        )  # fmt: skip

    def reason(self, slot: int) -> str:
        """Return why a slot has its chord, in one sentence without the place."""
        facts = self.facts(slot)
        name = facts.chosen.chord.symbol
        tune = f"tune {facts.note} ({facts.degree})"
        if facts.locked:
            return f"{tune}: {name}, as you locked it."
        if facts.chosen not in facts.having:
            is_what = with_article(WORDS[facts.name])
            return f"{tune}: {facts.note} is {is_what} over {name}. {self._why(facts)}"
        if len(facts.having) == 1:
            offers = self._choice.menu.offers[self._choice.menu.stretch[slot]]
            names = listing([o.chord.symbol for o in offers], "and")
            return f"{tune}: of {names} only {name} has {with_article(facts.note)}."
        fitting = [offer for offer in facts.having if offer in facts.right]
        if len(fitting) == 1:
            names = listing([o.chord.symbol for o in facts.having], "and")
            have = f"{names} have {with_article(facts.note)}"
            return f"{tune}: {have}, and only {name} fits the rest. {self._why(facts)}"
        names = listing([o.chord.symbol for o in fitting], "or")
        return f"{tune}: {names} would fit. {self._why(facts)}"

    def _why(self, facts: SlotFacts) -> str:
        slot, name = facts.slot, facts.chosen.chord.symbol
        if slot == self._choice.grid.slots - 1 and facts.chosen.role is Role.TONIC:
            return f"{name}, because the tune ends on the tonic."
        if slot in self._line_ends and facts.chosen.family in ("V", "VII"):
            return f"{name}, because the line ends here: a half cadence."
        again = self._scene.like_bar(slot)
        if again and not self._choice.menu.forced[slot]:
            return f"{name}, as in {again}, which has the same notes."
        if facts.rival is None:
            return f"{name}, because no other chord is on offer."
        return f"{name}, because {self._difference(facts, facts.rival)}."

    def _difference(self, facts: SlotFacts, rival: Offer) -> str:
        """Return the largest terms that part chosen and rival, in words."""
        slot = facts.slot
        menu = self._choice.menu
        row = menu.offers[menu.stretch[slot]]
        if menu.forced[slot] and not menu.allowed[slot, row.index(rival)]:
            return say(self._scene, "only", slot, facts.chosen, rival)
        gains = self.gains(slot, row.index(rival))
        order = sorted(gains, key=lambda term: -gains[term])
        terms = [term for term in order[:_TOLD] if gains[term] > 0]
        terms = [term for term in terms if gains[term] >= _LEAST * gains[order[0]]]
        words = [say(self._scene, term, slot, facts.chosen, rival) for term in terms]
        if not words:
            return "the whole line runs more smoothly with it"
        return " and ".join(dict.fromkeys(words))

    def gains(self, slot: int, other: int) -> dict[str, float]:
        """Return by how much another chord is dearer, term by term, neighbours kept.

        Args:
            slot: Number of the slot.
            other: Column of the other chord.

        Returns:
            Thousandths for each of `NAMED`, "change", "come" (the step into the chord),
            "go" (the step out of it), "accent" (a long first note), "law" (a hard
            rule), "figure" (sevenths and figures).
        """
        choice, terms = self._choice, self._terms
        mine, columns = int(choice.columns[slot]), choice.columns
        gains = {
            name: float(terms.here[name][slot, other] - terms.here[name][slot, mine])
            for name in NAMED
        }
        costs = choice.costs
        accent = float(costs.accent[slot, other] - costs.accent[slot, mine])
        law = float(
            NEVER * (int(costs.fits[slot, mine]) - int(costs.fits[slot, other]))
        )
        gains |= {"change": 0.0, "come": 0.0, "go": 0.0, "accent": accent, "law": law}
        whole = float(costs.here[slot, other] - costs.here[slot, mine])
        if slot:
            before = columns[slot - 1]
            # A change is paid for only by the chord that differs from its neighbour.
            fresh = int(other != before) - int(mine != before)
            gains["change"] += float(terms.change[slot]) * fresh
            step, all_of = terms.step[slot, before], costs.step[slot, before]
            gains["come"] = float(step[other] - step[mine])
            whole += float(all_of[other] - all_of[mine])
        if slot + 1 < choice.grid.slots:
            after = columns[slot + 1]
            fresh = int(other != after) - int(mine != after)
            gains["change"] += float(terms.change[slot + 1]) * fresh
            step, all_of = terms.step[slot + 1], costs.step[slot + 1]
            gains["go"] = float(step[other, after] - step[mine, after])
            whole += float(all_of[other, after] - all_of[mine, after])
        # What no named term explains is the price of sevenths and figures.
        gains["figure"] = round(whole - sum(gains.values()), 6)
        return gains

    @cached_property
    def _right(self) -> tuple[list[int], ...]:
        """The columns of the chords that are right in each slot, the best first."""
        return tuple(map(self._right_in, range(self._choice.grid.slots)))

    def _right_in(self, slot: int) -> list[int]:
        """Return the columns of the chords that are right in a slot.

        Those are the chosen one, every one within the margin, and every plain one that
        fits the tune: no primary triad that holds the notes is ever missing.
        """
        choice = self._choice
        chosen = int(choice.columns[slot])
        row = choice.menu.offers[choice.menu.stretch[slot]]
        prices = self._detours[slot].tolist()
        right = [c for c in range(len(row)) if c == chosen or prices[c] <= MARGIN]
        known = {row[column].chord.upright for column in right}
        right += [
            column
            for column, offer in enumerate(row)
            if offer.chord == offer.chord.upright
            and offer.chord not in known
            and foreign_to(offer.chord, self._under[slot]) is None
        ]
        return sorted(right, key=lambda column: (prices[column], column))

    def alternatives(self, slot: int) -> tuple[Alternative, ...]:
        """Return the other chords that are right in a slot, best first."""
        choice = self._choice
        chosen = int(choice.columns[slot])
        row = choice.menu.offers[choice.menu.stretch[slot]]
        facts = self.facts(slot)
        return tuple(
            Alternative(
                row[column].chord,
                row[column].numeral,
                self._detours[slot, column].item(),
                f"Second, because {self._difference(facts, row[column])}.",
            )
            for column in self._right[slot]
            if column != chosen
        )


def _signed(degree: int, alter: int) -> str:
    return f"{'#' * alter if alter > 0 else 'b' * -alter}{degree}"
