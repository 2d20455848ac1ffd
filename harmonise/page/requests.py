"""JSON objects with every field checked: what is wrong is told in a sentence.

What the page asks: JSON read into plain values, every field of it checked.

Nothing here knows music: keys and chords are checked as texts and read later, by the
same readers that the command line uses, so that both give the same sentences. No text
is ever used as a path.
"""

import base64
import binascii
import json
import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.page.offers import DRILL_KINDS, VERSIONS, controls

LONGEST_WORD = 200
"""Most letters of a short text, such as a key or a chord."""
_MOST_NAMES = 40
_SPEEDS = (0.1, 4.0)
_TIME = re.compile(r"([0-9]{1,7})(?:/([1-9][0-9]{0,4}))?\Z")
_FINEST = 10080
"""Times are multiples of a crotchet's 10,080th part, as all writers have them."""
_BARS = re.compile(r"([0-9]{1,6})(?:[-–]([0-9]{1,6}))?\Z")


class MalformedError(Exception):
    """A request that is not of the described shape; its text is a whole sentence."""


class Fields:
    """The fields of a JSON object, each taken once; what is left over is refused."""

    def __init__(self, value: object, name: str, allowed: str) -> None:
        """Check that a value is an object with no strange field.

        Args:
            value: The value.
            name: What sentences call it.
            allowed: Names of its fields, with spaces between.

        Raises:
            MalformedError: If it is not.
        """
        if not isinstance(value, dict):
            raise MalformedError(f"{_capital(name)} has to be a JSON object.")
        strange = sorted(set(value) - set(allowed.split()))
        if strange:
            shown = strange[0][:LONGEST_WORD]
            sentence = f'{_capital(name)} has a field "{shown}", which is not known.'
            raise MalformedError(sentence)
        self._value: dict[str, object] = value
        self._name = name

    def __contains__(self, key: str) -> bool:
        return key in self._value

    def _fault(self, key: str, wanted: str) -> MalformedError:
        return MalformedError(f'"{key}" in {self._name} has to be {wanted}.')

    def raw(self, key: str) -> object:
        """Return a field that is a JSON object; {} where it is missing."""
        return self._value.get(key, {})

    def whole_text(self, key: str) -> str:
        """Return a text of any length; it must be there."""
        value = self._value.get(key)
        if not isinstance(value, str):
            raise self._fault(key, "a text")
        return value

    def text(self, key: str, usual: str | None = "") -> str:
        """Return a short text; with no usual one it must be there."""
        value = self._value.get(key, usual)
        if not isinstance(value, str) or len(value) > LONGEST_WORD:
            raise self._fault(key, f"a text of at most {LONGEST_WORD} letters")
        return value

    def choice(self, key: str, among: tuple[str, ...], usual: str | None) -> str:
        """Return one of several words."""
        value = self.text(key, usual)
        if value not in among:
            words = ", ".join(f'"{word}"' for word in among)
            raise self._fault(key, f"one of {words}")
        return value

    def flag(self, key: str, *, usual: bool = False) -> bool:
        """Return a truth value."""
        value = self._value.get(key, usual)
        if not isinstance(value, bool):
            raise self._fault(key, "true or false")
        return value

    def whole(self, key: str, most: int, usual: int = 0, least: int = 0) -> int:
        """Return a whole number."""
        value = self._value.get(key, usual)
        fits = isinstance(value, int) and not isinstance(value, bool)
        if not fits or not isinstance(value, int) or not least <= value <= most:
            raise self._fault(key, f"a whole number from {least} to {most}")
        return value

    def speed(self, key: str) -> Fraction:
        """Return a factor on the tempo."""
        value = self._value.get(key, 1.0)
        low, high = _SPEEDS
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not isinstance(value, int | float):
            raise self._fault(key, "a number")
        if not low <= value <= high:
            raise self._fault(key, f"a number from {low} to {high}")
        return Fraction(value).limit_denominator(1000)

    def many(self, key: str, most: int) -> list[object]:
        """Return a list."""
        value = self._value.get(key, [])
        if not isinstance(value, list) or len(value) > most:
            raise self._fault(key, f"a list of at most {most}")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of short texts."""
        found = self.many(key, _MOST_NAMES)
        if not all(isinstance(one, str) and len(one) <= LONGEST_WORD for one in found):
            raise self._fault(key, f"a list of texts of at most {LONGEST_WORD} letters")
        return tuple(str(one) for one in found)

    def time(self, key: str) -> Fraction:
        """Return crotchets from the start."""
        found = _TIME.match(self.text(key, None))
        part = int(found[2] or 1) if found else 0
        if not found or _FINEST % part:
            raise self._fault(key, 'a time in crotchets such as "7/2"')
        return Fraction(int(found[1]), part)

    def content(self, key: str) -> bytes:
        """Return what a text in base64 holds."""
        try:
            return base64.b64decode(self.whole_text(key), validate=True)
        except (binascii.Error, ValueError):
            raise self._fault(key, "base64") from None

    def bars(self, key: str) -> tuple[int, int] | None:
        """Return the numbers of a first and a last bar; None for an empty text."""
        value = self.text(key)
        found = _BARS.match(value)
        if found:
            return int(found[1]), int(found[2] or found[1])
        if value:
            raise self._fault(key, 'bars such as "5-8"')
        return None


def _capital(name: str) -> str:
    return f"{name[0].upper()}{name[1:]}"


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


class ArrangeRequest(NamedTuple):
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


class PlayingRequest(NamedTuple):
    """How a file that sounds is played; `bars` are the first and last, None for all."""

    speed: Fraction = Fraction(1)
    count_in: bool = False
    hand: str = ""
    bars: tuple[int, int] | None = None
    times: int = 1


class PaperRequest(NamedTuple):
    """The page of a file that is printed."""

    paper: str = "a4"
    landscape: bool = False
    large_print: bool = False


class FileRequest(NamedTuple):
    """A file to make."""

    tune: ArrangeRequest
    kind: str
    played: PlayingRequest
    printed: PaperRequest


class DrillRequest(NamedTuple):
    """Drills to make."""

    names: tuple[str, ...]
    keys: tuple[str, ...]
    kind: str
    version: str


class WorksheetRequest(NamedTuple):
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


def parse_asked(value: object) -> ArrangeRequest:
    """Return the tune that is to be arranged, and how."""
    return _asked(Fields(value, "the request", "source tune settings locks"))


def parse_file(value: object, kinds: tuple[str, ...]) -> FileRequest:
    """Return the file that is to be made.

    Args:
        value: The request.
        kinds: Kinds of file that can be had.
    """
    fields = Fields(
        value, "the request", "source tune settings locks kind playing page"
    )
    return FileRequest(
        _asked(fields),
        fields.choice("kind", kinds, None),
        _played(fields.raw("playing")),
        _printed(fields.raw("page")),
    )


def parse_drill(value: object) -> DrillRequest:
    """Return the drills that are to be made."""
    fields = Fields(value, "the request", "names keys kind version")
    names = fields.texts("names")
    if not names:
        raise MalformedError('"names" in the request has to name at least one drill.')
    return DrillRequest(
        names,
        fields.texts("keys"),
        fields.choice("kind", DRILL_KINDS, "pdf"),
        fields.choice("version", VERSIONS, "exercise"),
    )


def parse_worksheet(value: object, kinds: tuple[str, ...]) -> WorksheetRequest:
    """Return the worksheet that is to be made.

    Args:
        value: The request.
        kinds: Kinds of worksheet that can be had.
    """
    fields = Fields(value, "the request", "source tune worksheet copy seed")
    return WorksheetRequest(
        _source(fields),
        fields.whole("tune", _MOST_TUNES),
        fields.choice("worksheet", kinds, None),
        fields.choice("copy", _COPIES, "sheet") == "answers",
        fields.whole("seed", _MOST_SEED),
    )


def _asked(fields: Fields) -> ArrangeRequest:
    return ArrangeRequest(
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


def _played(value: object) -> PlayingRequest:
    fields = Fields(value, '"playing"', "speed countIn hand bars times")
    return PlayingRequest(
        fields.speed("speed"),
        fields.flag("countIn"),
        fields.choice("hand", _HANDS, ""),
        fields.bars("bars"),
        fields.whole("times", _MOST_TIMES, 1, 1),
    )


def _printed(value: object) -> PaperRequest:
    fields = Fields(value, '"page"', "paper landscape largePrint")
    return PaperRequest(
        fields.choice("paper", _PAPERS, "a4"),
        fields.flag("landscape"),
        fields.flag("largePrint"),
    )
