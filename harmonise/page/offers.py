"""What the page can offer: one table for each of its lists, and the kinds of file.

What the engine can do is asked of the engine; only what the page calls it stands here.
A list has the name of the control that shows it, and an empty one is not shown.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from enum import Enum
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from msgspec import Struct

from harmonise.arranging.effects import reaches
from harmonise.form.plan import Gap, Introduction, LastVerse
from harmonise.lessons.aural import AURAL_STEPS, AuralKind
from harmonise.lessons.drill_copies import Version
from harmonise.lessons.drills import DRILLS
from harmonise.lessons.lesson_effects import drill_reasons, sheet_reasons
from harmonise.lessons.worksheet import Depth, SheetKind
from harmonise.notation.formats import LARGEST
from harmonise.notation.outputs import Sheet
from harmonise.notation.paper.blocks import Paper
from harmonise.page.sharing import WARNING, scan_rows
from harmonise.theory.arrangement import (
    PATTERNS,
    Hand,
    HarmonicRhythm,
    Labels,
    Player,
    Texture,
)
from harmonise.theory.key import Mode, keys_of, printed
from harmonise.theory.singing import Voices, read_voices

BLANK = "Title: My tune\nKey: C\nTime: 4/4\nTempo: 96\n"
"""The text of an empty page, into which a first note is tapped."""
_METRES = (
    "2/4", "3/4", "4/4", "5/4", "2/2", "3/2", "3/8", "6/8", "9/8", "12/8",
)  # fmt: skip
"""Time signatures that are tapped most often; others can be typed."""


def _titled(kinds: Iterable[Enum], *titles: str) -> dict[str, str]:
    """Return what the page calls the kinds of a thing, in the engine's order."""
    values = (kind.value for kind in kinds)
    return dict(zip(values, titles, strict=True))


_TITLES: dict[str, dict[str, str]] = {
    "metre": {time: time for time in _METRES},
    "record-time": {time: time for time in _METRES},
    "level": {
        "": "usual",
        "auto": "as rich as the tune needs",
        "1": "I, IV and V",
        "2": "with V7",
        "3": "with ii and vi",
        "4": "all chords",
    },
    "harmonicRhythm": _titled(
        HarmonicRhythm, "where they suit", "every bar", "every half-bar", "every beat"
    ),
    "texture": _titled(
        Texture,
        "as suits the tune",
        "a chord under every note",
        "held under the moving tune",
        "light, under a quick tune",
        "in four parts, as a hymn",
    ),
    "labels": _titled(Labels, "none", "words: first", "figures: 6/3", "letters: b"),
    "leftHand": {
        "": "as suits the tune",
        **{pattern.value: pattern.row.title for pattern in PATTERNS},
    },
    "player": {"": "anybody", **{player.value: player.value for player in Player}},
    "hand": {"": "both", **{hand.value: hand.value for hand in Hand}},
    "paper": _titled(Paper, "A4", "Letter"),
    "worksheet-kind": {kind.value: kind.row.title for kind in SheetKind},
    "worksheet-depth": _titled(Depth, "every second one", "the first one", "none"),
    "worksheet-labels": {
        "words": "words: first",
        "figures": "figures: 6/3",
        "letters": "letters: b",
    },
    "worksheet-step": {
        str(number): f"{number}: {step.title}"
        for number, step in enumerate(AURAL_STEPS, 1)
    },
    "worksheet-about": {
        "": "all of the step",
        **{kind.value: kind.row.title for kind in AuralKind},
    },
    "introduction": _titled(
        Introduction,
        "none",
        "the last line",
        "the last two bars",
        "two bars of the left hand",
    ),
    "gap": _titled(Gap, "nothing", "a bar of the keynote’s chord"),
    "lastVerse": _titled(
        LastVerse,
        "left hand in octaves",
        "tune in octaves",
        "walking bass",
        "richer chords",
        "keynote held in the bass",
        "fifth held before the close",
        "up a semitone",
        "up a tone",
    ),
    "worksheet-copy": {
        "both": "for pupils, and answers",
        "sheet": "for pupils",
        "answers": "with answers",
        "fill-in": "to fill in on a computer",
        "recordings": "recordings to play",
    },
    "drill-kind": {
        "pdf": "printed booklet",
        "musicxml": "MusicXML",
        "midi": "MIDI, to listen to",
    },
    "drill-version": _titled(Version, "all notes", "to fill in", "with answers"),
}
"""What the page calls the choices of its lists; "" leaves the choice."""


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
        """Its media type; texts with an ending of their own are plain text."""
        return _MEDIA.get(self.ending, _MEDIA[".txt"])

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


