"""Reasons that lie in the steps from chord to chord: cadences, sevenths, common tones.

Each is a fact that holds for the chosen chord of a slot and not for another one, in
words, or "" where it does not. All of them are common practice. The next chord is the
next one that differs: a chord that goes on leads where its last slot does.
"""

from harmonise.arranging.scene import (
    BAR_LINE,
    Pair,
    has,
    is_dominant,
    is_tonic,
    named_step,
    seventh_of,
)
from harmonise.choice.palette import Offer, palette
from harmonise.choice.richer import is_rich
from harmonise.errors import listed
from harmonise.theory.chord import Inversion
from harmonise.theory.numerals import Role, goes_back
from harmonise.theory.pitch import PitchName


def six_four(pair: Pair) -> str:
    """Tell of the bass that a cadential 6/4 shares with its dominant."""
    mine, onward = pair.mine, pair.onward
    if not mine.is_triad(Role.TONIC, Inversion.SECOND) or not is_dominant(onward):
        return ""
    bass = mine.chord.bass
    if onward is None or bass != onward.chord.bass or bass == pair.other.chord.bass:
        return ""
    return f"its bass, {bass}, stays under {onward.chord.symbol}: a cadential 6/4"


def resolves(pair: Pair) -> str:
    """Tell of a dominant that goes home, into the chord or out of it."""
    before, onward, mine, other = pair.before, pair.onward, pair.mine, pair.other
    if is_dominant(before) and is_tonic(mine) and not is_tonic(other):
        return f"{named_step(before, mine)} resolves"
    if is_dominant(mine) and is_tonic(onward) and not is_dominant(other):
        return f"{named_step(mine, onward)} resolves"
    if onward and mine.leads_to(onward) and not other.leads_to(onward):
        return f"{named_step(mine, onward)} resolves"
    return ""


def passes(pair: Pair) -> str:
    """Tell of vii° in first inversion, which passes between two tonic chords or to one.

    Common practice: its leading note rises, and its bass goes by step.
    """
    before, mine, onward = pair.before, pair.mine, pair.onward
    leads = mine.family == "vii°" and mine.chord.inversion and is_tonic(onward)
    if not leads or onward is None:
        return ""
    if before is not None and is_tonic(before):
        return f"it passes from {before.chord.symbol} to {onward.chord.symbol}"
    return f"{named_step(mine, onward)} resolves"


def seventh_lands(pair: Pair) -> str:
    """Tell of the seventh of the chord before, which falls to a note of the chord."""
    before = pair.before
    if before is None or before == pair.mine:
        return ""
    seventh, goal = seventh_of(before), _falls_to(before, pair.mine)
    if goal is None or _falls_to(before, pair.other):
        return ""
    return f"the seventh of {before.chord.symbol}, {seventh}, falls to {goal}"


def seventh_falls(pair: Pair) -> str:
    """Tell of the chord's own seventh, which falls to a note of the next one."""
    if pair.onward is None or seventh_of(pair.other):
        return ""
    goal = _falls_to(pair.mine, pair.onward)
    if goal is None:
        return ""
    seventh, onward = seventh_of(pair.mine), pair.onward.chord.symbol
    return f"its seventh, {seventh}, falls to {goal} in {onward}"


def _falls_to(before: Offer, after: Offer) -> PitchName | None:
    """Return the note of a chord a step below the seventh of the chord before it."""
    seventh = seventh_of(before)
    if seventh is None:
        return None
    goals = (seventh.up(6, 11), seventh.up(6, 10))
    return next((name for name in after.chord.members if name in goals), None)


def seventh_hangs(pair: Pair) -> str:
    """Tell of the other chord's seventh, which does not fall to the next chord."""
    onward, other = pair.onward, pair.other
    seventh = seventh_of(other)
    if seventh is None or seventh_of(pair.mine) or onward is None:
        return ""
    if onward == other or _falls_to(other, onward):
        return ""
    what = f"{seventh}, the seventh of {other.chord.symbol}"
    return f"{what}, does not fall to {onward.chord.symbol}"


