"""Every page, file and sound that is made of an arrangement, by sheet and by ending.

One row for each sheet says which endings it has and how it is written: a new text is
its row in `Sheet` and the function that writes it, and every face offers it. All are
made from the same arrangement, so that they agree whatever key it was moved to.
"""

from collections.abc import Callable, Sequence
from enum import Enum
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, NamedTuple, Self

from harmonise.errors import OutputError
from harmonise.notation.files import (
    MIDI,
    MUSICXML,
    PRINTED,
    SOUND,
    check_target,
    format_mxl,
    remove_pages,
    write_whole,
)
from harmonise.notation.score.printed_labels import printed_slots
from harmonise.notation.signed import sign_text, sign_xml
from harmonise.notation.sound.performance import AS_WRITTEN, Playing
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.transposing import Capo, capo_choices, capo_on
from harmonise.theory.tune import ChordAt

if TYPE_CHECKING:
    from harmonise.notation.paper.blocks import Block, Page


def _room(name: str) -> ModuleType:
    """Return a module of notation.

    Each output needs few of them, and together they take as long to load as all the
    rest of a command.
    """
    return import_module(f"harmonise.notation.{name}")


_Text = Callable[[Arrangement, Capo | None], object]
"""Returns an arrangement as text; a capo is a guitarist's."""


def _whole(room: str, name: str) -> _Text:
    """Return the writer of a text of the whole arrangement."""
    return lambda arrangement, _: getattr(_room(room), name)(arrangement)


def _alone(room: str, name: str, **how: bool) -> _Text:
    """Return the writer of a text of the tune alone."""
    return lambda arrangement, _: getattr(_room(room), name)(arrangement.tune, **how)


def _chart(arrangement: Arrangement, capo: Capo | None) -> object:
    return _room("chart.plain_charts").format_words_chart(arrangement, capo)


def _abc(arrangement: Arrangement, _: Capo | None) -> object:
    return _room("abc.abc_writer").format_abc(arrangement.tune, chords_of(arrangement))


_STAVES = (*MUSICXML, *PRINTED)
_SHOWN = (".txt", ".pdf", ".png")
_TEXT = (".txt",)
_TYPED = "tune_text.tune_text"


class OutputRow(NamedTuple):
    """How one kind of page is written, and what lists of files call it.

    Attributes:
        endings: What its file may end in; the first is the usual one.
        text: Returns it as text; None if it has staves.
        title: What lists of files call it, if it is nothing but text.
        suffix: What the name of its file has after the tune's title in such lists.
        tune_alone: Whether it has the tune and none of the hands' notes.
        by_ending: Whether a file with its first ending is it where no sheet is named.
        players: Whom it is for, as the title page of a booklet says.
        remark: How a remark begins in its text, with a space; "" where it has none.
    """

    endings: tuple[str, ...]
    text: _Text | None = None
    title: str = ""
    suffix: str = ""
    tune_alone: bool = False
    by_ending: bool = False
    players: str = ""
    remark: str = ""


class Sheet(Enum):
    """What kind of page is made of an arrangement: the one table of outputs."""

    _value_: str
    row: OutputRow

    SCORE = "score", OutputRow(
        (*_STAVES, *SOUND), players="for two hands at the piano"
    )  # fmt: skip
    VOCAL = "vocal-score", OutputRow(PRINTED, players="for voices and piano")
    LEAD = "lead-sheet", OutputRow(_STAVES, players="tune, words and chords")
    CONGREGATION = "congregation", OutputRow(
        PRINTED, players="tune and words", tune_alone=True
    )  # fmt: skip
    CHART = "chart", OutputRow(_SHOWN, _chart, players="words and chords")
    GUITAR = "guitar", OutputRow(_SHOWN, _chart, players="for the guitar")
    SPOKEN = "spoken", OutputRow(
        _TEXT, _whole("spoken.spoken_score", "format_spoken"),
        "Score in words", "-in-words",
    )  # fmt: skip
    WALK = "walk", OutputRow(
        _TEXT, _whole("spoken.spoken_walk", "format_walk"),
        "From chord to chord in words", "-walk",
    )  # fmt: skip
    LETTERS = "letters", OutputRow(
        _TEXT, _alone(_TYPED, "format_tune_text"),
        "Tune as typed", tune_alone=True, by_ending=True, remark="% ",
    )  # fmt: skip
    NUMBERS = "numbers", OutputRow(
        _TEXT, _alone(_TYPED, "format_tune_text", numbers=True),
        "Tune in numbers", "-numbers", tune_alone=True, remark="% ",
    )  # fmt: skip
    SOLFA = "sol-fa", OutputRow(
        _TEXT, _alone("solfa.solfa", "format_solfa"),
        "Tune in sol-fa", "-sol-fa", tune_alone=True, remark="% ",
    )  # fmt: skip
    ABC = "abc", OutputRow(
        (".abc", ".txt"), _abc,
        "Tune and chords as ABC", tune_alone=True, by_ending=True, remark="% ",
    )  # fmt: skip

    def __new__(cls, name: object, row: OutputRow) -> Self:
        """Let the name alone be the value, as options write it."""
        made = object.__new__(cls)
        made._value_ = str(name)
        made.row = row
        return made