def _texts(*, tune_alone: bool) -> Iterator[File]:
    """Yield the files that are nothing but text, of the tune or of the whole."""
    for sheet in Sheet:
        if sheet.row.title and sheet.row.tune_alone == tune_alone:
            name = "text" if sheet is Sheet.LETTERS else sheet.value
            yield File(
                name, sheet.row.title, sheet, sheet.row.endings[0], sheet.row.suffix
            )


FILES = {
    kind.name: kind
    for kind in (
        File("pdf", "Score to print", Sheet.SCORE, ".pdf"),
        File("musicxml", "Score to edit", Sheet.SCORE, ".musicxml"),
        File("mxl", "Score to edit, compressed", Sheet.SCORE, ".mxl"),
        File("midi", "MIDI", Sheet.SCORE, ".mid"),
        File("wav", "Recording", Sheet.SCORE, ".wav"),
        *_texts(tune_alone=True),
        File("lead-sheet", "Lead sheet to print", Sheet.LEAD, ".pdf", "-lead-sheet"),
        File(
            "lead-sheet-musicxml", "Lead sheet to edit", Sheet.LEAD, ".musicxml",
            "-lead-sheet",
        ),
        File(
            "vocal-score", "Vocal score to print", Sheet.VOCAL, ".pdf", "-vocal-score"
        ),
        File(
            "congregation", "Tune and words for singers", Sheet.CONGREGATION, ".pdf",
            "-congregation",
        ),
        File("chart", "Chords and words to print", Sheet.CHART, ".pdf", "-chords"),
        File("chart-text", "Chords and words as text", Sheet.CHART, ".txt", "-chords"),
        File("guitar", "Guitar sheet to print", Sheet.GUITAR, ".pdf", "-guitar"),
        *_texts(tune_alone=False),
        File("reasons", "Every chord with its reason", None, ".txt", "-reasons"),
    )
}  # fmt: skip
"""The kinds of file by their names."""


class OfferedChoice(Struct, frozen=True, forbid_unknown_fields=True):
    """One row of a list: what is sent, and what the page calls it."""

    value: str
    title: str


class OfferedFile(Struct, frozen=True, forbid_unknown_fields=True):
    """A kind of file: what is sent, what the page calls it, how its name ends.

    Attributes:
        idle: Controls that change nothing on it.
    """

    value: str
    title: str
    ending: str
    idle: tuple[OfferedChoice, ...]


class OfferedSheet(Struct, frozen=True, forbid_unknown_fields=True):
    """A kind of worksheet.

    Attributes:
        value: What is sent.
        idle: Controls that change nothing on it.
        heard: Whether recordings go with it.
        filled: Whether it can be filled in on a computer.
    """

    value: str
    idle: tuple[str, ...]
    heard: bool
    filled: bool


class OfferedTune(Struct, frozen=True, forbid_unknown_fields=True):
    """A tune to look at, as it is typed."""

    title: str
    text: str


class OfferedShare(Struct, frozen=True, forbid_unknown_fields=True):
    """Where the page is on the home network.

    Attributes:
        address: Its address with the token.
        code: A code of it to scan, row by row, 1 for a dark module.
        warning: What sharing means.
    """

    address: str
    code: tuple[str, ...]
    warning: str


class UsualChoice(Struct, frozen=True, forbid_unknown_fields=True):
    """What new work begins with; "" where nobody has said so."""

    paper: str = ""
    labels: str = ""
    level: str = ""


class Offers(Struct, frozen=True, forbid_unknown_fields=True, rename="camel"):
    """All that can be had.

    Attributes:
        lists: The lists by the names of their controls.
        drills: The drills that are played.
        sheets: The kinds of worksheet.
        files: The kinds of file.
        drill_files: Those of drills.
        tunes: The tunes that come along.
        blank: The text of an empty page.
        bytes: Size of the largest file that is read.
        share: Where the page is on the home network; None if it is not shared.
        usual: What new work begins with, by the user's own settings.
    """

    lists: dict[str, tuple[OfferedChoice, ...]]
    drills: tuple[OfferedChoice, ...]
    sheets: tuple[OfferedSheet, ...]
    files: tuple[OfferedFile, ...]
    drill_files: tuple[OfferedFile, ...]
    tunes: tuple[OfferedTune, ...]
    blank: str
    bytes: int
    share: OfferedShare | None
    usual: UsualChoice


