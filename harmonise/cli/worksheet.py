"""The command `harmonise worksheet`: sheets for pupils, and their answer keys."""

import re
from collections.abc import Iterator, Sequence
from enum import Enum
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.choosing import read_source
from harmonise.cli.command import Command
from harmonise.cli.long_jobs import tell_start
from harmonise.cli.options import (
    Level,
    WordChoice,
    show,
    tell_idle,
    told,
    with_options,
    words_of,
)
from harmonise.errors import OutputError
from harmonise.lessons.aural import AURAL_STEPS, MOST_QUESTIONS, AuralKind
from harmonise.lessons.lesson_effects import sheet_reasons
from harmonise.lessons.sheet_files import ENDINGS, format_sheet, sheet_recordings
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.notation.files import check_target, is_own
from harmonise.notation.outputs import write_pages
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Style
from harmonise.theory.key import Key, named_keys
from harmonise.theory.tune import Tune

LABEL_WORDS = words_of((Labels.WORDS, Labels.FIGURES, Labels.LETTERS))
"""How pupils name shapes: in every way but not at all."""
FAULTS = click.IntRange(1, 12)
SEED = click.IntRange(1, 9999)
STEP = click.IntRange(1, len(AURAL_STEPS))
QUESTIONS = click.IntRange(1, MOST_QUESTIONS)
BARS = click.IntRange(2, 64)

DEPTHS = WordChoice({**{depth.value: (depth,) for depth in Depth}, "all": tuple(Depth)})

EARS = "Keep headphones low, and rest the ears between questions."
"""The usual caution beside what is listened to again and again."""
_TITLES = tuple(kind.row.title.lower() for kind in SheetKind)


class PrintedCopies(Enum):
    """What is printed of a worksheet."""

    BOTH = "both"
    SHEET = "sheet"
    ANSWERS = "answers"


class WorksheetOptions(NamedTuple):
    """Options of `harmonise worksheet`.

    Attributes:
        output: A name ending in .pdf or .png to print, in .musicxml, .xml or .mxl for
            pupils to fill in, in .txt to type answers by ear; version and -answers are
            added to it. Default: the tune's name and the kind, as PDF where you stand.
        kind: What pupils do: {}.
        versions: Versions A, B, C … of equal difficulty, in other keys.
        keys: Keys of the versions, or those that a phrase is written in. Default:
            chosen by the number of their sharps or flats.
        bars: Bars of the tune at most; the sheet stops at the end of a line. Default:
            8, for a phrase to transpose 4.
        faults: Planted faults to find, besides the example.
        seed: Number of the sheet; another number plants faults in other places, and
            asks other questions by ear.
        step: Step of questions by ear: 1 compares, 2 has I and V, 3 has IV too, 4
            cadences, 5 the note on top, 6 V7, ii and vi.
        about: The only kind of question by ear. Default: all of the step.
        questions: Questions by ear at most.
        labels: How pupils name the shape of the right hand: first, 6/3 or b.
        depth: How much the sheet gives: every second answer, the first one, or none and
            asks for more; all three share one key.
        copies: Prints the pupils' sheet, the answer key, or both.
        force: Overwrites existing sheets.
    """

    output: Path | None = None
    kind: Annotated[SheetKind, _TITLES] = SheetKind.ACCOMPANY
    versions: Annotated[int, click.IntRange(1, len(VERSIONS))] = 1
    keys: Annotated[tuple[str, ...], '"G, F, D"'] = ()
    bars: Annotated[int | None, BARS] = None
    faults: Annotated[int, FAULTS] = 4
    seed: Annotated[int, SEED] = 1
    step: Annotated[int, STEP] = 1
    about: AuralKind | None = None
    questions: Annotated[int, QUESTIONS] = 8
    labels: Annotated[Labels, LABEL_WORDS] = Labels.WORDS
    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    part: str = ""
    depth: Annotated[tuple[Depth, ...], DEPTHS] = (Depth.CORE,)
    copies: PrintedCopies = PrintedCopies.BOTH
    paper: Paper = Paper.A4
    large_print: bool = False
    force: bool = False
    shows: Annotated[bool, "--open"] = False
    no_settings: bool = False


@click.command(
    cls=Command,
    short_help="Make worksheets and their answer keys.",
    examples=(
        "harmonise worksheet mytune.txt --kind choose --versions 2",
        "harmonise worksheet mytune.txt --kind symbols -o mytune.musicxml",
    ),
)
@click.argument("tune")
@with_options(WorksheetOptions)
def worksheet(tune: str, options: WorksheetOptions) -> None:
    """Make worksheets of TUNE, and their answer keys.

    TUNE is a file of {formats}; "-" reads what you pipe in. Each
    version is a file of its own, and so is its answer key. What pupils fill in as
    MusicXML tells `harmonise mark` by itself which task it is.
    """
    stem = "tune" if tune == "-" else Path(tune).stem
    target = options.output or Path(f"{stem}-{options.kind.value}.pdf")
    with told(tune):
        _make(tune, target, options)