class Output(NamedTuple):
    """What is made of an arrangement, and how.

    Attributes:
        sheet: The kind of page.
        page: The page of a printed sheet; None for A4 upright.
        playing: How MIDI and WAV are played.
        fret: Where the guitarist's capo sits; None for the easiest choice.
        order: In which order verses and the rest are sung, printed under the title of
            a score; "" for none.
    """

    sheet: Sheet = Sheet.SCORE
    page: "Page | None" = None
    playing: Playing = AS_WRITTEN
    fret: int | None = None
    order: str = ""


def sheet_of(path: Path | None) -> Sheet:
    """Return the sheet that a file's ending asks for where none was named."""
    ending = path.suffix.lower() if path else ""
    named = (sheet for sheet in Sheet if sheet.row.by_ending)
    return next(
        (sheet for sheet in named if sheet.row.endings[0] == ending), Sheet.SCORE
    )


def check_output(path: Path, sheet: Sheet) -> None:
    """Refuse a name whose ending a sheet does not have.

    Raises:
        OutputError: If it does not; the endings that it has are told.
    """
    endings = sheet.row.endings
    if path.suffix.lower() in endings:
        return
    listed = endings[0]
    if len(endings) > 1:
        listed = f"{', '.join(endings[:-1])} or {endings[-1]}"
    kind = "" if sheet is Sheet.SCORE else f", as {sheet.value} does"
    names = [f"{path.stem}{ending}" for ending in endings[:1]]
    names += [f"{path.stem}.pdf"] if ".pdf" in endings[1:] else []
    raise OutputError(
        f'"{path.name}" does not end in {listed}{kind}.',
        remedy=f"Call it {' or '.join(names)}.",
    )


def format_output(
    arrangement: Arrangement, ending: str, output: Output
) -> tuple[bytes, ...]:
    """Return an arrangement as files hold it: one, or of pictures one a page.

    Args:
        arrangement: The arrangement.
        ending: Ending of the file, one that the sheet has.
        output: What is made, and how.

    Raises:
        OutputError: If the page cannot say what the tune holds, or a library is
            missing.
    """
    if ending in SOUND:
        room = "midi.writing" if ending in MIDI else "sound.recording"
        name = "format_midi" if ending in MIDI else "format_wav"
        return (getattr(_room(room), name)(arrangement, output.playing),)
    if ending in PRINTED:
        return _printed((arrangement,), ending, output)
    write_text = output.sheet.row.text
    if write_text:
        text = str(write_text(arrangement, capo_of(arrangement, output)))
        return (sign_text(text, output.sheet.row.remark).encode(),)
    writer = _room("musicxml.writer")
    lead = output.sheet is Sheet.LEAD
    write = writer.format_lead_sheet if lead else writer.format_musicxml
    score = write(arrangement)
    return (format_mxl(score) if ending == ".mxl" else score,)


def write_score(
    arrangement: Arrangement,
    path: Path,
    *,
    force: bool = False,
    page: "Page | None" = None,
) -> tuple[Path, ...]:
    """Write an arrangement as MusicXML (.mxl: compressed), printed or to listen to.

    A .pdf has all pages, a .svg is one tall picture without pages. A .png holds the
    first page; further ones go beside it with -2, -3 and so on after the name.

    Args:
        arrangement: The arrangement.
        path: Where to; its ending says what is written.
        force: Whether existing files are replaced.
        page: The page of a printed sheet; A4 upright by default.

    Returns:
        The files that were written.

    Raises:
        OutputError: If the ending is another, a file exists (without force), its
            folder is missing, it cannot be written, or a library is missing.
    """
    return write_output((arrangement,), path, Output(page=page), force=force)


def write_output(
    versions: Sequence[Arrangement],
    path: Path,
    output: Output,
    *,
    force: bool = False,
) -> tuple[Path, ...]:
    """Write arrangements of one tune, in one or more keys, as what a file's name says.

    Several arrangements make one PDF, a new page for each; other files come one for
    each arrangement, the key added to the name. Further pages of a .png go beside the
    first with -2, -3 and so on after the name.

    Returns:
        The files that were written.

    Raises:
        OutputError: If the ending is not the sheet's, a file exists (without force),
            its folder is missing, it cannot be written, the page cannot say what the
            tune holds, or a library is missing.
    """
    check_output(path, output.sheet)
    for name in targets(path, [key_in_names(version) for version in versions]):
        check_target(name, force=force)
    return write_pages(format_pages(versions, path, output), force=force)


FilePages = tuple[Path, tuple[bytes, ...]]
"""A file's name and what goes into it; a picture's further pages go beside it."""


