"""Why each chord, in one sentence, and which other chords would do.

A sentence holds only facts that anyone can work out again: the place, the tune note and
its degree, which chords of the level have that note, and the named cost that parts the
chosen chord from the next best one.
"""

from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, line_ends
from harmonise.choice.palette import Offer
from harmonise.theory.arrangement import Alternative
from harmonise.theory.tune import Tune

MARGIN = 500
"""Extra cost, in thousandths, up to which another chord counts as good too."""


class SlotFacts(NamedTuple):
    """What the sentence of one slot is made of.

    Attributes:
        slot: Number of the slot.
        note: Name of the tune's first note in it, such as "A".
        degree: Its degree, such as "6" or "#4".
        chosen: The chosen offer.
        having: Offers of the level that have the note, in the palette's order.
        rival: The next best chord that has the note; None if there is none.
        locked: Whether the chord is locked.
    """

    slot: int
    note: str
    degree: str
    chosen: Offer
    having: tuple[Offer, ...]
    rival: Offer | None
    locked: bool


class Explainer:
    """Explains one choice; everything it says is worked out from the choice alone."""

    def __init__(self, tune: Tune, choice: Choice) -> None:
        """Keep the tune and the choice, and price every detour once."""
        self._tune, self._choice = tune, choice
        self._detours = choice.detours()
        grid = choice.grid
        sounding = np.flatnonzero(grid.midi >= 0)
        at = np.searchsorted(grid.slot[sounding], np.arange(grid.slots))
        self._first_part = sounding[np.minimum(at, len(sounding) - 1)]
        self._line_ends = dict(line_ends(tune, grid, choice.board))

    def facts(self, slot: int) -> SlotFacts:
        """Return the facts about a slot."""
        choice = self._choice
        pitch = self._tune.notes[choice.grid.note[self._first_part[slot]]].pitch
        if pitch is None:
            msg = "a sounding part has a pitch"
            raise AssertionError(msg)
        stretch = choice.board.stretch[slot]
        degree, alter = choice.board.keys[stretch].degree(pitch.name)
        row = choice.board.offers[stretch]
        chosen = int(choice.columns[slot])
        having = [
            c for c, o in enumerate(row) if pitch.pitch_class in o.chord.pitch_classes
        ]
        order = np.argsort(self._detours[slot], kind="stable").tolist()
        rival = next((c for c in order if c in having and c != chosen), None)
        return SlotFacts(
            slot, str(pitch.name), _signed(degree, alter), row[chosen],
            tuple(row[c] for c in having), None if rival is None else row[rival],
            bool(choice.board.locked[slot]),
        )  # fmt: skip

    def reason(self, slot: int) -> str:
        """Return why a slot has its chord, in one sentence without the place."""
        facts = self.facts(slot)
        name = facts.chosen.chord.symbol
        tune = f"tune {facts.note} ({facts.degree})"
        if facts.locked:
            return f"{tune}: {name}, as you locked it."
        if facts.chosen not in facts.having:
            return f"{tune}: {name}; {facts.note} is not in it. {self._why(facts)}"
        if len(facts.having) == 1:
            offers = self._choice.board.offers[self._choice.board.stretch[slot]]
            names = _listing([o.chord.symbol for o in offers], "and")
            return f"{tune}: of {names} only {name} has {_article(facts.note)}."
        names = _listing([o.chord.symbol for o in facts.having], "or")
        return f"{tune}: {names} would fit. {self._why(facts)}"

    def _why(self, facts: SlotFacts) -> str:
        slot, name = facts.slot, facts.chosen.chord.symbol
        if slot == self._choice.grid.slots - 1 and facts.chosen.family in ("I", "i"):
            return f"{name}, because the tune ends on the tonic."
        if slot in self._line_ends and facts.chosen.family in ("V", "VII"):
            return f"{name}, because the line ends here: a half cadence."
        if facts.rival is None:
            return f"{name}, because no chord of the level has {_article(facts.note)}."
        told = self._difference(facts, facts.rival)
        return f"{name}, because {told}."

    def _difference(self, facts: SlotFacts, rival: Offer) -> str:
        """Return the largest named difference between chosen and rival, in words."""
        choice, slot = self._choice, facts.slot
        row = choice.board.offers[choice.board.stretch[slot]]
        mine, other = int(choice.columns[slot]), row.index(rival)
        gains = self._gains(slot, mine, other)
        before = self._neighbour(slot - 1)
        after = self._neighbour(slot + 1)
        words = {
            "notes": f"the tune's notes here clash more with {rival.chord.symbol}",
            "before": f"{before} to {rival.chord.symbol} is a weaker step",
            "after": f"{rival.chord.symbol} to {after} is a weaker step",
            "stay": f"the music is already on {facts.chosen.chord.symbol}",
            "on": f"{facts.chosen.chord.symbol} carries on after it",
            "use": f"{facts.chosen.chord.symbol} is the plainer chord",
            "form": f"{facts.chosen.chord.symbol} suits this place in the tune better",
        }
        best = max(words, key=lambda word: gains[word])
        if gains[best] <= 0:
            return "the whole line runs more smoothly with it"
        return words[best]

    def _neighbour(self, slot: int) -> str:
        if not 0 <= slot < self._choice.grid.slots:
            return ""
        column = int(self._choice.columns[slot])
        return self._choice.board.offer(slot, column).chord.symbol

    def _gains(self, slot: int, mine: int, other: int) -> dict[str, int]:
        """Return by how much the rival is dearer, term by term, neighbours kept."""
        choice, costs = self._choice, self._choice.costs
        columns, stretch = choice.columns, choice.board.stretch
        use = [o.cost for o in choice.board.offers[stretch[slot]]]
        gains = {
            "notes": int(costs.notes[slot, other] - costs.notes[slot, mine]),
            "form": int(costs.form[slot, other] - costs.form[slot, mine]),
            "use": use[other] - use[mine],
            "before": 0, "after": 0, "stay": 0, "on": 0,
        }  # fmt: skip
        if slot:
            row = costs.progression[stretch[slot], columns[slot - 1]]
            gains["before"] = int(row[other] - row[mine])
            gains["stay"] = 400 * int(columns[slot - 1] == mine)
        if slot + 1 < choice.grid.slots:
            table = costs.progression[stretch[slot + 1], :, columns[slot + 1]]
            gains["after"] = int(table[other] - table[mine])
            gains["on"] = 300 * int(columns[slot + 1] == mine)
        return gains

    def alternatives(self, slot: int) -> tuple[Alternative, ...]:
        """Return the chords that some way within the margin uses, best first."""
        choice = self._choice
        chosen = int(choice.columns[slot])
        row = choice.board.offers[choice.board.stretch[slot]]
        prices = self._detours[slot].tolist()
        found = sorted(
            (price, column)
            for column, price in enumerate(prices[: len(row)])
            if column != chosen and price <= MARGIN
        )
        facts = self.facts(slot)
        return tuple(
            Alternative(
                row[column].chord,
                row[column].numeral,
                price,
                f"Second, because {self._difference(facts, row[column])}.",
            )
            for price, column in found
        )


def _signed(degree: int, alter: int) -> str:
    return f"{'#' * alter if alter > 0 else 'b' * -alter}{degree}"


def _article(note: str) -> str:
    """Return a note name with its article: an A, a B, an F sharp."""
    return f"{'an' if note[0] in 'AEF' else 'a'} {note}"


def _listing(names: list[str], word: str) -> str:
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {word} {names[-1]}"
