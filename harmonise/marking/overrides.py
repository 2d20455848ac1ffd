"""What a teacher decides otherwise: a file of decisions that holds over the marker's.

    # whose | bar and beat | fault | what it costs | why
    Ann     | 3.1          | M06   | 0             | agreed in the lesson
    Ben     | 5            | blank | 1             | began on paper

A decision changes what one deduction costs, and the slip says so. One that fits no
deduction is told, so that none is lost by a slip of the pen.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.marking.marked import Marking, SlipLine, format_marks, given_back
from harmonise.marking.script import typed_beat
from harmonise.marking.task import Blank

_EXAMPLE = "Write lines such as: Ann | 3.1 | M06 | 0 | agreed in the lesson"
_FIELDS = 5
LEFT_BLANK = "blank"
"""What stands for a fault where nothing was written."""
_MOST = 100


class Override(NamedTuple):
    """One decision of a teacher.

    Attributes:
        pupil: Whose work; "" for everybody's.
        place: Bar and beat.
        fault: Code or key of the fault, in capitals, or "blank".
        points: What it costs.
        why: The reason, in the teacher's words.
    """

    pupil: str
    place: Place
    fault: str
    points: Fraction
    why: str


def parse_overrides(text: str) -> tuple[Override, ...]:
    """Return the decisions of a text, one a line.

    Raises:
        NotationError: If a line cannot be read.
    """
    lines = enumerate(text.splitlines(), 1)
    return tuple(
        _override(line.strip(), number)
        for number, line in lines
        if line.strip() and not line.lstrip().startswith("#")
    )


def _override(line: str, number: int) -> Override:
    fields = [field.strip() for field in line.split("|")]
    fields += [""] * (_FIELDS - len(fields))
    pupil, where, fault, points, why = fields[:_FIELDS]
    try:
        bar, _, beat = where.partition(".")
        place = Place(int(bar), typed_beat(beat or "1"))
        costs = _fraction(points)
    except (ValueError, NotationError) as error:
        raise _refused(line, number) from error
    if not fault or not 0 <= costs <= _MOST or len(fields) > _FIELDS:
        raise _refused(line, number)
    named = fault.lower() if fault.lower() == LEFT_BLANK else fault.upper()
    return Override(pupil, place, named, costs, why)


def _fraction(text: str) -> Fraction:
    """Return marks as teachers write them: 1, 0.5 or 1 1/2."""
    return sum(map(Fraction, text.split()), Fraction(0)) if text else Fraction(-1)


def _refused(line: str, number: int) -> NotationError:
    what = f'Line {number} of the decisions, "{line}", cannot be read.'
    return NotationError(what, None, _EXAMPLE)


def overridden(marking: Marking, overrides: Sequence[Override]) -> Marking:
    """Return a marked work with what the teacher has decided otherwise.

    What fits no deduction is told among its notes.
    """
    meant = [
        each
        for each in overrides
        if each.pupil.casefold() in ("", marking.name.casefold())
    ]
    if not meant:
        return marking
    lines = tuple(_line(line, meant) for line in marking.lines)
    blanks = tuple(_blanks(marking.blanks, meant))
    back = given_back(lines, blanks, marking.task.items)
    notes = [
        f"{_where(each)} has no {each.fault}, so the teacher's decision "
        "changes nothing there."
        for each in meant
        if each.pupil and not _fits_any(each, marking)
    ]
    blanked = [
        f"{_where(each)}: what was left blank costs {format_marks(each.points)} by the "
        f"teacher's decision{_because(each)}."
        for each in meant
        if each.fault == LEFT_BLANK and _fits_any(each, marking)
    ]
    return marking._replace(
        lines=lines, blanks=blanks, back=back, notes=(*marking.notes, *blanked, *notes)
    )


def _where(each: Override) -> str:
    text = str(each.place)
    return text[:1].upper() + text[1:]


def _because(each: Override) -> str:
    return f": {each.why}" if each.why else ""


def _fits_any(each: Override, marking: Marking) -> bool:
    lines = any(_fits(each, line) for line in marking.lines)
    return lines or any(_fits_blank(each, blank) for blank in marking.blanks)


def _fits(each: Override, line: SlipLine) -> bool:
    kind = line.kind
    return each.place == line.place and each.fault in (kind.code, kind.key.upper())


def _fits_blank(each: Override, blank: Blank) -> bool:
    return each.place == blank.place and each.fault == LEFT_BLANK


def _line(line: SlipLine, meant: Sequence[Override]) -> SlipLine:
    each = next((each for each in meant if _fits(each, line)), None)
    if each is None or each.points == line.points:
        return line
    before = format_marks(line.points)
    note = f"the teacher's decision, {before} before{_because(each)}"
    return line._replace(points=each.points, note=note)


def _blanks(blanks: Sequence[Blank], meant: Sequence[Override]) -> Iterator[Blank]:
    """Yield what was left blank; all that is blank at one place costs as decided."""
    done: set[Place] = set()
    for blank in blanks:
        each = next((each for each in meant if _fits_blank(each, blank)), None)
        if each is None:
            yield blank
            continue
        points = Fraction(0) if blank.place in done else each.points
        done.add(blank.place)
        yield blank._replace(points=points)
