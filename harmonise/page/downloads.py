"""The kinds of file that an arrangement can be taken away as: one row each."""

from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.chart.plain_charts import format_account
from harmonise.notation.outputs import Output, Sheet, format_output
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.notation.sound.performance import Playing, perform
from harmonise.page.requests import FileRequest, PaperRequest, PlayingRequest
from harmonise.theory.arrangement import Arrangement, Hand

MOST_MINUTES = 30
"""Longest recording that the page makes: 80 MB."""


class File(NamedTuple):
    """A kind of file.

    Attributes:
        name: Its name in requests.
        title: What the page calls it.
        sheet: What it is; None for the reasons of all chords.
        ending: What its name ends in.
        suffix: What its name has after the title, to tell it from others.
    """

    name: str
    title: str
    sheet: Sheet | None
    ending: str
    suffix: str = ""

    @property
    def media(self) -> str:
        """Its media type."""
        return _MEDIA[self.ending]

    @property
    def engraves(self) -> bool:
        """Whether making it needs the engraver."""
        return self.ending == ".pdf"


_MEDIA = {
    ".pdf": "application/pdf",
    ".musicxml": "application/vnd.recordare.musicxml+xml",
    ".mxl": "application/vnd.recordare.musicxml",
    ".mid": "audio/midi",
    ".wav": "audio/wav",
    ".txt": "text/plain; charset=utf-8",
    ".abc": "text/vnd.abc; charset=utf-8",
}
KINDS = {
    kind.name: kind
    for kind in (
        File("pdf", "Score to print", Sheet.SCORE, ".pdf"),
        File("musicxml", "Score to edit", Sheet.SCORE, ".musicxml"),
        File("mxl", "Score to edit, compressed", Sheet.SCORE, ".mxl"),
        File("midi", "MIDI", Sheet.SCORE, ".mid"),
        File("wav", "Recording", Sheet.SCORE, ".wav"),
        File("text", "Tune as typed", Sheet.LETTERS, ".txt"),
        File("numbers", "Tune in numbers", Sheet.NUMBERS, ".txt", "-numbers"),
        File("sol-fa", "Tune in sol-fa", Sheet.SOLFA, ".txt", "-sol-fa"),
        File("abc", "Tune and chords as ABC", Sheet.ABC, ".abc"),
        File("lead-sheet", "Lead sheet to print", Sheet.LEAD, ".pdf", "-lead-sheet"),
        File(
            "lead-sheet-musicxml", "Lead sheet to edit", Sheet.LEAD, ".musicxml",
            "-lead-sheet",
        ),
        File("chart", "Chords and words to print", Sheet.CHART, ".pdf", "-chords"),
        File("chart-text", "Chords and words as text", Sheet.CHART, ".txt", "-chords"),
        File("guitar", "Guitar sheet to print", Sheet.GUITAR, ".pdf", "-guitar"),
        File("spoken", "Score in words", Sheet.SPOKEN, ".txt", "-in-words"),
        File("walk", "From chord to chord in words", Sheet.WALK, ".txt", "-walk"),
        File("reasons", "Every chord with its reason", None, ".txt", "-reasons"),
    )
}  # fmt: skip
"""The kinds of file by their names."""


def made(kind: File, done: Arrangement, asked: FileRequest) -> bytes:
    """Return a file of an arrangement.

    Raises:
        OutputError: If it cannot be made of this tune, or would be too long.
    """
    if kind.sheet is None:
        return f"{format_account(done)}\n".encode()
    playing = playing_of(asked.played)
    if kind.ending == ".wav" and minutes(done, playing) > MOST_MINUTES:
        raise OutputError(
            f"This recording would last longer than {MOST_MINUTES} minutes.",
            None,
            "Choose a faster speed or fewer bars.",
        )
    output = Output(kind.sheet, page_of(asked.printed), playing)
    return format_output(done, kind.ending, output)[0]


def page_of(printed: PaperRequest) -> Page:
    """Return the page of a printed file."""
    return Page(Paper(printed.paper), printed.landscape, printed.large_print)


def playing_of(played: PlayingRequest) -> Playing:
    """Return how a file that sounds is played."""
    return Playing(
        speed=played.speed,
        count_in=played.count_in,
        hand=Hand(played.hand) if played.hand else None,
        bars=played.bars,
        times=played.times,
    )


def minutes(done: Arrangement, playing: Playing) -> float:
    """Return how long an arrangement plays."""
    found = perform(done, playing)
    starts = [speed.at for speed in found.speeds]
    ends = [*starts[1:], found.passages[-1].stop]
    return sum(
        float((end - speed.at) / speed.per_minute)
        for speed, end in zip(found.speeds, ends, strict=True)
    )
