"""The slip that a pupil gets, as text and on paper: every deduction and the sum.

On paper numbers in boxes stand over the marked places of the pupil's own score, and a
question mark where something was left blank; nothing is told by colour. Instead of
corrections there may be hints, which are questions before answers: the first two name
no chord and no note, only places and degrees of the scale, and ask what a teacher asks
at the piano.
"""

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from harmonise.errors import Place
from harmonise.marking.in_force import symbol_at
from harmonise.marking.labels import slot_at
from harmonise.marking.marked import Marking, SlipLine, format_marks, scaled_to
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
from harmonise.notation.score.printed_labels import format_signs
from harmonise.notation.score.score_plan import ScoreBox, plan_score
from harmonise.rules.table import BY_KEY
from harmonise.theory.arrangement import Slot
from harmonise.theory.tune import Tune

if TYPE_CHECKING:
    from harmonise.marking.work import Work
    from harmonise.theory.arrangement import Arrangement

Hints = tuple[str, str, str]


def hints(tune: Tune, slot: Slot) -> Hints:
    """Return three hints on the chord of a slot; the last one is the answer.

    Which chords have this note? Which was the last chord? Then chord and reason.

    Args:
        tune: The tune.
        slot: A slot of its arrangement, with chord, reason and alternatives.
    """
    note = next(
        (n for n in tune.sounding if n.onset <= slot.onset < n.end and n.pitch), None
    )
    if note is None or note.pitch is None:
        first = "The tune rests here: which chord is still in the ear?"
    else:
        degree, alter = slot.key.degree(note.pitch.name)
        sign = {0: "", 1: "raised ", -1: "lowered "}.get(alter, "altered ")
        first = (
            f"The tune has the {sign}degree {degree} here: which chords of those that "
            "you know have this note?"
        )
    bar = tune.bar_at(slot.onset)
    strong = bar.time.weight(slot.onset - bar.start + bar.offset) > 1
    where = (
        "This is a strong beat, where a new chord sounds natural."
        if strong
        else "This is a weak beat, where the last one may stay."
    )
    second = f"Which was the last chord, and has it this note too? {where}"
    return first, second, _answer(slot)


def _answer(slot: Slot) -> str:
    if slot.chord is None:
        return "The tune goes alone here."
    others = [f"{other.chord} ({other.numeral})" for other in slot.alternatives]
    also = f" Right too: {', '.join(others)}." if others else ""
    reason = f": {slot.reason}" if slot.reason else "."
    return f"{slot.chord} ({slot.numeral}){reason}{also}"


def fault_hints(line: SlipLine, marking: Marking) -> Hints:
    """Return three hints on a fault in a pupil's work; the last one is the remedy."""
    model = marking.task.model
    slot = slot_at(model.slots, line.onset)
    first, second, answer = hints(model.tune, slot)
    if line.kind.ask:
        first, second = line.kind.ask
    return first, second, answer if line.kind.of_choice else line.remedy


