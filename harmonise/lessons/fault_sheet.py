"""The sheet of planted faults, and the proof that each of them is exactly one fault.

Every planted fault stands in a bar of its own, changes nothing outside that bar, and
makes the rules find what its row of the table of rules says and nothing besides. The
same seed plants the same faults.
"""

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from random import Random

from harmonise.choice.palette import palette
from harmonise.errors import MelodyError, Place
from harmonise.lessons.model import comments_on, solve_first
from harmonise.lessons.sheet_parts import (
    Answer,
    Box,
    Planted,
    SheetItem,
    SheetPiece,
)
from harmonise.lessons.worksheet import (
    Depth,
    SheetKind,
    SheetOrder,
    Worksheet,
    makes,
)
from harmonise.rules.planting import Bed, Proposal
from harmonise.rules.table import COMMENTS, PLANTED, FaultKind, check
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key

MARKS = 3
"""What a fault is worth: its place 1, its name 1, the right notes 1."""

EXAMPLES = 1
"""Faults that are planted as an example."""
_ROUNDS = 4
"""How often the kinds are gone through at most."""


def plant(
    model: Arrangement, count: int, seed: int, codes: tuple[str, ...] = ()
) -> tuple[Arrangement, tuple[Planted, ...]]:
    """Return an arrangement with planted faults, and the faults in score order.

    Sheet after sheet goes on in the table's order with the kinds that the tune has room
    for, so that every kind comes up in a term and pupils learn no sheet by heart. Where
    each stands is drawn by the seed, on the beats that have fewest.

    Args:
        model: The right arrangement.
        count: How many faults.
        seed: Any number.
        codes: Codes of the kinds wanted, one a fault; () goes through the table.

    Raises:
        MelodyError: If not so many can be planted one to a bar.
    """
    random = Random(seed)  # noqa: S311 (draws places on a worksheet)
    music, planted = model, list[Planted]()
    for kind in _kinds(codes) or _in_turn(model, count, seed):
        if len(planted) == count:
            break
        taken = {fault.place.bar for fault in planted}
        beats = Counter(fault.place.beat for fault in planted)
        for proposal in _drawn(kind, music, random, beats):
            place = model.tune.place(proposal.onset)
            if place.bar not in taken and is_exactly(kind, music, proposal):
                music = proposal.arrangement
                planted.append(_planted(kind, place, proposal))
                break
    if len(planted) < count:
        raise _too_few(len(planted))
    return music, tuple(sorted(planted, key=lambda fault: fault.onset))


def _too_few(count: int) -> MelodyError:
    left = count - EXAMPLES
    if left < 1:
        return MelodyError(
            "There is no room for faults in this tune.", None, "Ask for more bars."
        )
    return MelodyError(
        f"Only {count} faults can be planted in this tune, one to a bar, and one of "
        "them is the example.",
        None,
        f"Ask for {_count(left)}, or for more bars.",
    )


def _kinds(codes: tuple[str, ...]) -> list[FaultKind]:
    """Return the kinds that were asked for."""
    by_code = {kind.code: kind for kind in PLANTED}
    return _rare_first([by_code[code] for code in codes])


def _rare_first(kinds: list[FaultKind]) -> list[FaultKind]:
    # What has few places must be planted before others take its bars.
    return sorted(
        kinds, key=lambda kind: kind.plant.rare if kind.plant else 0, reverse=True
    )


def _in_turn(model: Arrangement, count: int, seed: int) -> list[FaultKind]:
    """Return the kinds of a sheet: those after the ones of the sheet before."""
    fitting = _fitting(model)
    if not fitting:
        return []
    first = (seed - 1) * count % len(fitting)
    turned = [*fitting[first:], *fitting[:first]]
    return [*_rare_first(turned[:count]), *turned[count:], *turned * _ROUNDS]


@lru_cache(maxsize=8)
def _fitting(model: Arrangement) -> tuple[FaultKind, ...]:
    """Return the kinds of fault that can be planted somewhere in a model."""
    return tuple(
        kind
        for kind in PLANTED
        if any(is_exactly(kind, model, offer) for offer in proposals(kind, model))
    )


