"""One encouraging sentence about a work, worked out from facts and therefore true."""

from collections.abc import Iterator

from harmonise.marks.marked import Marking
from harmonise.marks.task import Part

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def praise(marking: Marking) -> str:
    """Return what went well, the greatest thing that did."""
    return next(_facts(marking))


def _facts(marking: Marking) -> Iterator[str]:
    """Yield what is true and good, the best first; there is always something."""
    codes = {own.kind.key for own in marking.lines if own.number}
    if not marking.lost and not codes:
        yield "Every chord is right: full marks."
    yield from _roots(marking, codes)
    yield from _chords(marking)
    yield from _tune(marking, codes)
    if _written(marking, Part.JOINING) > 2 and not codes & {"M04", "M05"}:
        yield "Every chord moves smoothly on from the one before it."
    if _written(marking, Part.LEFT) and not codes & {"M08"}:
        yield "The hands never cross."
    if _written(marking, Part.NOTES) and "M07" not in codes:
        yield "Every chord that you wrote lies well under the hand."
    if not marking.work.aligned.notes:
        yield "The sheet is still yours to fill: begin with the first chord."
    yield "You wrote something in every place named here, so there is work to build on."


def _written(marking: Marking, part: Part) -> int:
    """Return in how many chords a part was asked for and written."""
    return sum(
        part in dict(item.worth) and (number, part) not in marking.work.blanks
        for number, item in enumerate(marking.task.items)
    )


def _roots(marking: Marking, codes: set[str]) -> Iterator[str]:
    count = _written(marking, Part.LEFT)
    if count < 2 or codes & {"M06", "M02.left"}:
        return
    asked = sum(Part.LEFT in dict(item.worth) for item in marking.task.items)
    if count == asked:
        yield f"All {_number(count)} left-hand roots are right."
    else:
        yield f"All {_number(count)} left-hand roots that you wrote are right."


def _chords(marking: Marking) -> Iterator[str]:
    """Yield how many chords are wholly right, or the longest row of them."""
    lost = {own.item for own in marking.lines if own.number}
    lost |= {own.item for own in marking.blanks}
    worth = [n for n, item in enumerate(marking.task.items) if item.marks]
    fine = [number for number in worth if number not in lost]
    if len(fine) > 1 and 2 * len(fine) >= len(worth):
        count, every = _number(len(fine)), _number(len(worth))
        yield f"{count.capitalize()} of {every} chords are wholly right."
    elif fine:
        place = marking.task.items[fine[0]].place
        yield f"The chord at {place} is wholly right."


def _tune(marking: Marking, codes: set[str]) -> Iterator[str]:
    written = _written(marking, Part.NOTES)
    if written and marking.work.tune and not codes & {"M01", "M20"}:
        yield "The tune is on top from beginning to end."


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)