def _make(source: str, target: Path, options: WorksheetOptions) -> None:
    check_ending(target)
    tune = read_source(source, options.part)[0]
    order = _order(tune, options)
    sheets = [
        sheet
        for depth in options.depth
        for sheet in make_sheets(tune, order._replace(depth=depth), options.versions)
    ]
    page = Page(options.paper, large_print=options.large_print)
    files = SheetFiles(target, page, options.copies, options.force)
    written = files.write(sheets)
    for sheet in sheets:
        click.echo(f"{sheet.footer}: {sheet.key}, {sheet.marks} marks")
        if len(sheet.asked) < order.questions and sheet.asked:
            click.echo(f"The tune has room for {len(sheet.asked)} of them.")
    tell_idle(sheet_reasons(options.kind))
    tell_written(files, sheets, written)
    if options.shows:
        show(written[0])


def tell_written(
    files: "SheetFiles", sheets: Sequence[Worksheet], written: Sequence[Path]
) -> None:
    """Say what was written, and what lies there from an earlier sheet."""
    click.echo(f"Written: {', '.join(map(str, written))}")
    if not any(sheet.order.kind.row.heard for sheet in sheets):
        return
    over = files.left_over(sheets, written)
    if over:
        listed = ", ".join(map(str, over))
        click.echo(f"Of an earlier sheet, and no part of this one: {listed}")
    click.echo(EARS)


def check_ending(target: Path, endings: tuple[str, ...] = ENDINGS) -> None:
    """Refuse a name whose ending is none of a sheet.

    Raises:
        OutputError: If it is none.
    """
    if target.suffix.lower() not in endings:
        raise OutputError(
            f'"{target.name}" does not end in {", ".join(endings[:-1])} or '
            f"{endings[-1]}.",
            None,
            f"Call it {target.stem}{endings[0]} or {target.stem}{endings[2]}.",
        )


class SheetFiles(NamedTuple):
    """Where sheets go, and how.

    Attributes:
        target: The name that all their names are made of.
        page: The page of what is printed.
        copies: What is printed.
        force: Whether files that exist are overwritten.
    """

    target: Path
    page: Page
    copies: PrintedCopies = PrintedCopies.BOTH
    force: bool = False

    def write(self, sheets: Sequence[Worksheet]) -> tuple[Path, ...]:
        """Write sheets, their keys and recordings, and return the files.

        Raises:
            OutputError: If one exists already (without force) or cannot be written.
        """
        depths = tuple(dict.fromkeys(sheet.order.depth for sheet in sheets))
        files = [
            (path, sheet, answers)
            for sheet in sheets
            for path, answers in self._names(sheet, depths)
        ]
        recordings = dict(
            recording
            for sheet in sheets
            for recording in sheet_recordings(
                sheet, self.target.with_name(self._stem(sheet))
            )
        )
        for path in [*(path for path, _, _ in files), *recordings]:
            check_target(path, force=self.force)
        tell_start(self.target)
        made = [
            (path, self._printed(sheet, sheets, answers=answers))
            for path, sheet, answers in files
        ]
        made += [(path, (content,)) for path, content in recordings.items()]
        return write_pages(made, force=self.force)

    def left_over(
        self, sheets: Sequence[Worksheet], written: Sequence[Path]
    ) -> tuple[Path, ...]:
        """Return recordings of an earlier run that belong to none of these sheets."""
        stems = "|".join(re.escape(self._stem(sheet)) for sheet in sheets)
        numbered = re.compile(rf"({stems})-(line-)?\d+\.wav")
        return tuple(
            path
            for path in sorted(self.target.parent.iterdir())
            if numbered.fullmatch(path.name) and path not in written and is_own(path)
        )

    def _printed(
        self, sheet: Worksheet, sheets: Sequence[Worksheet], *, answers: bool
    ) -> tuple[bytes, ...]:
        """Return a sheet or its key, with the lines that all its depths have."""
        depths = tuple(one for one in sheets if one.version == sheet.version)
        ending = self.target.suffix.lower()
        return format_sheet(sheet, ending, self.page, answers=answers, depths=depths)

    def _stem(self, sheet: Worksheet) -> str:
        """Return what all names of a sheet begin with; a drill has no versions."""
        return f"{self.target.stem}{'' if sheet.drill else f'-{sheet.version}'}"

    def _names(
        self, sheet: Worksheet, depths: tuple[Depth, ...]
    ) -> Iterator[tuple[Path, bool]]:
        """Yield the files of a sheet, and whether each is the answer key.

        Three depths share the key of the last, which has the most answers.
        """
        stem, depth = self._stem(sheet), sheet.order.depth
        if self.copies is not PrintedCopies.ANSWERS:
            deep = len(depths) > 1 or depth is not Depth.CORE
            yield self.target.with_stem(f"{stem}{f'-{depth.value}' * deep}"), False
        if self.copies is not PrintedCopies.SHEET and depth is depths[-1]:
            yield self.target.with_stem(f"{stem}-answers"), True


def _order(tune: Tune, options: WorksheetOptions) -> SheetOrder:
    return SheetOrder(
        options.kind,
        Style(options.level, options.harmonic_rhythm),
        options.labels,
        options.bars or options.kind.row.bars,
        options.faults,
        options.seed,
        _keys(options.keys, tune.key),
        step=options.step,
        about=options.about,
        questions=options.questions,
    )


def _keys(texts: tuple[str, ...], home: Key) -> tuple[Key, ...]:
    """Return the keys that were typed, in the tune's own mode."""
    keys = named_keys(texts, mode=home.mode)
    for key in keys:
        if key.mode is not home.mode:
            raise OutputError(
                f"The tune is in {home} and cannot be moved to {key}.",
                None,
                f"Name {home.mode.value} keys.",
            )
    return keys
