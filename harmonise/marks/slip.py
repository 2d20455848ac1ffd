"""The slip that a pupil gets: every deduction with its place, and the sum."""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.errors import Place
from harmonise.marks.hints import fault_hints
from harmonise.marks.kinds import BY_KEY
from harmonise.marks.marked import Line, Marking, format_marks

_HALF = Fraction(1, 2)


def format_slip(marking: Marking, *, hints: bool = False, out_of: int = 0) -> str:
    """Return a slip as text.

    Args:
        marking: The marked work.
        hints: Whether questions stand in place of corrections; the answers follow at
            the end.
        out_of: Marks that the whole is scaled to; 0 for none.
    """
    lines = [heading(marking), "", *_faults(marking, hints=hints), ""]
    lines += [*sum_lines(marking, out_of), "", f"What went well: {marking.praise}"]
    practice = practise(marking)
    if practice:
        lines += ["", "To practise:", *(f"  {own}" for own in practice)]
    if marking.notes:
        lines += ["", *marking.notes]
    if hints and marking.lines:
        lines += ["", "Answers, for when you have tried:"]
        lines += [f"  {own}" for own in answers(marking)]
    return "\n".join(lines) + "\n"


def heading(marking: Marking) -> str:
    """Return whose work it is, and of what."""
    return ": ".join(filter(None, [marking.name, marking.task.title]))


def where(place: Place) -> str:
    """Return a place as the beginning of a sentence."""
    told = str(place)
    return told[:1].upper() + told[1:]


def _faults(marking: Marking, *, hints: bool) -> Iterator[str]:
    if not marking.lines and not marking.blanks:
        yield "Nothing to correct."
    for own in marking.lines:
        yield _with_cost(f"{numbered(own)}{told(own, marking, hints=hints)}", cost(own))
    for blank in marking.blanks:
        text = f"Blank. {where(blank.place)}: {blank.what}."
        yield _with_cost(text, f"− {format_marks(blank.points)}")
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = f"Given back. {place}: no chord loses more than it is worth."
        yield _with_cost(text, f"+ {format_marks(back)}")


def _with_cost(text: str, marks: str) -> str:
    return f"{text}  [{marks}]"


def numbered(line: Line) -> str:
    """Return the number of a line as the score has it; a dash for a comment."""
    return f"{line.number}. " if line.number else "– "


def cost(line: Line) -> str:
    """Return what a line costs: "− 1/2", "0"."""
    return f"− {format_marks(line.points)}" if line.points else "0"


def told(line: Line, marking: Marking, *, hints: bool = False) -> str:
    """Return place, fault, what is there and what is right, or two questions."""
    name = line.kind.name
    head = f"{where(line.place)}: {name} ({line.kind.code})."
    if hints:
        first, second, _ = fault_hints(line, marking)
        text = f"{head} {first} {second}"
    else:
        what = line.what[:1].upper() + line.what[1:]
        text = f"{head} {what} {line.remedy}"
    return f"{text} ({line.note[:1].upper()}{line.note[1:]}.)" if line.note else text


def answers(marking: Marking) -> list[str]:
    """Return what is right at each place, by the numbers of the score."""
    return [
        f"{numbered(own)}{where(own.place)}: {fault_hints(own, marking)[2]}"
        for own in marking.lines
    ]


def sum_lines(marking: Marking, out_of: int = 0) -> list[str]:
    """Return the sum, so that a pupil can recount it."""
    terms = [format_marks(marking.worth)]
    rows = [*(own.points for own in marking.lines), *(b.points for b in marking.blanks)]
    terms += [f"− {format_marks(points)}" for points in rows if points]
    terms += [f"+ {format_marks(back)}" for _, back in marking.back]
    count = sum(item.marks > 0 for item in marking.task.items)
    chords = "1 chord" if count == 1 else f"{count} chords"
    got, worth = format_marks(marking.got), format_marks(marking.worth)
    lines = [f"Sum: {chords}, {' '.join(terms)} = {got} of {worth}"]
    if out_of and marking.worth:
        scaled = format_marks(scaled_to(marking, out_of))
        lines.append(f"Of {out_of}: {got} × {out_of} ÷ {worth} = {scaled}")
    return lines


def scaled_to(marking: Marking, out_of: int) -> Fraction:
    """Return what was earned of another total, to the nearest half."""
    if not marking.worth:
        return Fraction(0)
    exact = marking.got * out_of / marking.worth
    return Fraction(int(exact / _HALF + _HALF)) * _HALF


def practise(marking: Marking) -> list[str]:
    """Return a drill for each kind of fault, the costliest first."""
    lost: dict[str, Fraction] = {}
    for own in marking.lines:
        if own.number:
            lost[own.kind.key] = lost.get(own.kind.key, Fraction(0)) + own.points
    order = sorted(lost, key=lambda key: -lost[key])
    return [suggestion(key) for key in order]


def suggestion(key: str) -> str:
    """Return what to practise for a kind of fault: "M06: D1, left hand alone"."""
    kind = BY_KEY[key]
    drill = f"drill {kind.drill}, {kind.how}" if kind.drill else kind.how
    return f"{kind.name} ({kind.code}): {drill}"
