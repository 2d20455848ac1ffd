"""Why each chord, in one sentence, and which other chords would do.

A sentence holds only facts that anyone can work out again: the place, the tune note and
its degree, which chords of the level have that note, and the largest named terms of
cost that part the chosen chord from the next best one, its neighbours kept.
"""

from functools import cached_property
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, line_ends
from harmonise.choice.costs import NEVER
from harmonise.choice.fitted.terms import NAMED, Terms, terms_of
from harmonise.choice.nonchord import WORDS, Name
from harmonise.choice.palette import Offer
from harmonise.reasons import Scene, listing, say, with_article
from harmonise.theory.arrangement import Alternative
from harmonise.theory.tune import Tune

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
        rival: The next best chord that has the note; None if there is none.
        locked: Whether the chord is locked.
    """

    slot: int
    note: str
    degree: str
    name: Name
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
        self._names = choice.names()
        grid = choice.grid
        sounding = np.flatnonzero(grid.midi >= 0)
        at = np.searchsorted(grid.slot[sounding], np.arange(grid.slots))
        self._first_part = sounding[np.minimum(at, len(sounding) - 1)]
        self._line_ends = dict(line_ends(tune, grid, choice.board))
        self._scene = Scene(tune, choice)

    @cached_property
    def _terms(self) -> Terms:
        costs = self._choice.costs
        return terms_of(costs.table, costs.seen, costs.kinds, costs.kind)

    def facts(self, slot: int) -> SlotFacts:
        """Return the facts about a slot."""
        choice, part = self._choice, self._first_part[slot]
        pitch = self._tune.notes[choice.grid.note[part]].pitch
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
        if rival is None:
            rival = next((c for c in order if c < len(row) and c != chosen), None)
        return SlotFacts(
            slot, str(pitch.name), _signed(degree, alter), Name(int(self._names[part])),
            row[chosen], tuple(row[c] for c in having),
            None if rival is None else row[rival], bool(choice.board.locked[slot]),
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
            offers = self._choice.board.offers[self._choice.board.stretch[slot]]
            names = listing([o.chord.symbol for o in offers], "and")
            return f"{tune}: of {names} only {name} has {with_article(facts.note)}."
        names = listing([o.chord.symbol for o in facts.having], "or")
        return f"{tune}: {names} would fit. {self._why(facts)}"

    def _why(self, facts: SlotFacts) -> str:
        slot, name = facts.slot, facts.chosen.chord.symbol
        if slot == self._choice.grid.slots - 1 and facts.chosen.family in ("I", "i"):
            return f"{name}, because the tune ends on the tonic."
        if slot in self._line_ends and facts.chosen.family in ("V", "VII"):
            return f"{name}, because the line ends here: a half cadence."
        again = self._scene.like_bar(slot)
        if again:
            return f"{name}, as in {again}, which has the same notes."
        if facts.rival is None:
            return f"{name}, because no other chord is on offer."
        return f"{name}, because {self._difference(facts, facts.rival)}."

    def _difference(self, facts: SlotFacts, rival: Offer) -> str:
        """Return the largest terms that part chosen and rival, in words."""
        slot = facts.slot
        row = self._choice.board.offers[self._choice.board.stretch[slot]]
        gains = self.gains(slot, row.index(rival))
        order = sorted(gains, key=lambda term: -gains[term])
        told = [term for term in order[:_TOLD] if gains[term] > 0]
        told = [term for term in told if gains[term] >= _LEAST * gains[order[0]]]
        words = [say(self._scene, term, slot, facts.chosen, rival) for term in told]
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
        gains["figure"] = round(whole - sum(gains.values()), 6)
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