def offers(shared: str = "", usual: Mapping[str, str] = MappingProxyType({})) -> Offers:
    """Return all that the page can offer.

    Args:
        shared: Its address on the home network; "" if it has none.
        usual: Paper, labels and level of the user's own settings, by these names.
    """
    said = {name: usual.get(name, "") for name in UsualChoice.__struct_fields__}
    return Offers(
        lists={name: _rows(titles) for name, titles in _lists().items()},
        drills=_rows({drill.name: drill.title for drill in DRILLS}),
        sheets=tuple(map(_sheet, SheetKind)),
        files=tuple(
            OfferedFile(file.name, file.title, file.ending, _idle(file))
            for file in FILES.values()
        ),
        drill_files=tuple(
            OfferedFile(kind, title, FILES[kind].ending, _idle_of_drills(kind))
            for kind, title in _TITLES["drill-kind"].items()
        ),
        tunes=tunes_on_the_shelf(),
        blank=BLANK,
        bytes=LARGEST,
        share=OfferedShare(shared, scan_rows(shared), WARNING) if shared else None,
        usual=UsualChoice(**said),
    )


_SHELVES = (Path(__file__).with_name("tunes"), Path(__file__).parents[2] / "tunes")
"""Where the tunes are once harmonise is installed, and where it is being written."""
_TITLE = re.compile(r"^Title: *(.*)$", re.MULTILINE)


@cache
def tunes_on_the_shelf() -> tuple[OfferedTune, ...]:
    """Return the tunes that come along, by their titles."""
    folder = next((shelf for shelf in _SHELVES if shelf.is_dir()), None)
    texts = [path.read_text("utf-8") for path in folder.glob("*.txt")] if folder else []
    titled = ((_TITLE.search(text), text) for text in texts)
    return tuple(
        sorted(
            (OfferedTune(title[1], text) for title, text in titled if title),
            key=lambda tune: tune.title,
        )
    )


_CONTROLS = {
    "level": ("level", "level"),
    "harmonic_rhythm": ("harmonicRhythm", "how often chords change"),
    "texture": ("texture", "right hand"),
    "left_hand": ("leftHand", "left hand"),
    "player": ("player", "player"),
    "labels": ("labels", "names of the right hand’s shapes"),
    "fingering": ("fingering", "finger numbers"),
    "paper": ("paper", "paper"),
    "landscape": ("landscape", "the paper’s long side"),
    "large_print": ("large-print", "large print"),
}
"""Names of options: the control that sets each, and what it is in a sentence."""


def _idle(file: File) -> tuple[OfferedChoice, ...]:
    """Return the controls that change nothing on a file."""
    return tuple(
        OfferedChoice(*control)
        for name, control in _CONTROLS.items()
        if not reaches(name, file.sheet, file.ending)
    )


_SHEET_CONTROLS = {
    "labels": "worksheet-labels",
    "faults": "worksheet-faults",
    "seed": "seed",
    "step": "worksheet-step",
    "about": "worksheet-about",
    "questions": "worksheet-questions",
}
"""Names of options of worksheets, and the control that sets each."""
_NOT_FILLED = (SheetKind.FAULTS, SheetKind.KEYBOARDS)
"""Sheets on which there is no music to write."""


def _sheet(kind: SheetKind) -> OfferedSheet:
    reasons = sheet_reasons(kind)
    idle = tuple(
        control for name, control in _SHEET_CONTROLS.items() if reasons.get(name)
    )
    return OfferedSheet(kind.value, idle, kind.row.heard, kind not in _NOT_FILLED)


def _idle_of_drills(kind: str) -> tuple[OfferedChoice, ...]:
    """Return the controls that change nothing on a file of drills."""
    reasons = drill_reasons(FILES[kind].ending, Version.EXERCISE, set())
    return (OfferedChoice("drill-version", "copy"),) if reasons["copies"] else ()


def words_of(name: str) -> tuple[str, ...]:
    """Return the words of one of the lists, or of the files, in order."""
    return tuple(FILES if name == "files" else _lists()[name])


@cache
def _lists() -> dict[str, dict[str, str]]:
    """Return the titles of all lists, those of keys and singers among them."""
    singers = {group.name: group.singers for group in singer_table()}
    keys = [
        key
        for mode in Mode
        for flat in (False, True)
        for key in keys_of(mode, flat=flat)
    ]
    return {
        **_TITLES,
        "key": {"": "as it is written", **{str(key): printed(key) for key in keys}},
        "voices": {"": "nobody", **singers},
    }


def _rows(titles: dict[str, str]) -> tuple[OfferedChoice, ...]:
    return tuple(OfferedChoice(value, title) for value, title in titles.items())


@cache
def singer_table() -> tuple[Voices, ...]:
    """Return the groups of singers that come along."""
    return read_voices(None)
