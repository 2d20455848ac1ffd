"""The slip on paper: the pupil's own score with numbers in boxes over marked places.

The words of each number follow under the music. A box with a question mark stands where
something was left blank. Nothing is told by colour.
"""

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING

from harmonise.marking.marked import Marking, format_marks
from harmonise.marking.slip import (
    answers,
    cost,
    heading,
    numbered,
    practise,
    sum_lines,
    told,
    where,
)
from harmonise.marking.work import symbol_at
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Block,
    Lettering,
    Music,
    Page,
    Table,
    Title,
    Words,
    music_look,
)
from harmonise.notation.paper.engraving import engrave, finger_leaders
from harmonise.notation.paper.score_sheet import told_systems
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.score.copies import ScoreCopy, copy_plan, text_width
from harmonise.notation.score.score_plan import ScoreBox, plan_score

if TYPE_CHECKING:
    from fractions import Fraction

    from harmonise.marking.work import Work
    from harmonise.theory.arrangement import Arrangement

_ROOM = 0.6
"""Room in a box besides its number, in letters' sizes."""
_BLANK = "?"


def format_pdf(
    marking: Marking, page: Page = A4_PAGE, *, hints: bool = False, out_of: int = 0
) -> bytes:
    """Return a slip as a PDF.

    Args:
        marking: The marked work.
        page: The page that it is set on.
        hints: Whether questions stand in place of corrections.
        out_of: Marks that the whole is scaled to; 0 for none.

    Raises:
        LibraryError: If verovio or typst is not installed.
    """
    blocks = tuple(slip_blocks(marking, page, hints=hints, out_of=out_of))
    return typeset(blocks, page._replace(title=heading(marking)))


def slip_blocks(
    marking: Marking, page: Page, *, hints: bool = False, out_of: int = 0
) -> Iterator[Block]:
    """Yield the blocks of a slip."""
    got, worth = format_marks(marking.got), format_marks(marking.worth)
    yield Title(marking.name or "Marked work", marking.task.title)
    yield Words(f"{got} of {worth}", Lettering.HEADING)
    yield Words(marking.praise, Lettering.BOLD)
    yield from _music(marking, page)
    rows = list(_rows(marking, hints=hints))
    if rows:
        yield Table((("", "Place and fault", "Marks"), *rows), (0.7, 12, 1.5))
    for line in sum_lines(marking, out_of):
        yield Words(line)
    practice = practise(marking)
    if practice:
        yield Words("To practise", Lettering.HEADING)
        yield Words("\n".join(practice))
    if marking.notes:
        yield Words("\n".join(marking.notes), Lettering.SMALL)
    if hints and marking.lines:
        yield Words("Answers, for when you have tried", Lettering.HEADING)
        yield Words("\n".join(answers(marking)), Lettering.SMALL)


def _music(marking: Marking, page: Page) -> Iterator[Block]:
    """Yield the lines of the pupil's score; words where no score can be made of it."""
    own = _as_named(marking.work)
    if marking.task.notes_given:
        own = marking.task.model
    if not own.notes:
        return
    copy = ScoreCopy(frames=tuple(_frames(marking)), symbols=not marking.task.free)
    try:
        plan = copy_plan(plan_score(own), copy)
        musicxml = format_plan(plan)
    except (ArithmeticError, ValueError):
        # A pupil may write lengths that no note has.
        yield Words("The rhythm of this work cannot be printed; see the places below.")
        return
    systems = engrave(musicxml, music_look(page), leaders=finger_leaders(plan))
    for system, words in told_systems(own, systems):
        yield Music(system, f"{words}, marked")


def _as_named(work: "Work") -> "Arrangement":
    """Return the pupil's score under the pupil's own chord symbols, if any."""
    symbols = work.aligned.symbols
    if not symbols:
        return work.own
    slots = []
    for slot in work.own.slots:
        written = symbol_at(symbols, slot.onset)
        slots.append(slot._replace(chord=written.chord if written else None))
    return work.own._replace(slots=tuple(slots))


def _frames(marking: Marking) -> Iterator[ScoreBox]:
    """Yield a box for each marked place, with every number that stands there."""
    numbers: dict[Fraction, list[str]] = defaultdict(list)
    for line in marking.lines:
        if line.number:
            numbers[line.onset].append(str(line.number))
    for blank in marking.blanks:
        texts = numbers[marking.task.items[blank.item].onset]
        texts += [] if _BLANK in texts else [_BLANK]
    for onset in sorted(numbers):
        text = " ".join(numbers[onset])
        yield ScoreBox(onset, text, text_width(text) + _ROOM, above=True)


def _rows(marking: Marking, *, hints: bool) -> Iterator[tuple[str, str, str]]:
    for own in marking.lines:
        number = numbered(own).rstrip(". ")
        yield number, told(own, marking, hints=hints), cost(own)
    for blank in marking.blanks:
        text = f"{where(blank.place)}: {blank.what} left blank"
        yield _BLANK, text, f"− {format_marks(blank.points)}"
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = f"{place}: given back, no chord loses more than it is worth"
        yield "", text, f"+ {format_marks(back)}"