def seventh_follows(pair: Pair) -> str:
    """Tell of the same chord whose seventh comes in next."""
    mine, other = pair.mine, pair.other
    seventh = seventh_of(other)
    if pair.onward != other or mine.chord.root != other.chord.root:
        return ""
    if seventh is None or seventh_of(mine):
        return ""
    return f"the seventh, {seventh}, comes in next, with {other.chord.symbol}"


def prepares(pair: Pair) -> str:
    """Tell of IV or ii before the dominant."""
    roles = (Role.SUBDOMINANT, Role.SUPERTONIC)
    if pair.mine.role not in roles or pair.other.role in roles:
        return ""
    if not is_dominant(pair.onward):
        return ""
    return f"{named_step(pair.mine, pair.onward)} leads to the dominant"


def would_go_back(pair: Pair) -> str:
    """Tell of a step from V back to IV or ii that the other chord would make."""
    before, after, mine, other = pair.before, pair.after, pair.mine, pair.other
    theirs = other.chord.symbol
    back = before is not None and goes_back(before.role, other.role)
    if before and back and not goes_back(before.role, mine.role):
        step = f"{before.family}–{other.family}"
        return f"{theirs} would come straight after {before.chord.symbol} ({step})"
    back = after is not None and goes_back(other.role, after.role)
    if after and back and not goes_back(mine.role, after.role):
        step = f"{other.family}–{after.family}"
        return f"{theirs} would lead straight into {after.chord.symbol} ({step})"
    return ""


def goes_on(pair: Pair) -> str:
    """Tell of a chord that goes on inside the bar, where the other one would change.

    Common practice: the fewer the changes off the bar line, the calmer the bar.
    """
    weight, (ours, theirs) = pair.scene.choice.grid.slot_weight, pair.symbols
    edges = ((pair.slot, pair.before), (pair.slot + 1, pair.after))
    near = [chord for at, chord in edges if chord and weight[at] < BAR_LINE]
    mine = sum(pair.mine != chord for chord in near)
    if mine >= sum(pair.other != chord for chord in near):
        return ""
    if weight[pair.slot] < BAR_LINE and pair.mine == pair.before:
        begin, here = (pair.scene.beat(at) for at in (pair.begin, pair.slot))
        return (
            f"{ours} goes on from beat {begin}, {theirs} would come in on beat {here}"
        )
    beat = pair.scene.beat(pair.slot + 1)
    return f"{ours} goes on over beat {beat}, where {theirs} would have to change"


def falls_a_fifth(pair: Pair) -> str:
    """Tell of a root that falls a fifth, the firmest of all steps."""
    before, onward, mine, other = pair.before, pair.onward, pair.mine, pair.other
    if before and _is_fifth(before, mine) and not _is_fifth(before, other):
        return f"its root falls a fifth from {before.chord.symbol}"
    if onward and _is_fifth(mine, onward) and not _is_fifth(other, onward):
        return f"its root falls a fifth to {onward.chord.symbol}"
    return ""


def _is_fifth(before: Offer, after: Offer) -> bool:
    return before.chord.root.up(3, 5) == after.chord.root


def bass_steps(pair: Pair) -> str:
    """Tell of a bass that goes by step."""
    bass = pair.mine.chord.bass
    for near, of in ((pair.before, "from"), (pair.onward, "to")):
        if near and _is_step(near, pair.mine) and not _is_step(near, pair.other):
            return f"its bass, {bass}, goes by step {of} {near.chord.bass}"
    return ""


def turned_bass(pair: Pair) -> str:
    """Tell of the bass of an inversion that goes by step, whatever the other has."""
    bass = pair.mine.chord.bass
    if not pair.mine.chord.inversion:
        return ""
    for near, of in ((pair.before, "from"), (pair.onward, "to")):
        if near and _is_step(near, pair.mine):
            return f"its bass, {bass}, goes by step {of} {near.chord.bass}"
    return ""


