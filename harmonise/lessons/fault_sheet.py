"""The faults that can be planted, each with what its rules find and what it costs.

Codes and deductions are those of the trade's table of faults.

The sheet of planted faults, and the proof that each of them is exactly one fault.

Every planted fault stands in a bar of its own, changes nothing outside that bar, and
makes the rules find what its row of `FAULT_KINDS` says and nothing besides. The same
seed plants the same faults.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from random import Random
from typing import NamedTuple

from harmonise.errors import MelodyError, Place
from harmonise.lessons.model import comments_on, solve_first
from harmonise.lessons.planting import (
    Proposal,
    chords_that_do_not_fit,
    crossed_hands,
    missing_thirds,
    natural_sevenths,
    open_ends,
    steps_back,
    tune_in_the_middle,
    wide_spans,
    wrong_notes,
    wrong_roots,
    wrong_spellings,
)
from harmonise.lessons.worksheet import (
    Answer,
    Box,
    Planted,
    SheetItem,
    SheetKind,
    SheetOrder,
    SheetPiece,
    Worksheet,
    makes,
)
from harmonise.rules.table import check
from harmonise.theory.arrangement import Arrangement

Maker = Callable[[Arrangement], Iterator[Proposal]]


class PlantedKind(NamedTuple):
    """A kind of fault that can be planted.

    Attributes:
        code: The trade's code.
        name: The fault in a few words, as a key prints it.
        found: Codes of the rules that find it and nothing else.
        deduct: What it costs in a pupil's work.
        make: Its maker.
    """

    code: str
    name: str
    found: tuple[str, ...]
    deduct: Fraction
    make: Maker


_HALF = Fraction(1, 2)
FAULT_KINDS: tuple[PlantedKind, ...] = (
    PlantedKind("M02", "wrong note in the chord", ("M02",), Fraction(1), wrong_notes),
    PlantedKind(
        "M06", "wrong root in the left hand", ("M06",), Fraction(1), wrong_roots
    ),
    PlantedKind("M03", "third missing", ("M03",), Fraction(1), missing_thirds),
    PlantedKind("M01", "tune not on top", ("M01",), Fraction(2), tune_in_the_middle),
    PlantedKind(
        "M12", "seventh not raised", ("M02", "M03"), Fraction(1), natural_sevenths
    ),
    PlantedKind("M16", "V goes back to IV", ("H12",), Fraction(1), steps_back),
    PlantedKind(
        "M13", "chord does not fit the tune", ("H05",), Fraction(2),
        chords_that_do_not_fit,
    ),
    PlantedKind("M08", "hands crossed", ("M08",), _HALF, crossed_hands),
    PlantedKind("M11", "wrong spelling", ("M11",), _HALF, wrong_spellings),
    PlantedKind("M07", "stretch over an octave", ("M07",), _HALF, wide_spans),
    PlantedKind("M15", "no proper close", ("H02",), Fraction(2), open_ends),
)  # fmt: skip
"""The faults that are planted; sheets with few faults take kinds from the front."""


MARKS = 3
"""What a fault is worth: its place 1, its name 1, the right notes 1."""

COMMENTS = ("M17", "L01", "L02")
"""Rules that are no faults in keyboard style, only remarks."""
EXAMPLES = 1
"""Faults that are planted as an example."""
_RARE = "M11 M13 M15 M16 M12"
"""Kinds with few places in a tune, the fewest last."""
_ROUNDS = 4
"""How often the table of kinds is gone through at most."""


def plant(
    model: Arrangement, count: int, seed: int, codes: tuple[str, ...] = ()
) -> tuple[Arrangement, tuple[Planted, ...]]:
    """Return an arrangement with planted faults, and the faults in score order.

    Kinds are taken in the table's order, each once, then again from the front; where
    each stands is drawn by the seed.

    Args:
        model: The right arrangement.
        count: How many faults.
        seed: Any number.
        codes: Codes of the kinds wanted, one a fault; () takes the table's order.

    Raises:
        MelodyError: If not so many can be planted one to a bar.
    """
    random = Random(seed)  # noqa: S311 (draws places on a worksheet)
    done, planted = model, list[Planted]()
    for kind in _kinds(codes):
        if len(planted) == count:
            break
        taken = {fault.place.bar for fault in planted}
        for proposal in _drawn(kind, done, random):
            place = model.tune.place(proposal.onset)
            if place.bar not in taken and is_exactly(kind, done, proposal):
                done = proposal.arrangement
                planted.append(_planted(kind, place, proposal))
                break
    if len(planted) < count:
        raise _too_few(len(planted))
    return done, tuple(sorted(planted, key=lambda fault: fault.onset))


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


def _kinds(codes: tuple[str, ...]) -> list[PlantedKind]:
    by_code = {kind.code: kind for kind in FAULT_KINDS}
    rarest_first = sorted(codes, key=_RARE.find, reverse=True)
    return [by_code[code] for code in rarest_first] or [*FAULT_KINDS] * _ROUNDS


def _drawn(kind: PlantedKind, done: Arrangement, random: Random) -> list[Proposal]:
    """Return the proposals of a kind in an order that the seed draws.

    Bars are drawn, and the order inside a bar stays: makers offer the likeliest first.
    """
    found = list(kind.make(done))
    bars = sorted({done.tune.place(proposal.onset).bar for proposal in found})
    random.shuffle(bars)
    rank = {bar: number for number, bar in enumerate(bars)}
    return sorted(found, key=lambda own: rank[done.tune.place(own.onset).bar])


def is_exactly(kind: PlantedKind, before: Arrangement, proposal: Proposal) -> bool:
    """Whether a proposal adds the faults of its kind at its place, and no other.

    Parallels and notes that lie low or far apart do not count: in keyboard style they
    are remarked on and cost nothing.
    """
    if proposal.arrangement.notes == before.notes:
        return False
    place = before.tune.place(proposal.onset)
    old, new = faults_by_bar(before), faults_by_bar(proposal.arrangement)
    added = {key: where for key, where in new.items() if key not in old}
    wanted = {(code, place.bar): place for code in kind.found}
    return added == wanted and old.keys() <= new.keys()


def faults_by_bar(arrangement: Arrangement) -> dict[tuple[str, int], Place]:
    """Return the first place of every rule that is broken in a bar, by code and bar.

    A wrong note that is held under two slots is one fault.
    """
    found: dict[tuple[str, int], Place] = {}
    for fault in check(arrangement):
        if fault.rule not in COMMENTS:
            found.setdefault((fault.rule, fault.place.bar), fault.place)
    return found


def _planted(kind: PlantedKind, place: Place, proposal: Proposal) -> Planted:
    return Planted(
        kind.code,
        kind.name,
        place,
        proposal.onset,
        proposal.what,
        proposal.remedy,
        kind.deduct,
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
    done, planted = plant(model, count, order.seed, order.codes)
    boxes = tuple(
        Box(
            fault.onset,
            str(number or "ex."),
            above=True,
            given=number == 0,
            key_only=True,
        )
        for number, fault in enumerate(planted)
    )
    return Worksheet(
        order,
        model.tune,
        f"This piece has {_count(order.faults)} besides the example, no two in one "
        "bar: give bar and beat of each, say what is wrong, and write what is right.",
        solve_first(tuple(_items(planted))),
        (SheetPiece(done, boxes=boxes),),
        planted=planted,
        comments=comments_on(model),
    )


def _count(faults: int) -> str:
    return "one fault" if faults == 1 else f"{faults} faults"


def _items(planted: tuple[Planted, ...]) -> Iterator[SheetItem]:
    for fault in planted:
        answer = Answer(f"{fault.name} ({fault.code})", fault.what)
        yield SheetItem(fault.place, fault.onset, 0, (answer,), MARKS, fault.remedy)
