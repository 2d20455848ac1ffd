"""Drills as files: MusicXML of any copy, MIDI, or a booklet in PDF.

One file holds all exercises, one after the other with double bars between, words above
each and a new line for each: a class prints it in one go and a player plays it through
without turning to another file. Bars are numbered through.

A booklet tells what to play and the practice plan, then goes key by key. Every key has
a heading, its exercises one a line, and a place for tempo and date. On paper a label
stands above the line as text, not in the music, clear of the fingers.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate, groupby
from pathlib import Path

from harmonise.errors import OutputError
from harmonise.lessons.drill_copies import (
    DrillCopy,
    DrillOutput,
    Version,
    joined,
    plan_copy,
)
from harmonise.lessons.drill_score import Exercise
from harmonise.lessons.drills import CAUTION, find_drill, how_to_practise, plan_rows
from harmonise.notation.files import (
    MIDI,
    MUSICXML,
    check_target,
    format_mxl,
    write_whole,
)
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    MARGIN,
    Blanks,
    Block,
    Lettering,
    Music,
    NewPage,
    Page,
    Table,
    Title,
    Words,
    music_look,
    page_size,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.score.printed_labels import shape_legend
from harmonise.theory.key import printed

ENDINGS = (*MUSICXML, *MIDI, ".pdf")
"""What the names of files may end in."""


def format_drill(
    exercises: Sequence[Exercise], title: str, ending: str, output: DrillOutput
) -> bytes:
    """Return exercises as what a file's ending names.

    Args:
        exercises: At least one.
        title: Title of the whole.
        ending: One of `ENDINGS`: a booklet, MusicXML, or MIDI, which has all notes
            whatever the copy.
        output: How.

    Raises:
        OutputError: If a library is missing.
    """
    if ending == ".pdf":
        return format_booklet(exercises, title, output)
    if ending in MIDI:
        return format_midi(joined(exercises, title), output.playing)
    copy = output.copy
    musicxml = format_plan(plan_copy(joined(exercises, title, copy), copy.version))
    return format_mxl(musicxml) if ending == ".mxl" else musicxml


def write_drill(
    exercises: Sequence[Exercise],
    title: str,
    path: Path,
    output: DrillOutput,
    *,
    force: bool = False,
) -> None:
    """Write exercises to one file.

    Raises:
        OutputError: If the ending is another, the file exists (without force), it
            cannot be written, or a library is missing.
    """
    check_place(path, force=force)
    content = format_drill(exercises, title, path.suffix.lower(), output)
    write_whole(path, content, force=force)


def check_place(path: Path, *, force: bool = False) -> None:
    """Refuse a file that cannot be written, before any work is done.

    Raises:
        OutputError: As `write_drill` says.
    """
    if path.suffix.lower() not in ENDINGS:
        raise OutputError(
            f'"{path.name}" does not end in {", ".join(ENDINGS[:-1])} or .pdf.',
            None,
            f"Call it {path.stem}.musicxml, {path.stem}.mid or {path.stem}.pdf.",
        )
    check_target(path, force=force)


_KINDS = {
    Version.EXERCISE: "All notes.",
    Version.BLANK: "The first chord is given. Write the others, then play.",
    Version.ANSWER: "Answer key: all notes, numerals, positions and fingers.",
}
_FOOT, _GAP, _TEXT_LINE = 8.0, 5.0, 9.0
"""Millimetres: page number, space after a line of music, a line of text with space."""
_CLEAN = Blanks(("clean at ♩ =", "date"), (1, 2))


def format_booklet(
    exercises: Sequence[Exercise], title: str, output: DrillOutput
) -> bytes:
    """Return exercises as a booklet in PDF.

    Args:
        exercises: In order.
        title: Title of the booklet.
        output: Which copy, the tempo that the plan starts from, and the page.

    Raises:
        LibraryError: If verovio or typst is not installed.
    """
    page = output.page or A4_PAGE
    blocks = (
        *_first_page(exercises, title, output.copy, output.tempo),
        NewPage(),
        *_exercises(exercises, output.copy, page),
    )
    return typeset(blocks, page)


def _first_page(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy, start: int
) -> Iterator[Block]:
    yield Title(title, _KINDS[copy.version])
    if copy.version is Version.BLANK:
        yield Blanks(("Name", "Class", "Date"), (4, 2, 2))
    for name in dict.fromkeys(each.drill for each in exercises if each.drill):
        drill = find_drill(name)
        yield Words(f"{drill.name}: {drill.title}", Lettering.BOLD)
        yield Words(drill.plays)
    yield Words("Practice plan", Lettering.HEADING)
    yield Words(how_to_practise(start))
    rows = plan_rows([exercise.key for exercise in exercises], start)
    yield Table(rows, (2.2, *[1.0] * (len(rows[0]) - 3), 1.6, 2.0))
    yield Words(CAUTION, Lettering.SMALL)
    legend = shape_legend(copy.labels) if copy.version is Version.ANSWER else ""
    if legend:
        yield Words(legend, Lettering.SMALL)


def _exercises(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page
) -> Iterator[Block]:
    """Yield the exercises key by key; a key that fits on a page is not torn."""
    several = len({exercise.drill for exercise in exercises}) > 1
    whole = page_size(page)[1] - 2 * MARGIN - _FOOT
    left = whole
    for (drill, key), group in groupby(exercises, lambda one: (one.drill, one.key)):
        name = f"{drill}: {printed(key)}" if several and drill else printed(key)
        blocks = [
            Words(name, Lettering.HEADING),
            *_lines(list(group), copy, page),
            _CLEAN,
        ]
        height = sum(map(_height, blocks))
        if left < height <= whole:
            yield NewPage()
            left = whole
        left = (left - height) % whole
        yield from blocks


def _height(block: Block) -> float:
    """Return about how high a block is in millimetres, with the space below."""
    return block.system.height + _GAP if isinstance(block, Music) else _TEXT_LINE


def _lines(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page
) -> Iterator[Block]:
    """Yield the engraved lines of exercises in one key, each under its label."""
    score = joined(exercises, "", copy)
    bars = tuple(bar._replace(section="") for bar in score.tune.bars)
    score = score._replace(tune=score.tune._replace(tempos=(), bars=bars))
    # The bars that exercises begin with, by their ids.
    lengths = (len(exercise.score.tune.bars) for exercise in exercises)
    firsts = accumulate(lengths, initial=0)
    names = (exercise.label for exercise in exercises)
    labels = {f"m{first}": name for first, name in zip(firsts, names, strict=False)}
    told = printed(exercises[0].key)
    for system in engrave_plan(plan_copy(score, copy.version), music_look(page)):
        for name in system.bars:
            if name in labels:
                told = f"{printed(exercises[0].key)}, {labels[name]}"
        if system.bars and system.bars[0] in labels:
            yield Words(labels[system.bars[0]], Lettering.INSTRUCTION)
        yield Music(system, told)