def _is_step(near: Offer, offer: Offer) -> bool:
    one, two = near.chord.bass, offer.chord.bass
    letters = (one.letter - two.letter) % 7
    return letters in (1, 6) and (one.pitch_class - two.pitch_class) % 12 in _STEPS


_STEPS = (1, 2, 10, 11)


def on_its_root(pair: Pair) -> str:
    """Tell of root position against an inversion."""
    mine, other = pair.mine.chord, pair.other.chord
    if mine.inversion or not other.inversion:
        return ""
    return f"{mine.symbol} stands on its root, {other.symbol} does not"


def keeps_more(pair: Pair) -> str:
    """Tell of the common tones with the chord before."""
    common = _common(pair, pair.before)
    if common is None or pair.before is None:
        return ""
    (mine, other), (ours, theirs) = common, pair.symbols
    if pair.mine == pair.before:
        names = [str(name) for name in pair.mine.chord.members]
        moved = listed([name for name in names if name not in other])
        return f"no note need move; {theirs} would move {moved}"
    few = f"only {listed(other)}" if other else "none"
    return (
        f"{ours} keeps {listed(mine)} from {pair.before.chord.symbol}, {theirs} {few}"
    )


def shares_more(pair: Pair) -> str:
    """Tell of the common tones with the next chord."""
    common = _common(pair, pair.onward)
    if common is None or pair.onward is None:
        return ""
    (mine, other), (ours, theirs) = common, pair.symbols
    few = f"only {listed(other)}" if other else "none"
    return f"{ours} has {listed(mine)} of {pair.onward.chord.symbol}, {theirs} {few}"


def _common(pair: Pair, near: Offer | None) -> tuple[list[str], list[str]] | None:
    """Return both chords' notes of a third; None unless the chosen one has more."""
    if near is None:
        return None
    mine, other = (
        [str(note) for note in near.chord.members if has(offer, note)]
        for offer in (pair.mine, pair.other)
    )
    return (mine, other) if len(mine) > len(other) else None


def is_richer(pair: Pair) -> str:
    """Tell of a chord that is more than a primary triad where such ones are wanted."""
    choice, slot = pair.scene.choice, pair.slot
    plain = choice.costs.plain[slot]
    here, there = (
        choice.menu.offers[int(choice.menu.stretch[slot])].index(offer)
        for offer in (pair.mine, pair.other)
    )
    dearer = plain[here] <= 0 < plain[there]
    if not dearer or is_rich(pair.other, pair.key):
        return ""
    ours, theirs = pair.symbols
    return f"{ours} is richer than {theirs}"


def is_primary(pair: Pair) -> str:
    """Tell of a primary chord against another one."""
    families = {offer.family for offer in palette(pair.key, 1)}
    mine, other = pair.mine, pair.other
    if mine.family not in families or other.family in families:
        return ""
    named = [f"{offer.chord.symbol} ({offer.numeral})" for offer in (mine, other)]
    return f"{named[0]} is a primary chord, {named[1]} is not"


def of_the_key(pair: Pair) -> str:
    """Tell of a note of the other chord that is foreign to the key."""
    scale = pair.key.scale
    alien = [name for name in pair.other.chord.members if name not in scale]
    if not alien or not set(pair.mine.chord.members) <= set(scale):
        return ""
    return f"{pair.other.chord.symbol} has {alien[0]}, which is not in {pair.key}"


def stands_still(pair: Pair) -> str:
    """Tell of the other chord as one that brings no change, here or next."""
    weight, theirs = pair.scene.choice.grid.slot_weight, pair.other.chord.symbol
    if pair.other == pair.before:
        where = "at the bar line" if weight[pair.slot] == BAR_LINE else "here"
        return f"with {theirs} the chord would not change {where}"
    if pair.other == pair.onward:
        return f"{theirs} is kept for the next change"
    return ""
