"""Drills as a booklet: what to play, the practice plan, and the music key by key.

Plan and music share a page where they fit, and so do several keys: staves are made a
little smaller for that, never below what piano music is printed in. No key is torn that
has room on a page, and no row stands alone on one.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate, groupby, pairwise
from typing import NamedTuple

from harmonise.lessons.drill_copies import DrillCopy, Version, joined, plan_copy
from harmonise.lessons.drill_makers import Exercise
from harmonise.lessons.drills import (
    CAUTION,
    find_drill,
    how_to_practise,
    plan_rows,
)
from harmonise.lessons.page_breaks import (
    Breaks,
    Room,
    Row,
    blocks_height,
    page_breaks,
    room_of,
    table_height,
    text_height,
)
from harmonise.lessons.shape_sheets import side_by_side
from harmonise.notation.paper.blocks import (
    GAP,
    Blanks,
    Block,
    Lettering,
    Look,
    Music,
    NewPage,
    Page,
    Table,
    Title,
    Whole,
    Words,
    music_look,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan
from harmonise.notation.score.printed_labels import (
    format_position,
    format_symbol,
    shape_legend,
)
from harmonise.theory.arrangement import Labels
from harmonise.theory.key import printed

_KINDS = {
    Version.EXERCISE: "",
    Version.BLANK: "The first chord is given. Write the others, then play.",
    Version.ANSWER: "Answer key: all notes, numerals, positions and fingers.",
}
_NAMES = ("Chord", "Shape", "Figures")
"""What is said of each shape in a drill of names."""
_SIZES = (1, 0.93, 0.86, 0.79)
"""Sizes of staves as parts of the usual 7 mm; 5.5 mm is the least that piano music is
printed in (common practice)."""
_LARGE_SIZES = (1, 0.95, 0.9, 0.86)
"""The same of 9.5 mm: large print stays larger than the usual one."""
_SMALLER = 400
"""Price of all smallness on every page, where a page costs a thousand."""
_GAP, _CLOSE = 2.4, 1.0
"""Millimetres between two rows, and between a label and its line, at least."""
_NEXT = 3
"""Millimetres more between two lines of one exercise."""
_AIR = 6
"""Millimetres that a row may have besides, where its page has them."""


class _PrintedRow(NamedTuple):
    """What is never torn.

    Attributes:
        blocks: From top to bottom.
        row: How it stands among the others.
        label: Millimetres of its words, which do not grow with the staves.
    """

    blocks: tuple[Block, ...]
    row: Row
    label: float = 0


def booklet_blocks(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy, start: int, page: Page
) -> tuple[Block, ...]:
    """Return a booklet of exercises.

    Args:
        exercises: In order.
        title: Its title.
        copy: Which copy of them.
        start: Crotchets a minute that the plan starts from.
        page: Its page.
    """
    head = list(_head(exercises, title, copy, start))
    # Words have more space below them than rows of music have above.
    first = _PrintedRow(tuple(head), Row(blocks_height(head, page) + GAP - _GAP))
    sizes = _LARGE_SIZES if page.large_print else _SIZES
    usual = made = [first, *_parts(exercises, copy, page)]
    broken = {size: _broken(usual, page, size) for size in sizes}
    for size in sorted(sizes, key=lambda size: _price(broken[size], size)):
        smaller = size < 1
        made = [first, *_parts(exercises, copy, page, size)] if smaller else usual
        # Lines may break elsewhere in another size: then the next best one is tried.
        if len(made) == len(usual):
            break
    return tuple(_set(made, _broken(made, page), page))


def _price(breaks: Breaks, size: float) -> float:
    return breaks.price + _SMALLER * (1 - size) * len(breaks.ends)


def _broken(parts: Sequence[_PrintedRow], page: Page, size: float = 1) -> Breaks:
    """Return where pages end if staves are so large."""
    rows = [
        part.row._replace(height=part.label + (part.row.height - part.label) * size)
        if part.row.lines
        else part.row
        for part in parts
    ]
    return page_breaks(rows, Room(room_of(page), _GAP))


def _set(parts: Sequence[_PrintedRow], breaks: Breaks, page: Page) -> Iterator[Block]:
    """Yield the blocks of a booklet page by page, rows with what air there is."""
    for start, end in pairwise((0, *breaks.ends)):
        if start:
            yield NewPage()
        inside = parts[start:end]
        free = room_of(page) - sum(part.row.height + _GAP for part in inside)
        air = min(_AIR, max(0, free / len(inside)))
        for part in inside:
            if part.row.lines:
                close = round(_CLOSE + air / 3, 2)
                blocks = tuple(_set_close(part.blocks, close))
                yield Whole(blocks, round(_GAP + air * 2 / 3, 2), close)
            else:
                yield from part.blocks


def _set_close(blocks: Sequence[Block], close: float) -> Iterator[Block]:
    """Yield an exercise whose first line is close to its label."""
    for before, block in pairwise((None, *blocks)):
        if isinstance(block, Music):
            first = isinstance(before, Words)
            yield block._replace(above=close if first else close + _NEXT)
        elif block:
            yield block


def _head(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy, start: int
) -> Iterator[Block]:
    """Yield what stands before the music."""
    played = [each.key for each in exercises if not each.hidden]
    kind = _KINDS[copy.version] if played else ""
    yield Title(title, "\n".join(filter(None, [_made_of(exercises), kind])))
    if copy.version is Version.BLANK:
        yield Blanks(("Name", "Class", "Date"), (4, 2, 2))
    names = list(dict.fromkeys(each.drill for each in exercises if each.drill))
    for name in names:
        drill = find_drill(name)
        several = f"{drill.name}: " if len(names) > 1 else ""
        yield Words(f"{several}{drill.plays}")
    if copy.version is Version.ANSWER:
        # Words explain themselves.
        legend = "" if copy.labels is Labels.WORDS else shape_legend(copy.labels)
        yield from [Words(legend, Lettering.SMALL)] if legend and played else []
    elif played:
        # Nobody practises from an answer key; what is only named has no tempo.
        yield Words("Practice plan", Lettering.HEADING)
        rows = plan_rows(played, start)
        yield Words(how_to_practise(start, len(rows) - 1))
        yield Table(rows, (2.2, *[1.0] * (len(rows[0]) - 3), 1.6, 2.0))
        yield Words(CAUTION, Lettering.SMALL)


def _made_of(exercises: Sequence[Exercise]) -> str:
    """Return in words how much there is to play."""
    keys = [printed(key) for key in dict.fromkeys(each.key for each in exercises)]
    shapes = [each for each in exercises if each.hidden]
    number, what = len(exercises), "exercise"
    if len(shapes) == number:
        number, what = sum(len(each.score.slots) for each in shapes), "shape"
    many = len(keys) > _LISTED
    count = f"1 {what}" if number == 1 else f"{number} {what}s"
    return f"{count} in {f'{len(keys)} keys' if many else ', '.join(keys)}"


_LISTED = 3
"""So many keys are named; more are counted."""


def _parts(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page, size: float = 1
) -> Iterator[_PrintedRow]:
    """Yield the exercises key by key, each with its label over it."""
    keys = [list(group) for _, group in groupby(exercises, lambda e: (e.drill, e.key))]
    several = len({exercise.drill for exercise in exercises}) > 1
    for group in keys:
        drill, key = group[0].drill, printed(group[0].key)
        name = f"{drill}: {key}" if several and drill else key
        rows = list(_rows(group, copy, page, size))
        for number, (exercise, blocks) in enumerate(zip(group, rows, strict=True)):
            heading = exercise.label if number else f"{name}: {exercise.label}"
            manner = Lettering.INSTRUCTION if number else Lettering.HEADING
            # "I–V–I, from root position" belongs to all that goes I–V–I.
            belongs = (name, *exercise.label.split(", ")[:-1])
            # What is written under a line stays with it, and lines may be parted.
            size_of = 2 if exercise.hidden else len(blocks)
            for at in range(0, len(blocks), size_of):
                label = None if at else Words(heading, manner)
                part = _part(label, blocks[at : at + size_of], page)
                yield part._replace(row=part.row._replace(groups=belongs))


def _part(label: Words | None, blocks: Sequence[Block], page: Page) -> _PrintedRow:
    """Return an exercise, or lines of one, with its label."""
    tables = [table_height(b, page) for b in blocks if isinstance(b, Table)]
    lines = [b.system.height for b in blocks if isinstance(b, Music)]
    words = sum(tables) + _CLOSE * len(blocks)
    words += text_height("", page, manner=label.manner) if label else 0
    words += _NEXT * (len(lines) - 1)
    row = Row(words + sum(lines), lines=len(lines))
    labelled = (label, *blocks) if label else tuple(blocks)
    return _PrintedRow(labelled, row, words)


def _rows(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page, size: float
) -> Iterator[list[Block]]:
    """Yield the engraved lines of each exercise of one key."""
    before = 0
    # At the end of a line the engraver would warn of another time in the next one.
    for _, run in groupby(exercises, lambda each: each.score.tune.bars[0].time):
        alike = list(run)
        yield from _run(alike, copy, music_look(page), (size, before))
        before += sum(len(each.score.tune.bars) for each in alike)


def _run(
    exercises: Sequence[Exercise], copy: DrillCopy, look: Look, place: tuple[float, int]
) -> Iterator[list[Block]]:
    """Yield the engraved lines of exercises in one key and one time.

    Args:
        exercises: The exercises.
        copy: Which copy of them.
        look: How music is engraved.
        place: Size of the staves, and the bars of the key before these exercises.
    """
    size, before = place
    named = exercises[0].hidden
    shown = copy._replace(version=Version.EXERCISE) if named else copy
    score = joined(exercises, "", shown)
    bars = tuple(
        bar._replace(section="", number=bar.number + before) for bar in score.tune.bars
    )
    score = score._replace(tune=score.tune._replace(tempos=(), bars=bars))
    plan = plan_copy(score, shown.version)
    if named:
        # Shapes of the right hand need no staff for the left.
        plan = copy_plan(plan, ScoreCopy(tune_only=True))
    systems = list(engrave_plan(plan, look._replace(staff=look.staff * size)))
    # The bars that exercises begin with, by their ids.
    ends = accumulate(len(exercise.score.tune.bars) for exercise in exercises)
    for exercise, end in zip(exercises, ends, strict=True):
        row: list[Block] = []
        while systems and int(systems[0].bars[0][1:]) < end:
            system = systems.pop(0)
            described = f"{printed(exercise.key)}, {exercise.label}"
            row.append(Music(system, described))
            if named:
                inside = [int(name[1:]) for name in system.bars]
                row.append(_to_name(exercise, inside, copy))
        yield row


def _to_name(exercise: Exercise, bars: Sequence[int], copy: DrillCopy) -> Table:
    """Return the table in which pupils name the shapes of some bars, or the answers."""
    columns = [(" \n ",) * len(_NAMES)] * len(bars)
    if copy.version is Version.ANSWER:
        columns = [_names(exercise, bar, copy.labels) for bar in bars]
    rows = [("Bar", *(str(bar + 1) for bar in bars))]
    rows += [(name, *row) for name, *row in zip(_NAMES, *columns, strict=True)]
    return Table(tuple(rows), (1.6, *[2.0] * len(bars)))


def _names(exercise: Exercise, bar: int, labels: Labels) -> tuple[str, ...]:
    """Return the chord, shape and figures of a bar, as high as empty cells."""
    slot = exercise.score.slots[bar]
    if slot.chord is None or slot.position is None:
        return ("",) * len(_NAMES)
    size = len(slot.chord.members)
    shape, figures = (
        format_position(slot.position, how, size) for how in (labels, Labels.FIGURES)
    )
    name = f"{format_symbol(slot.chord)} ({slot.numeral})"
    texts = (name, shape, side_by_side(figures))
    return tuple(f"{text}\n " for text in texts)
