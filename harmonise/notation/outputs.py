"""Every page, file and sound that is made of an arrangement, by sheet and by ending.

One table says which endings each sheet has; all of them are made from the same
arrangement, so that they agree whatever key it was moved to.
"""

from collections.abc import Callable, Sequence
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.files import (
    MUSICXML,
    PRINTED,
    check_target,
    format_mxl,
    write_whole,
)
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.tune import ChordAt

if TYPE_CHECKING:
    from harmonise.notation.paper.blocks import Block, Page
    from harmonise.notation.sound.performance import Playing
    from harmonise.theory.capo import Capo


class Sheet(Enum):
    """What kind of page is made of an arrangement."""

    SCORE = "score"
    LEAD = "lead-sheet"
    CHART = "chart"
    GUITAR = "guitar"
    SPOKEN = "spoken"
    WALK = "walk"
    LETTERS = "letters"
    NUMBERS = "numbers"
    SOLFA = "sol-fa"
    ABC = "abc"

    @property
    def tune_alone(self) -> bool:
        """Whether it has the tune and none of the hands' notes."""
        return self in (Sheet.LETTERS, Sheet.NUMBERS, Sheet.SOLFA, Sheet.ABC)


MIDI = (".mid", ".midi")
SOUND = (*MIDI, ".wav")
_STAVES = (*MUSICXML, *PRINTED)
ENDINGS = {
    Sheet.SCORE: (*_STAVES, *SOUND),
    Sheet.LEAD: _STAVES,
    Sheet.CHART: (".txt", ".pdf", ".png"),
    Sheet.GUITAR: (".txt", ".pdf", ".png"),
    Sheet.SPOKEN: (".txt",),
    Sheet.WALK: (".txt",),
    Sheet.LETTERS: (".txt",),
    Sheet.NUMBERS: (".txt",),
    Sheet.SOLFA: (".txt",),
    Sheet.ABC: (".abc", ".txt"),
}
"""What the file of each sheet may end in; the first is the usual one."""


class Output(NamedTuple):
    """What is made of an arrangement, and how.

    Attributes:
        sheet: The kind of page.
        page: The page of a printed sheet; None for A4 upright.
        playing: How MIDI and WAV are played; None for as written.
        fret: Where the guitarist's capo sits; None for the easiest choice.
        order: In which order verses and the rest are sung, printed under the title of
            a score; "" for none.
    """

    sheet: Sheet = Sheet.SCORE
    page: "Page | None" = None
    playing: "Playing | None" = None
    fret: int | None = None
    order: str = ""


def sheet_of(path: Path | None) -> Sheet:
    """Return the sheet that a file's ending asks for where none was named."""
    ending = path.suffix.lower() if path else ""
    return {".abc": Sheet.ABC, ".txt": Sheet.LETTERS}.get(ending, Sheet.SCORE)


def check_output(path: Path, sheet: Sheet) -> None:
    """Refuse a name whose ending a sheet does not have.

    Raises:
        OutputError: If it does not; the endings that it has are told.
    """
    endings = ENDINGS[sheet]
    if path.suffix.lower() in endings:
        return
    told = endings[0]
    if len(endings) > 1:
        told = f"{', '.join(endings[:-1])} or {endings[-1]}"
    kind = "" if sheet is Sheet.SCORE else f", as {sheet.value} does"
    names = [f"{path.stem}{own}" for own in endings[:1]]
    names += [f"{path.stem}.pdf"] if ".pdf" in endings[1:] else []
    raise OutputError(
        f'"{path.name}" does not end in {told}{kind}.',
        remedy=f"Call it {' or '.join(names)}.",
    )


def format_output(done: Arrangement, ending: str, output: Output) -> tuple[bytes, ...]:
    """Return an arrangement as files hold it: one, or of pictures one a page.

    Args:
        done: The arrangement.
        ending: Ending of the file, one that the sheet has.
        output: What is made, and how.

    Raises:
        OutputError: If the page cannot say what the tune holds, or a library is
            missing.
    """
    if ending in SOUND:
        return (_sound(done, ending, output),)
    if ending in PRINTED:
        return _printed((done,), ending, output)
    if ending in MUSICXML:
        score = _STAVES_OF[output.sheet](done)
        return (format_mxl(score) if ending == ".mxl" else score,)
    text = _TEXTS[output.sheet](done, output).rstrip("\n")
    return (f"{text}\n".encode(),)