def format_slip(marking: Marking, *, hints: bool = False, out_of: int = 0) -> str:
    """Return a slip as text: faults, the sum to recount, what went well, practice.

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
        lines += ["", "To practise:", *(f"  {text}" for text in practice)]
    if marking.notes:
        lines += ["", *marking.notes]
    if hints and marking.lines:
        lines += ["", "Answers, for when you have tried:"]
        lines += [f"  {text}" for text in answers(marking)]
    return "\n".join(lines) + "\n"


def heading(marking: Marking) -> str:
    """Return whose work it is, and of what."""
    return ": ".join(filter(None, [marking.name, marking.task.title]))


def where(place: Place) -> str:
    """Return a place as the beginning of a sentence."""
    text = str(place)
    return text[:1].upper() + text[1:]


def _faults(marking: Marking, *, hints: bool) -> Iterator[str]:
    if not marking.lines and not marking.blanks:
        yield "Nothing to correct."
    for line in marking.lines:
        yield _with_cost(
            f"{numbered(line)}{format_line(line, marking, hints=hints)}", cost(line)
        )
    for blank in marking.blanks:
        text = f"Blank. {where(blank.place)}: {blank.what}."
        yield _with_cost(text, f"− {format_marks(blank.points)}")
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = f"Given back. {place}: no chord loses more than it is worth."
        yield _with_cost(text, f"+ {format_marks(back)}")


def _with_cost(text: str, marks: str) -> str:
    return f"{text}  [{marks}]"


def numbered(line: SlipLine) -> str:
    """Return the number of a line as the score has it; a dash for a comment."""
    return f"{line.number}. " if line.number else "– "


def cost(line: SlipLine) -> str:
    """Return what a line costs: "− 1/2", "0"."""
    return f"− {format_marks(line.points)}" if line.points else "0"


def format_line(line: SlipLine, marking: Marking, *, hints: bool = False) -> str:
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
        f"{numbered(line)}{where(line.place)}: {fault_hints(line, marking)[2]}"
        for line in marking.lines
    ]


def sum_lines(marking: Marking, out_of: int = 0) -> list[str]:
    """Return the sum, so that a pupil can recount it."""
    terms = [format_marks(marking.worth)]
    rows = [
        *(line.points for line in marking.lines),
        *(b.points for b in marking.blanks),
    ]
    terms += [f"− {format_marks(points)}" for points in rows if points]
    terms += [f"+ {format_marks(back)}" for _, back in marking.back]
    count = sum(item.marks > 0 for item in marking.task.items)
    chords = "1 chord" if count == 1 else f"{count} chords"
    got, worth = format_marks(marking.got), format_marks(marking.worth)
    lines = [f"Sum: {chords}, {' '.join(terms)} = {got} of {worth}"]
    if out_of and marking.worth:
        scaled = format_marks(scaled_to(marking.got, marking.worth, out_of))
        lines.append(f"Of {out_of}: {got} × {out_of} ÷ {worth} = {scaled}")
    return lines


def practise(marking: Marking) -> list[str]:
    """Return a drill for each kind of fault, the costliest first."""
    lost: dict[str, Fraction] = {}
    for line in marking.lines:
        if line.number:
            lost[line.kind.key] = lost.get(line.kind.key, Fraction(0)) + line.points
    order = sorted(lost, key=lambda key: -lost[key])
    return [suggestion(key) for key in order]


def suggestion(key: str) -> str:
    """Return what to practise for a kind of fault: "M06: D1, left hand alone"."""
    kind = BY_KEY[key]
    drill = f"drill {kind.drill}, {kind.how}" if kind.drill else kind.how
    return f"{kind.name} ({kind.code}): {drill}"


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
    """Yield a slip from the mark down to the answers, with the marked score between."""
    got, worth = format_marks(marking.got), format_marks(marking.worth)
    yield Title(marking.name or "Marked work", marking.task.title)
    yield Words(f"{got} of {worth}", Lettering.HEADING)
    yield Words(marking.praise, Lettering.BOLD)
    yield from _music(marking, page)
    rows = [tuple(map(format_signs, row)) for row in _rows(marking, hints=hints)]
    if rows:
        yield Table((("", "Place and fault", "Marks"), *rows), (0.7, 12, 1.5))
    for line in sum_lines(marking, out_of):
        yield Words(line)
    practice = practise(marking)
    if practice:
        yield Words("To practise", Lettering.HEADING)
        yield Words("\n".join(practice))
    if marking.notes:
        yield Words(format_signs("\n".join(marking.notes)), Lettering.SMALL)
    if hints and marking.lines:
        yield Words("Answers, for when you have tried", Lettering.HEADING)
        yield Words(format_signs("\n".join(answers(marking))), Lettering.SMALL)


def _music(marking: Marking, page: Page) -> Iterator[Block]:
    """Yield the lines of the pupil's score; words where no score can be made of it."""
    score = _as_named(marking.work)
    if marking.task.notes_given:
        score = marking.task.model
    if not score.notes:
        return
    copy = ScoreCopy(frames=tuple(_frames(marking)), symbols=not marking.task.free)
    try:
        plan = copy_plan(plan_score(score), copy)
        musicxml = format_plan(plan)
    except (ArithmeticError, ValueError):
        # A pupil may write lengths that no note has.
        yield Words("The rhythm of this work cannot be printed; see the places below.")
        return
    systems = engrave(musicxml, music_look(page), leaders=finger_leaders(plan))
    for system, words in told_systems(score, systems):
        yield Music(system, f"{words}, marked")


def _as_named(work: "Work") -> "Arrangement":
    """Return the pupil's score under the pupil's own chord symbols, if any."""
    symbols = work.aligned.symbols
    if not symbols:
        return work.written
    slots = []
    for slot in work.written.slots:
        written = symbol_at(symbols, slot.onset)
        slots.append(slot._replace(chord=written.chord if written else None))
    return work.written._replace(slots=tuple(slots))


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
    for line in marking.lines:
        number = numbered(line).rstrip(". ")
        yield number, format_line(line, marking, hints=hints), cost(line)
    for blank in marking.blanks:
        text = f"{where(blank.place)}: {blank.what} left blank"
        yield _BLANK, text, f"− {format_marks(blank.points)}"
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = f"{place}: given back, no chord loses more than it is worth"
        yield "", text, f"+ {format_marks(back)}"
