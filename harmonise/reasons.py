"""The words of a reason: one clause for each named term of cost.

Every clause names facts of the tune or of the chosen chords. Where the fact alone does
not decide, the clause says what arrangers more often do: the costs are fitted to the
chords of several hundred folk tunes (DEVELOPERS.md tells how well).
"""

from fractions import Fraction

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.palette import Offer
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
        return self.choice.board.offer(slot, int(self.choice.columns[slot]))

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
    told = {
        "law": f"the tune's notes here rule out {theirs}",
        "accent": f"{theirs} lacks {notes[0] if notes else 'it'}, the long first note",
        "place": f"in {scene.place(slot)} arrangers more often have {ours}",
        "bar": f"arrangers more often put {ours} under such a bar",
    }
    if term == "bar" and more:
        return f"the tune is in {ours} for more of the bar"
    return told[term]


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
    told = f"{ours} is the form that suits this place"
    if term == "figure":
        return told
    if mine == before and term != "go":
        told = f"the music is already on {ours}"
    elif mine == after and term != "come":
        told = f"{ours} carries on after it"
    elif term == "change":
        told = f"a new chord is due {scene.inside(slot)}"
    elif term == "come" and before:
        told = f"{before.chord.symbol} goes more often to {ours} than to {theirs}"
    elif after:
        told = f"{ours} leads more often to {after.chord.symbol} than {theirs} does"
    return told


def with_article(noun: str) -> str:
    """Return a noun or note name with its article: an A, a B, an F#, an escape note."""
    vowel = noun[0] in "aeiou" or (noun[0] in "AEF" and not noun[1:].isalpha())
    return f"{'an' if vowel else 'a'} {noun}"


def listing(names: list[str], word: str) -> str:
    """Return names as a sentence lists them: "C, F and G"."""
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {word} {names[-1]}"