def write_output(
    done: Sequence[Arrangement], path: Path, output: Output, *, force: bool = False
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
    made: list[tuple[Path, bytes]] = []
    for own, pages in _files(done, path, output):
        names = [own.with_stem(f"{own.stem}-{n}") for n in range(2, len(pages) + 1)]
        made += zip([own, *names], pages, strict=True)
    for own, _ in made:
        check_target(own, force=force)
    for own, content in made:
        write_whole(own, content, force=force)
    return tuple(own for own, _ in made)


def targets(path: Path, keys: Sequence[str]) -> tuple[Path, ...]:
    """Return the files of arrangements in several keys."""
    if len(keys) < 2 or path.suffix.lower() == ".pdf":
        return (path,)
    return tuple(path.with_stem(f"{path.stem}-{key}") for key in keys)


def key_in_names(done: Arrangement) -> str:
    """Return a key as file names carry it: E-flat, F-sharp-minor."""
    name = str(done.tune.key.tonic)
    sign = name[1:].replace("#", "-sharp").replace("b", "-flat")
    mode = done.tune.key.mode.value
    return f"{name[0]}{sign}" + ("" if mode == "major" else f"-{mode}")


def _files(
    done: Sequence[Arrangement], path: Path, output: Output
) -> list[tuple[Path, tuple[bytes, ...]]]:
    ending = path.suffix.lower()
    if ending == ".pdf":
        return [(path, _printed(done, ending, output))]
    names = targets(path, [key_in_names(own) for own in done])
    return [
        (name, format_output(own, ending, output))
        for name, own in zip(names, done, strict=True)
    ]


def _sound(done: Arrangement, ending: str, output: Output) -> bytes:
    from harmonise.notation.sound.performance import AS_WRITTEN  # noqa: PLC0415

    playing = output.playing or AS_WRITTEN
    if ending in MIDI:
        from harmonise.notation.midi.writing import format_midi  # noqa: PLC0415

        return format_midi(done, playing)
    from harmonise.notation.sound.recording import format_wav  # noqa: PLC0415

    return format_wav(done, playing)


def _printed(
    done: Sequence[Arrangement], ending: str, output: Output
) -> tuple[bytes, ...]:
    # Slow to load, and only paper needs it.
    from harmonise.notation.paper import (  # noqa: PLC0415
        blocks,
        typesetting,
    )

    page = output.page or blocks.A4_PAGE
    found: list[Block] = []
    for own in done:
        found += [blocks.NewPage()] if found else []
        found += _blocks(own, page, output)
    if ending == ".pdf":
        return (typesetting.typeset(found, page),)
    if ending == ".svg":
        return (typesetting.tall_svg(found, page).encode(),)
    return typesetting.typeset_pictures(found, page, typesetting.PPI)


def _blocks(done: Arrangement, page: "Page", output: Output) -> "tuple[Block, ...]":
    from harmonise.notation.paper import (  # noqa: PLC0415
        chart_sheet,
        lead_sheet,
        score_sheet,
    )

    if output.sheet is Sheet.LEAD:
        return lead_sheet.lead_sheet_blocks(done, page)
    if output.sheet is Sheet.SCORE:
        return score_sheet.score_blocks(done, page, output.order)
    return chart_sheet.chart_blocks(done, page, _capo(done, output))


def _capo(done: Arrangement, output: Output) -> "Capo | None":
    if output.sheet is not Sheet.GUITAR:
        return None
    from harmonise.theory.capo import capo_choices, capo_on  # noqa: PLC0415

    if output.fret is None:
        return capo_choices(done.tune.key)[0]
    return capo_on(done.tune.key, output.fret)


def _score(done: Arrangement) -> bytes:
    from harmonise.notation.musicxml.writer import format_musicxml  # noqa: PLC0415

    return format_musicxml(done)


def _lead_sheet(done: Arrangement) -> bytes:
    from harmonise.notation.musicxml.writer import format_lead_sheet  # noqa: PLC0415

    return format_lead_sheet(done)


_STAVES_OF: dict[Sheet, Callable[[Arrangement], bytes]] = {
    Sheet.SCORE: _score,
    Sheet.LEAD: _lead_sheet,
}


def _chart(done: Arrangement, output: Output) -> str:
    from harmonise.notation.chart.plain_charts import (  # noqa: PLC0415
        format_words_chart,
    )

    return format_words_chart(done, _capo(done, output))


def _spoken(done: Arrangement, output: Output) -> str:
    del output
    from harmonise.notation.spoken.spoken_score import format_spoken  # noqa: PLC0415

    return format_spoken(done)


def _walk(done: Arrangement, output: Output) -> str:
    del output
    from harmonise.notation.spoken.spoken_score import format_walk  # noqa: PLC0415

    return format_walk(done)


def _tune_text(done: Arrangement, output: Output) -> str:
    from harmonise.notation.tune_text.tune_text import format_tune_text  # noqa: PLC0415

    return format_tune_text(done.tune, numbers=output.sheet is Sheet.NUMBERS)


def _solfa(done: Arrangement, output: Output) -> str:
    del output
    from harmonise.notation.solfa.solfa_writing import format_solfa  # noqa: PLC0415

    return format_solfa(done.tune)


def _abc(done: Arrangement, output: Output) -> str:
    del output
    from harmonise.notation.abc.abc_page import format_abc  # noqa: PLC0415

    return format_abc(done.tune, chords_of(done))


_TEXTS: dict[Sheet, Callable[[Arrangement, Output], str]] = {
    Sheet.CHART: _chart,
    Sheet.GUITAR: _chart,
    Sheet.SPOKEN: _spoken,
    Sheet.WALK: _walk,
    Sheet.LETTERS: _tune_text,
    Sheet.NUMBERS: _tune_text,
    Sheet.SOLFA: _solfa,
    Sheet.ABC: _abc,
}


def chords_of(done: Arrangement) -> tuple[ChordAt, ...]:
    """Return the chosen chords as symbols over the tune, one for each change."""
    found: list[ChordAt] = []
    for slot in done.slots:
        if slot.chord is None:
            continue
        if found and (found[-1].chord, found[-1].end) == (slot.chord, slot.onset):
            found[-1] = found[-1]._replace(end=slot.end)
        else:
            found.append(ChordAt(slot.onset, slot.end, slot.chord))
    return tuple(found)
