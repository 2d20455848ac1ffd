"""A booklet of drills to print: what to play, the practice plan, then key by key.

Every key has a heading, its exercises one a line, and a place for tempo and date. On
paper a label stands above the line as text, not in the music, clear of the fingers.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby

from harmonise.drill import find_drill
from harmonise.drills.copies import Copy, Version
from harmonise.drills.output import Output, format_copy, joined
from harmonise.drills.plan import CAUTION, how_to_practise, plan_rows
from harmonise.drills.score import Exercise
from harmonise.notation.engraving import engrave
from harmonise.notation.sheets.blocks import (
    A4_PAGE,
    MARGIN,
    Blanks,
    Block,
    Manner,
    Music,
    NewPage,
    Page,
    Table,
    Title,
    Words,
    music_look,
    page_size,
)
from harmonise.notation.sheets.typesetting import typeset
from harmonise.notation.writing.shape_labels import shape_legend
from harmonise.theory.key_orders import printed

_KINDS = {
    Version.EXERCISE: "All notes.",
    Version.BLANK: "The first chord is given. Write the others, then play.",
    Version.ANSWER: "Answer key: all notes, numerals, positions and fingers.",
}
_FOOT, _GAP, _TEXT_LINE = 8.0, 5.0, 9.0
"""Millimetres: page number, space after a line of music, a line of text with space."""
_CLEAN = Blanks(("clean at ♩ =", "date"), (1, 2))


def format_booklet(exercises: Sequence[Exercise], title: str, output: Output) -> bytes:
    """Return exercises as a booklet in PDF.

    Args:
        exercises: In order.
        title: Title of the booklet.
        output: Which copy, the tempo that the plan starts from, and the page.

    Raises:
        OutputError: If verovio or typst is not installed.
    """
    page = output.page or A4_PAGE
    blocks = (
        *_first_page(exercises, title, output.copy, output.tempo),
        NewPage(),
        *_exercises(exercises, output.copy, page),
    )
    return typeset(blocks, page)


def _first_page(
    exercises: Sequence[Exercise], title: str, copy: Copy, start: int
) -> Iterator[Block]:
    yield Title(title, _KINDS[copy.version])
    if copy.version is Version.BLANK:
        yield Blanks(("Name", "Class", "Date"), (4, 2, 2))
    for name in dict.fromkeys(own.drill for own in exercises if own.drill):
        drill = find_drill(name)
        yield Words(f"{drill.name}: {drill.title}", Manner.BOLD)
        yield Words(drill.plays)
    yield Words("Practice plan", Manner.HEADING)
    yield Words(how_to_practise(start))
    rows = plan_rows([own.key for own in exercises], start)
    yield Table(rows, (2.2, *[1.0] * (len(rows[0]) - 3), 1.6, 2.0))
    yield Words(CAUTION, Manner.SMALL)
    legend = shape_legend(copy.labels) if copy.version is Version.ANSWER else ""
    if legend:
        yield Words(legend, Manner.SMALL)


def _exercises(
    exercises: Sequence[Exercise], copy: Copy, page: Page
) -> Iterator[Block]:
    """Yield the exercises key by key; a key that fits on a page is not torn."""
    several = len({own.drill for own in exercises}) > 1
    whole = page_size(page)[1] - 2 * MARGIN - _FOOT
    left = whole
    for (drill, key), group in groupby(exercises, lambda own: (own.drill, own.key)):
        name = f"{drill}: {printed(key)}" if several and drill else printed(key)
        blocks = [Words(name, Manner.HEADING), *_lines(list(group), copy, page), _CLEAN]
        height = sum(map(_height, blocks))
        if left < height <= whole:
            yield NewPage()
            left = whole
        left = (left - height) % whole
        yield from blocks


def _height(block: Block) -> float:
    """Return about how high a block is in millimetres, with the space below."""
    return block.system.height + _GAP if isinstance(block, Music) else _TEXT_LINE


def _lines(exercises: Sequence[Exercise], copy: Copy, page: Page) -> Iterator[Block]:
    """Yield the engraved lines of exercises in one key, each under its label."""
    score = joined(exercises, "", copy)
    bars = tuple(bar._replace(section="") for bar in score.tune.bars)
    score = score._replace(tune=score.tune._replace(tempos=(), bars=bars))
    labels = _labels_by_bar(exercises)
    told = printed(exercises[0].key)
    for system in engrave(format_copy(score, copy.version), music_look(page)):
        for name in system.bars:
            if name in labels:
                told = f"{printed(exercises[0].key)}, {labels[name]}"
        if system.bars and system.bars[0] in labels:
            yield Words(labels[system.bars[0]], Manner.INSTRUCTION)
        yield Music(system, told)


def _labels_by_bar(exercises: Sequence[Exercise]) -> dict[str, str]:
    """Return the labels of exercises by the ids of the bars that they begin with."""
    found = {}
    number = 0
    for own in exercises:
        found[f"m{number}"] = own.label
        number += len(own.score.tune.bars)
    return found