def proposals(kind: FaultKind, arrangement: Arrangement) -> Iterator[Proposal]:
    """Yield the ways to plant a kind of fault in an arrangement."""
    level = arrangement.style.level

    def offers(key: Key) -> Iterator[Chord]:
        return (offer.chord for offer in palette(key, level))

    if kind.plant:
        yield from kind.plant.make(Bed(arrangement, offers))


def _drawn(
    kind: FaultKind,
    music: Arrangement,
    random: Random,
    beats: Counter[Fraction | None],
) -> list[Proposal]:
    """Return the proposals of a kind in an order that the seed draws.

    Those on beats with fewest faults come first. Bars are drawn, and the order inside a
    bar stays: makers offer the likeliest first.
    """
    offers = [(music.tune.place(each.onset), each) for each in proposals(kind, music)]
    bars = sorted({place.bar for place, _ in offers})
    random.shuffle(bars)
    rank = {bar: number for number, bar in enumerate(bars)}
    offers.sort(key=lambda offer: (beats[offer[0].beat], rank[offer[0].bar]))
    return [offer for _, offer in offers]


def is_exactly(kind: FaultKind, before: Arrangement, proposal: Proposal) -> bool:
    """Whether a proposal adds the faults of its kind at its place, and no other.

    Parallels and notes that lie low or far apart do not count: in keyboard style they
    are remarked on and cost nothing.
    """
    if proposal.arrangement.notes == before.notes:
        return False
    place = before.tune.place(proposal.onset)
    old, new = _known_faults(before), faults_by_bar(proposal.arrangement)
    added = {key: where for key, where in new.items() if key not in old}
    wanted = {(code, place.bar): place for code in kind.found}
    return added == wanted and old.keys() <= new.keys()


@lru_cache(maxsize=8)
def _known_faults(arrangement: Arrangement) -> dict[tuple[str, int], Place]:
    """Return the faults of what many proposals are made of; not to be changed."""
    return faults_by_bar(arrangement)


def faults_by_bar(arrangement: Arrangement) -> dict[tuple[str, int], Place]:
    """Return the first place of every rule that is broken in a bar, by code and bar.

    A wrong note that is held under two slots is one fault.
    """
    places: dict[tuple[str, int], Place] = {}
    for fault in check(arrangement):
        if fault.rule not in COMMENTS:
            places.setdefault((fault.rule, fault.place.bar), fault.place)
    return places


def _planted(kind: FaultKind, place: Place, proposal: Proposal) -> Planted:
    return Planted(
        kind.code,
        kind.name,
        place,
        proposal.onset,
        proposal.what,
        proposal.remedy,
        kind.price.deduct,
    )


@makes(SheetKind.FAULTS)
def fault_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet of a finished piece with planted faults (W5).

    One fault more than asked for is planted; the first in the piece is the example.

    Args:
        model: The right arrangement.
        order: What was asked for; its seed draws the places.
    """
    count = order.faults + EXAMPLES
    stretch = order.depth is Depth.STRETCH
    music, planted = plant(model, count, order.seed, order.codes)
    boxes = tuple(
        Box(
            fault.onset,
            str(number + stretch or "ex."),
            above=True,
            given=number == 0,
            key_only=True,
        )
        for number, fault in enumerate(planted)
    )
    return Worksheet(
        order,
        model.tune,
        f"This piece has {_told(order.faults, stretch=stretch)}, no two in one bar: "
        "give bar and beat of each, say what is wrong, and write what is right.",
        solve_first(tuple(_items(planted))),
        (SheetPiece(music, boxes=boxes),),
        planted=planted,
        comments=comments_on(model),
    )


def _told(faults: int, *, stretch: bool) -> str:
    """Return how many faults there are; at the depth of stretch none is told."""
    if stretch:
        return _count(faults + EXAMPLES)
    return f"{_count(faults)} besides the example"


def _count(faults: int) -> str:
    return "one fault" if faults == 1 else f"{faults} faults"


def _items(planted: tuple[Planted, ...]) -> Iterator[SheetItem]:
    for fault in planted:
        answer = Answer(f"{fault.name} ({fault.code})", fault.what)
        yield SheetItem(fault.place, fault.onset, 0, (answer,), MARKS, fault.remedy)
