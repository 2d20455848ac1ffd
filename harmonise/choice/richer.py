"""Richer chords for a verse that is sung again: some give way to richer ones.

Under the same tune V7 may stand for V, ii for IV, vi or iii for I, and a secondary
dominant before the chord that it leads to. A richer chord is in root position, suits
every tune note of its slot, and goes on as textbooks have it: ii to V, V7 to I or vi,
V7/x to x. The plain chords of the other verses cost more and more, until a third of the
places have something else; each price is one exact cheapest path. Common practice; the
prices are our own judgement.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

import numpy as np

from harmonise.choice.choose import Choice, choose, posed, solved
from harmonise.choice.costs import chord_costs
from harmonise.choice.grid import Ints
from harmonise.choice.palette import Menu, Offer, lay_out
from harmonise.choice.weights import PLAIN_WEIGHTS
from harmonise.rules.work import foreign_to, tune_under
from harmonise.theory.arrangement import HarmonicRhythm, Player, Style
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import Role
from harmonise.theory.tune import Tune

PRICES = (1000, 2000, 4000, 8000, 16000)
"""What a plain chord costs, in thousandths, in one attempt after the other."""
SHARE = 3
"""One slot in so many is to have another chord than before."""
_NO = 200_000
"""Cost of a chord that is neither that of the other verses nor richer, and of a step
that no textbook has: more than any taste, less than a law."""
_LEVEL, _BEGINNERS_LEVEL = 4, 3
_SEVENTHS = {
    Mode.MAJOR: ("ii7", "V7/V", "V7/ii", "V7/vi"),
    Mode.MINOR: ("iiø7", "V7/V", "V7/VI"),
}
"""Chords on offer besides those of the level."""
_WEIGHTS = PLAIN_WEIGHTS._replace(syncopation=_NO)


def choose_richer(tune: Tune, style: Style) -> Choice:
    """Return the chords of a verse, some of them richer than `choose` has them.

    Args:
        tune: The tune, with at least one sounding note.
        style: What is asked for, settled; its locks stay.
    """
    own = choose(tune, style)
    # A beginner keeps to the notes of the scale.
    plainer = style.player is Player.BEGINNER
    level, further = (_BEGINNERS_LEVEL, {}) if plainer else (_LEVEL, _SEVENTHS)
    menu = lay_out(tune, own.grid, level, style.locks, further)
    every_beat = style.harmonic_rhythm is HarmonicRhythm.BEAT
    costs = chord_costs(tune, own.grid, menu, _WEIGHTS, every_beat=every_beat)
    costs = costs._replace(step=costs.step + _steps(own, menu).astype(np.int32))
    plain = _plain(tune, own, menu)
    choice = own
    for price in PRICES:
        dear = np.where(abs(plain) == 1, plain * price, plain)
        priced = costs._replace(here=costs.here + dear, plain=dear)
        problem = (own.grid, menu, priced, own.first)
        choice = solved(tune, posed(tune, style, _WEIGHTS, problem))
        if SHARE * _changed(own, choice) >= (~menu.locked).sum():
            break
    return choice


def _columns(own: Choice, menu: Menu) -> Ints:
    """Return the column that each chord of the other verses has in a menu."""
    chords = [own.menu.offer(s, int(c)).chord for s, c in enumerate(own.columns)]
    rows = [menu.offers[at] for at in menu.stretch.tolist()]
    return np.array([
        [offer.chord for offer in row].index(chord)
        for row, chord in zip(rows, chords, strict=True)
    ])  # fmt: skip


def _plain(tune: Tune, own: Choice, menu: Menu) -> Ints:
    """Return, shape (slots, C), 1 for a plain chord that may stay, 0 for rich ones.

    Those that lead on are the most colourful and have -1. Every other chord costs
    `_NO`; where a lock rules, all are 0.
    """
    edges = [Fraction(edge, own.grid.ticks) for edge in own.grid.slot_start.tolist()]
    stay = _columns(own, menu)
    plain = np.full((own.grid.slots, menu.real.shape[1]), _NO)
    for slot, (start, end) in enumerate(pairwise(edges)):
        key = menu.keys[int(menu.stretch[slot])]
        under = tune_under(tune.sounding, start, end, key)
        kept = menu.offer(slot, int(stay[slot]))
        for column, offer in enumerate(menu.offers[int(menu.stretch[slot])]):
            # V7 stands for V alone: it would put off the arrival of another chord.
            stands = offer.role is not Role.DOMINANT or kept.role is Role.DOMINANT
            suits = stands and foreign_to(offer.chord, under) is None
            if suits and is_rich(offer, key):
                plain[slot, column] = -(offer.role is Role.APPLIED)
        plain[slot, stay[slot]] = 0 if is_rich(kept, key) else 1
    plain[menu.locked] = 0
    return plain


def is_rich(offer: Offer, key: Key) -> bool:
    """Return whether a chord is more than a primary triad.

    In modes, whose chords of the first level are primary, every other triad of the
    scale is rich but the diminished one.
    """
    if offer.chord.inversion:
        return False
    if key.mode not in (Mode.MAJOR, Mode.MINOR):
        return offer.role not in (Role.TONIC, Role.SUBDOMINANT, Role.DOMINANT)
    if offer.role in (Role.APPLIED, Role.DOMINANT):
        return offer.chord.is_seventh
    return offer.role in (Role.SUPERTONIC, Role.SUBMEDIANT) or _is_colour(offer, key)


def _is_colour(offer: Offer, key: Key) -> bool:
    """Return whether a chord is iii of a major key, or III or VII of a minor one."""
    degrees = ((3, 0), (7, 0)) if key.mode is Mode.MINOR else ((3, 0),)
    return offer.role is Role.OTHER and key.degree(offer.chord.root) in degrees


def _steps(own: Choice, menu: Menu) -> Ints:
    """Return, shape (slots, C, C), what steps cost that no textbook has.

    Steps of the other verses cost nothing.
    """
    width = menu.real.shape[1]
    tables = np.zeros((len(menu.keys), width, width), np.int64)
    for at, (key, row) in enumerate(zip(menu.keys, menu.offers, strict=True)):
        for before, after in _bad_steps(row, key):
            tables[at, before, after] = _NO
    steps: Ints = tables[menu.stretch]
    stay = _columns(own, menu)
    steps[np.arange(1, own.grid.slots), stay[:-1], stay[1:]] = 0
    return steps


def _bad_steps(row: tuple[Offer, ...], key: Key) -> Iterator[tuple[int, int]]:
    """Yield pairs of columns of which one does not lead to the other."""
    if key.mode not in (Mode.MAJOR, Mode.MINOR):
        return
    for before, here in enumerate(row):
        for after, there in enumerate(row):
            if before == after:
                # A chord that leads on does not stay.
                fine = here.role is not Role.APPLIED
            else:
                fine = leads_on(here, there, key)
            if not fine:
                yield before, after


_Families = dict[Mode, dict[str, tuple[str, ...]]]
_GOALS: _Families = {
    Mode.MAJOR: {"V": ("I", "vi"), "ii": ("V", "V/V"), "iii": ("vi", "IV", "ii")},
    Mode.MINOR: {
        "V": ("i", "VI"), "ii°": ("V",), "iiø": ("V",),
        "III": ("VI", "iv", "VII", "ii°", "i"), "VII": ("III", "i", "VI"),
    },
}  # fmt: skip
"""Where chords go on to; the others go anywhere."""
_ORIGINS: _Families = {
    Mode.MAJOR: {"iii": ("I", "vi")},
    Mode.MINOR: {"VII": ("i", "III", "VI", "iv")},
}
"""Where chords come from; the others come from anywhere."""


def leads_on(here: Offer, there: Offer, key: Key) -> bool:
    """Return whether one chord goes on to another as textbooks have it.

    >>> from harmonise.choice.palette import palette
    >>> from harmonise.theory.key import parse_key
    >>> row = palette(parse_key("C"), 4)
    >>> chords = {offer.numeral: offer for offer in row}
    >>> leads_on(chords["ii"], chords["V7"], parse_key("C"))
    True
    >>> leads_on(chords["V7"], chords["IV"], parse_key("C"))
    False
    """
    if here.family == there.family:
        return True
    if here.role is Role.APPLIED:
        return here.leads_to(there)
    goals = _GOALS[key.mode].get(here.family, (there.family,))
    origins = _ORIGINS[key.mode].get(there.family, (here.family,))
    # A 6/4 would hold the leading note and the seventh up.
    held_up = here.role is Role.DOMINANT and bool(there.chord.inversion)
    return there.family in goals and here.family in origins and not held_up


def _changed(own: Choice, choice: Choice) -> int:
    """Return how many slots have a chord that the other verses do not have there."""
    return sum(
        own.menu.offer(slot, int(own.columns[slot])).chord
        != choice.menu.offer(slot, int(choice.columns[slot])).chord
        for slot in range(own.grid.slots)
    )
