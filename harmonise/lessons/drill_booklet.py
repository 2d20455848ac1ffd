"""Drills as a booklet: what to play, the practice plan, and the music key by key.

Plan and music share a page where they fit, and so do two keys: staves are made a little
smaller for that, never below what piano music is printed in. A key that needs more than
a page is parted evenly, so that no row stands alone on a page.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate, groupby
from typing import NamedTuple

from harmonise.lessons.drill_copies import DrillCopy, Version, joined, plan_copy
from harmonise.lessons.drill_makers import Exercise
from harmonise.lessons.drills import (
    CAUTION,
    find_drill,
    how_to_practise,
    plan_rows,
)
from harmonise.notation.paper.blocks import (
    MARGIN,
    Blanks,
    Block,
    Lettering,
    Music,
    Page,
    Table,
    Title,
    Whole,
    Words,
    music_look,
    page_size,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.printed_labels import shape_legend
from harmonise.theory.key import printed

_KINDS = {
    Version.EXERCISE: "",
    Version.BLANK: "The first chord is given. Write the others, then play.",
    Version.ANSWER: "Answer key: all notes, numerals, positions and fingers.",
}
_CLEAN = Blanks(("clean at ♩ =", "date"), (1, 2))
_NAMES = ("Chord", "Shape", "Figures")
"""What is said of each shape in a drill of names."""
_STAVES = (7.0, 6.5, 6.0, 5.5)
"""Heights of a staff in millimetres; 5.5 is the least that piano music is printed in
(common practice)."""
_FOOT, _GAP, _LINE = 20, 4, 4.5
"""Millimetres at the foot of a page, between two blocks, and of a line of words."""


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
    first = _first_page(exercises, title, copy, start)
    return (*first, *_exercises(exercises, copy, page))


def _first_page(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy, start: int
) -> Iterator[Block]:
    yield Title(
        title, "\n".join(filter(None, [_made_of(exercises), _KINDS[copy.version]]))
    )
    if copy.version is Version.BLANK:
        yield Blanks(("Name", "Class", "Date"), (4, 2, 2))
    names = list(dict.fromkeys(each.drill for each in exercises if each.drill))
    for name in names:
        drill = find_drill(name)
        if len(names) > 1:
            yield Words(f"{drill.name}: {drill.title}", Lettering.BOLD)
        yield Words(drill.plays)
    # Shapes that are only named have no tempo to plan.
    played = [each.key for each in exercises if not each.hidden]
    if played:
        yield Words("Practice plan", Lettering.HEADING)
        yield Words(how_to_practise(start))
        rows = plan_rows(played, start)
        yield Table(rows, (2.2, *[1.0] * (len(rows[0]) - 3), 1.6, 2.0))
        yield Words(CAUTION, Lettering.SMALL)
    legend = shape_legend(copy.labels) if copy.version is Version.ANSWER else ""
    if legend:
        yield Words(legend, Lettering.SMALL)


def _made_of(exercises: Sequence[Exercise]) -> str:
    """Return in words how much there is to play."""
    keys = [printed(key) for key in dict.fromkeys(each.key for each in exercises)]
    number, many = len(exercises), len(keys) > _LISTED
    count = "1 exercise" if number == 1 else f"{number} exercises"
    return f"{count} in {f'{len(keys)} keys' if many else ', '.join(keys)}"


_LISTED = 3
"""So many keys are named; more are counted."""


class _PrintedExercise(NamedTuple):
    """One exercise on paper: its label and its lines."""

    blocks: tuple[Block, ...]

    @property
    def height(self) -> float:
        """Millimetres, with the gap below."""
        high = {Music: 0.0, Table: 4 * _LINE + 16.0}
        return sum(
            (b.system.height if isinstance(b, Music) else high.get(type(b), _LINE))
            + _GAP
            for b in self.blocks
        )


def _exercises(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page
) -> Iterator[Block]:
    """Yield the exercises key by key; a key that fits on a page is not torn."""
    groups = [
        list(group) for _, group in groupby(exercises, lambda e: (e.drill, e.key))
    ]
    several = len({exercise.drill for exercise in exercises}) > 1
    room = page_size(page)[1] - MARGIN - _FOOT
    for group, rows in _set(groups, copy, page, room):
        drill, key = group[0].drill, group[0].key
        name = f"{drill}: {printed(key)}" if several and drill else printed(key)
        # The plan has a line for each of several keys, to write down how it went.
        clean = len(groups) == 1 and not group[0].hidden
        yield from _key(name, rows, room, clean=clean)


def _set(
    groups: Sequence[list[Exercise]], copy: DrillCopy, page: Page, room: float
) -> Iterator[tuple[list[Exercise], list[_PrintedExercise]]]:
    """Yield each key with its rows, small enough for two keys a page or for one."""
    wanted = room / 2 if len(groups) > 1 else room
    sizes = (_STAVES[0],) if page.large_print else _STAVES
    usual = made = [_rows(group, copy, page, sizes[0]) for group in groups]
    for staff in sizes[1:]:
        if max(map(_height, made)) <= wanted:
            break
        made = [_rows(group, copy, page, staff) for group in groups]
    # What is no use for two keys a page may still save a second page.
    high, least = max(map(_height, usual)), max(map(_height, made))
    useful = least <= wanted or least <= room < high
    yield from zip(groups, made if useful else usual, strict=True)


def _height(rows: Sequence[_PrintedExercise]) -> float:
    """Return the height of a key; its heading stands before its first label."""
    return sum(row.height for row in rows)


def _key(
    name: str, rows: Sequence[_PrintedExercise], room: float, *, clean: bool
) -> Iterator[Block]:
    """Yield a key whole, or in parts that are nearly equal."""
    parts = -(-_height(rows) // room)
    each = -(-len(rows) // int(parts))
    for at in range(0, len(rows), each):
        chunk = [block for row in rows[at : at + each] for block in row.blocks]
        last = at + each >= len(rows)
        if not at and isinstance(chunk[0], Words):
            label = f"{name}: {chunk[0].text}"
            chunk[0] = Words(label, Lettering.HEADING)
        yield Whole((*chunk, *([_CLEAN] if last and clean else [])))


def _rows(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page, staff: float
) -> list[_PrintedExercise]:
    """Return the exercises of one key, each with its label and engraved lines."""
    score = joined(exercises, "", copy)
    bars = tuple(bar._replace(section="") for bar in score.tune.bars)
    score = score._replace(tune=score.tune._replace(tempos=(), bars=bars))
    # The bars that exercises begin with, by their ids.
    lengths = (len(exercise.score.tune.bars) for exercise in exercises)
    firsts = accumulate(lengths, initial=0)
    names = (exercise.label for exercise in exercises)
    labels = {f"m{first}": name for first, name in zip(firsts, names, strict=False)}
    described = printed(exercises[0].key)
    to_name = exercises[0].hidden and copy.version is not Version.ANSWER
    rows: list[list[Block]] = []
    look = music_look(page, staff=staff)
    for system in engrave_plan(plan_copy(score, copy.version), look):
        for name in system.bars:
            if name in labels:
                described = f"{printed(exercises[0].key)}, {labels[name]}"
        row: list[Block] = [Music(system, described)]
        if to_name:
            row.append(_to_name([int(name[1:]) + 1 for name in system.bars]))
        if system.bars and system.bars[0] in labels:
            # Above the line and not in the music, where it would meet the fingers.
            label = Words(labels[system.bars[0]], Lettering.INSTRUCTION)
            rows.append([label, *row])
        else:
            rows[-1] += row
    return [_PrintedExercise(tuple(row)) for row in rows]


def _to_name(bars: Sequence[int]) -> Table:
    """Return the table in which pupils name the shapes of some bars."""
    blank = [" \n "] * len(bars)
    rows = [("Bar", *map(str, bars)), *((name, *blank) for name in _NAMES)]
    return Table(tuple(rows), (1.3, *[2.0] * len(bars)))
