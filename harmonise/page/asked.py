"""What the page asks: JSON read into plain values, every field of it checked.

Nothing here knows music: keys and chords are checked as texts and read later, by the
same readers that the command line uses, so that both give the same sentences. No text
is ever used as a path.
"""

import json
from fractions import Fraction
from typing import NamedTuple

from harmonise.page.fields import Fields, MalformedError
from harmonise.page.offers import DRILL_KINDS, VERSIONS, controls

_MOST_LOCKS = 4000
_COPIES = ("sheet", "answers")
_PAPERS = ("a4", "letter")
_HANDS = ("", "right", "left")
_MOST_TIMES, _MOST_TUNES, _MOST_SEED = 20, 100_000, 9999


class Lock(NamedTuple):
    """A chord that the user locked; times are crotchets from the start."""

    onset: Fraction
    end: Fraction
    chord: str


class Settings(NamedTuple):
    """How a tune is to be arranged; "" leaves the choice."""

    key: str = ""
    transpose: str = ""
    level: str = "1"
    harmonic_rhythm: str = "auto"
    texture: str = "auto"
    numerals: bool = True
    fingering: bool = False
    labels: str = "none"
    left_hand: str = ""
    player: str = ""
    voices: str = ""


class Asked(NamedTuple):
    """A tune to arrange.

    Attributes:
        data: The tune, as typed or as a file's content.
        number: Which tune of it, from 0.
        settings: How.
        locks: Locked chords.
    """

    data: bytes
    number: int = 0
    settings: Settings = Settings()
    locks: tuple[Lock, ...] = ()


class Played(NamedTuple):
    """How a file that sounds is played; `bars` are the first and last, None for all."""

    speed: Fraction = Fraction(1)
    count_in: bool = False
    hand: str = ""
    bars: tuple[int, int] | None = None
    times: int = 1


class Printed(NamedTuple):
    """The page of a file that is printed."""

    paper: str = "a4"
    landscape: bool = False
    large_print: bool = False


class FileAsked(NamedTuple):
    """A file to make."""

    tune: Asked
    kind: str
    played: Played
    printed: Printed


class DrillAsked(NamedTuple):
    """Drills to make."""

    names: tuple[str, ...]
    keys: tuple[str, ...]
    kind: str
    version: str


class WorksheetAsked(NamedTuple):
    """A worksheet to make."""

    data: bytes
    number: int
    worksheet: str
    answers: bool
    seed: int


def parse_json(body: bytes) -> object:
    """Return what a request's body says.

    Raises:
        MalformedError: If it is not JSON.
    """
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        raise MalformedError("The request is not JSON.") from None


def parse_nothing(value: object) -> None:
    """Check a request that asks for no particulars."""
    Fields(value, "the request", "")


def parse_read(value: object) -> bytes:
    """Return the tune that is to be read."""
    return _source(Fields(value, "the request", "source"))


def parse_asked(value: object) -> Asked:
    """Return the tune that is to be arranged, and how."""
    return _asked(Fields(value, "the request", "source tune settings locks"))


def parse_file(value: object, kinds: tuple[str, ...]) -> FileAsked:
    """Return the file that is to be made.

    Args:
        value: The request.
        kinds: Kinds of file that can be had.
    """
    fields = Fields(
        value, "the request", "source tune settings locks kind playing page"
    )
    return FileAsked(
        _asked(fields),
        fields.choice("kind", kinds, None),
        _played(fields.raw("playing")),
        _printed(fields.raw("page")),
    )


def parse_drill(value: object) -> DrillAsked:
    """Return the drills that are to be made."""
    fields = Fields(value, "the request", "names keys kind version")
    names = fields.texts("names")
    if not names:
        raise MalformedError('"names" in the request has to name at least one drill.')
    return DrillAsked(
        names,
        fields.texts("keys"),
        fields.choice("kind", DRILL_KINDS, "pdf"),
        fields.choice("version", VERSIONS, "exercise"),
    )


def parse_worksheet(value: object, kinds: tuple[str, ...]) -> WorksheetAsked:
    """Return the worksheet that is to be made.

    Args:
        value: The request.
        kinds: Kinds of worksheet that can be had.
    """
    fields = Fields(value, "the request", "source tune worksheet copy seed")
    return WorksheetAsked(
        _source(fields),
        fields.whole("tune", _MOST_TUNES),
        fields.choice("worksheet", kinds, None),
        fields.choice("copy", _COPIES, "sheet") == "answers",
        fields.whole("seed", _MOST_SEED),
    )


def _asked(fields: Fields) -> Asked:
    return Asked(
        _source(fields),
        fields.whole("tune", _MOST_TUNES),
        _settings(fields.raw("settings")),
        tuple(map(_lock, fields.many("locks", _MOST_LOCKS))),
    )


def _source(fields: Fields) -> bytes:
    source = Fields(fields.raw("source"), '"source"', "text name base64")
    if ("text" in source) == ("base64" in source):
        raise MalformedError('"source" has to have either "text" or "base64".')
    if "text" in source:
        return source.whole_text("text").encode("utf-8", "replace")
    source.text("name")
    return source.content("base64")


def _settings(value: object) -> Settings:
    known = controls()
    names = " ".join(("key transpose numerals fingering", *known))
    fields = Fields(value, '"settings"', names)

    def chosen(name: str) -> str:
        values = tuple(choice.value for choice in known[name].choices)
        return fields.choice(name, values, known[name].usual)

    return Settings(
        fields.text("key"),
        fields.text("transpose"),
        chosen("level"),
        chosen("harmonicRhythm"),
        chosen("texture"),
        fields.flag("numerals", usual=True),
        fields.flag("fingering"),
        chosen("labels"),
        chosen("leftHand"),
        chosen("player"),
        chosen("voices"),
    )


def _lock(value: object) -> Lock:
    fields = Fields(value, "a lock", "onset end chord")
    lock = Lock(fields.time("onset"), fields.time("end"), fields.text("chord", None))
    if lock.onset >= lock.end:
        raise MalformedError("A lock has to end after it begins.")
    return lock


def _played(value: object) -> Played:
    fields = Fields(value, '"playing"', "speed countIn hand bars times")
    return Played(
        fields.speed("speed"),
        fields.flag("countIn"),
        fields.choice("hand", _HANDS, ""),
        fields.bars("bars"),
        fields.whole("times", _MOST_TIMES, 1, 1),
    )


def _printed(value: object) -> Printed:
    fields = Fields(value, '"page"', "paper landscape largePrint")
    return Printed(
        fields.choice("paper", _PAPERS, "a4"),
        fields.flag("landscape"),
        fields.flag("largePrint"),
    )