def format_pages(
    versions: Sequence[Arrangement], path: Path, output: Output
) -> tuple[FilePages, ...]:
    """Return what `write_output` writes, without a look at any disk.

    Raises:
        OutputError: If the page cannot say what the tune holds, or a library is
            missing.
    """
    ending = path.suffix.lower()
    if ending == ".pdf":
        return ((path, _printed(versions, ending, output)),)
    names = targets(path, [key_in_names(version) for version in versions])
    contents = (format_output(version, ending, output) for version in versions)
    return tuple(zip(names, contents, strict=True))


def write_pages(files: Sequence[FilePages], *, force: bool = False) -> tuple[Path, ...]:
    """Write files: all of them, or none where one of them may not be written.

    Returns:
        The files that were written, further pages of pictures among them.

    Raises:
        OutputError: If a file exists (without force), its folder is missing, or it
            cannot be written.
    """
    made: list[tuple[Path, bytes]] = []
    for name, pages in files:
        more = [name.with_stem(f"{name.stem}-{n}") for n in range(2, len(pages) + 1)]
        made += zip([name, *more], pages, strict=True)
    for name, _ in made:
        check_target(name, force=force)
    for name, content in made:
        write_whole(name, content, force=force)
    for name, pages in files:
        if name.suffix.lower() == ".png":
            remove_pages(name, len(pages))
    return tuple(name for name, _ in made)


def targets(path: Path, keys: Sequence[str]) -> tuple[Path, ...]:
    """Return the files of arrangements in several keys."""
    if len(keys) < 2 or path.suffix.lower() == ".pdf":
        return (path,)
    return tuple(path.with_stem(f"{path.stem}-{key}") for key in keys)


def key_in_names(arrangement: Arrangement) -> str:
    """Return a key as file names carry it: E-flat, F-sharp-minor."""
    name = str(arrangement.tune.key.tonic)
    sign = name[1:].replace("#", "-sharp").replace("b", "-flat")
    mode = arrangement.tune.key.mode.value
    return f"{name[0]}{sign}" + ("" if mode == "major" else f"-{mode}")


def _printed(
    versions: Sequence[Arrangement], ending: str, output: Output
) -> tuple[bytes, ...]:
    blocks, typesetting = _room("paper.blocks"), _room("paper.typesetting")
    page = output.page or blocks.A4_PAGE
    document: list[Block] = []
    for version in versions:
        document += [blocks.NewPage()] if document else []
        document += printed_blocks(version, page, output)
    if ending == ".pdf":
        return (typesetting.typeset(document, page),)
    if ending == ".svg":
        return (sign_xml(f"{typesetting.tall_svg(document, page)}\n".encode()),)
    return tuple(typesetting.typeset_pictures(document, page, typesetting.PPI))


def printed_blocks(
    arrangement: Arrangement, page: "Page", output: Output, *, alone: bool = True
) -> "Sequence[Block]":
    """Return what the sheet of an arrangement is printed of; its title comes first.

    Args:
        arrangement: The arrangement.
        page: The page that the blocks will be set on.
        output: A sheet that has a printed form, and how it is made.
        alone: Whether nothing else will stand on its pages.

    Raises:
        OutputError: If the page cannot say what the tune holds.
        LibraryError: If verovio is not installed.
    """
    document: Sequence[Block]
    if output.sheet in (Sheet.SCORE, Sheet.VOCAL):
        vocal = output.sheet is Sheet.VOCAL
        document = _room("paper.score_sheet").score_blocks(
            arrangement, page, output.order, alone=alone, vocal=vocal
        )
    elif output.sheet is Sheet.LEAD:
        document = _room("paper.score_sheet").lead_sheet_blocks(
            arrangement, page, alone=alone
        )
    elif output.sheet is Sheet.CONGREGATION:
        document = _room("paper.score_sheet").congregation_blocks(
            arrangement, page, alone=alone
        )
    else:
        capo = capo_of(arrangement, output)
        document = _room("paper.chart_sheet").chart_blocks(arrangement, page, capo)
    return document


def capo_of(arrangement: Arrangement, output: Output) -> Capo | None:
    """Return the guitarist's capo; None for a sheet of another player."""
    if output.sheet is not Sheet.GUITAR:
        return None
    if output.fret is None:
        return capo_choices(arrangement.tune.key)[0]
    return capo_on(arrangement.tune.key, output.fret)


def chords_of(arrangement: Arrangement) -> tuple[ChordAt, ...]:
    """Return the chosen chords as symbols over the tune, wherever print has them.

    Each holds to the next one, or to the end of its slots.
    """
    chords: list[ChordAt] = []
    printed = {slot.onset for slot in printed_slots(arrangement)}
    for slot in arrangement.slots:
        if slot.chord is None:
            continue
        ends = sorted({slot.end, *(at for at in printed if slot.onset < at < slot.end)})
        for start, end in pairwise([slot.onset, *ends]):
            if start in printed or not chords:
                chords.append(ChordAt(start, end, slot.chord))
            else:
                chords[-1] = chords[-1]._replace(end=end)
    return tuple(chords)
