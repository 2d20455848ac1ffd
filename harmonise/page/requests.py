"""What the page asks: JSON read into typed values, every field of it checked.

The classes are the description of the interface: its JSON schema is made of them, and
the sentence about a wrong field is made of that schema, so that what is checked, what
is described and what is told cannot differ. Nothing here knows music: keys and chords
are checked as texts and read later, by the readers that the command line uses too. No
text is ever used as a path.
"""

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Annotated, Any, ClassVar, TypeVar

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType, field

from harmonise.form.plan import MOST_VERSES, Gap, Introduction, LastVerse
from harmonise.notation.paper.blocks import Paper
from harmonise.page.offers import words_of
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Texture

LONGEST_WORD = 200
"""Most letters of a short text, such as a key or a chord."""
_TIME = re.compile(r"([0-9]{1,7})(?:/([1-9][0-9]{0,4}))?\Z")
_TIME_TOLD = {
    "type": "string",
    "pattern": "^[0-9]{1,7}(/[1-9][0-9]{0,4})?$",
    "description": 'a time in crotchets such as "7/2"',
}
_FINEST = 10080
"""Times are multiples of a crotchet's 10,080th part, as all writers have them."""
_LONGEST = 16
"""Crotchets of the longest note that is tapped."""
_BASE64 = {"pattern": "^([A-Za-z0-9+/]{4})*([A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$"}
_ONE_OF = {
    "description": 'an object with either "text" or "base64"',
    "oneOf": [{"required": ["text"]}, {"required": ["base64"]}],
}
_UNKNOWN = re.compile(
    r"Object contains unknown field `(.*)`(?: - at `\$(.*)`)?", re.DOTALL
)
_MISSING = re.compile(r"Object missing required field `(\w+)`")
_PATH = re.compile(r" - at `\$[^`]*`\Z")
_NAME = re.compile(r"\.(\w+)")
_KINDS = {"string": "a text", "boolean": "true or false"}

Short = Annotated[str, Meta(max_length=LONGEST_WORD)]
Content = Annotated[bytes, Meta(description="base64", extra_json_schema=_BASE64)]
Number = Annotated[int, Meta(ge=0, le=100_000)]
Speed = Annotated[float, Meta(ge=0.1, le=4.0)]
Bars = Annotated[
    str,
    Meta(pattern="^([0-9]{1,6}([-–][0-9]{1,6})?)?$", description='bars such as "5-8"'),
]
Key = Annotated[int, Meta(ge=0, le=127)]
Stretch = Annotated[tuple[Number, ...], Meta(min_length=2, max_length=2)]
"""From where to where, in letters as browsers count them."""
Sign = Annotated[str, Meta(pattern=r"^([-0|\n]|[0-9]{1,2}/(1|2|4|8|16|32))$")]


class MalformedError(Exception):
    """A request that is not of the described shape; its text is a whole sentence."""


class Word(str):
    """A word of one of the page's lists, whose rows are only known when it runs."""

    __slots__ = ()
    listed: ClassVar[str]
    """The name of the list."""


class Level(Word):
    """A level of chords, or "auto"; "" for the player's, or the first."""

    listed = "level"


class LeftHandName(Word):
    """A pattern of the left hand; "" leaves the choice."""

    listed = "leftHand"


class PlayerName(Word):
    """Whom the page is for; "" for nobody in particular."""

    listed = "player"


class SingersName(Word):
    """Who sings; "" for nobody."""

    listed = "voices"


class HandName(Word):
    """The hand that is heard; "" for both."""

    listed = "hand"


class FileName(Word):
    """A kind of file."""

    listed = "files"


class Asked(Struct, frozen=True, forbid_unknown_fields=True, rename="camel"):
    """A JSON object of the page; what is not described is refused."""


class PageAnswer(Struct, frozen=True, forbid_unknown_fields=True, rename="camel"):
    """A JSON object that the page is answered with; all its fields are always there."""


class Source(Asked, frozen=True):
    """A tune, as typed or as a file's content.

    Attributes:
        text: What was typed, if it was.
        name: The name of the file.
        base64: What the file holds, if it is one.
        tapped: Whether the text is as tapping left it, its last bar perhaps too short.
        part: Name of the part that has the tune; "" for the first one, or the highest.
    """

    text: str | UnsetType = UNSET
    name: Short = ""
    base64: Content | UnsetType = UNSET
    tapped: bool = False
    part: Short = ""

    def __post_init__(self) -> None:
        """Check that it is one of the two.

        Raises:
            ValueError: If it is neither or both.
        """
        if isinstance(self.text, str) == isinstance(self.base64, bytes):
            raise ValueError


class FormSettings(Asked, frozen=True):
    """What is played before, between and after the verses; 0 verses are the page's."""

    introduction: Introduction = Introduction.NONE
    verses: Annotated[int, Meta(ge=0, le=MOST_VERSES)] = 0
    gap: Gap = Gap.NONE
    last_verse: Annotated[tuple[LastVerse, ...], Meta(max_length=len(LastVerse))] = ()
    slow_ending: bool = False
    amen: bool = False
    major_amen: bool = False


class Settings(Asked, frozen=True):
    """How a tune is to be arranged; "" leaves the choice."""

    key: Short = ""
    transpose: Short = ""
    level: Level = field(default_factory=Level)
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    texture: Texture = Texture.AUTO
    numerals: bool = True
    fingering: bool = False
    labels: Labels = Labels.NONE
    left_hand: LeftHandName = field(default_factory=LeftHandName)
    player: PlayerName = field(default_factory=PlayerName)
    voices: SingersName = field(default_factory=SingersName)
    sections: Annotated[str, Meta(max_length=1000)] = ""
    strict: bool = False
    gb: bool = False
    form: FormSettings = FormSettings()


class Lock(Asked, frozen=True):
    """A chord that the user locked; times are crotchets from the start.

    Attributes:
        onset: Where it begins.
        end: Where it ends.
        chord: Its symbol, or its numeral in the key of the tune.
        moved: Fifths upwards that the tune had been moved when the symbol was chosen;
            the chord moves on with the tune from there.
    """

    onset: Fraction
    end: Fraction
    chord: Short
    moved: Annotated[int, Meta(ge=-20, le=20)] = 0

    def __post_init__(self) -> None:
        """Check that it lasts.

        Raises:
            ValueError: If it does not.
        """
        if self.onset >= self.end:
            sentence = "A lock has to end after it begins."
            raise ValueError(sentence)


Width = Annotated[int, Meta(ge=70, le=400)]
Known = Annotated[tuple[Short, ...], Meta(max_length=4000)]
Locks = Annotated[tuple[Lock, ...], Meta(max_length=4000)]


class PlayingSettings(Asked, frozen=True):
    """How a file that sounds is played; no bars are all of them."""

    speed: Speed = 1.0
    count_in: bool = False
    hand: HandName = field(default_factory=HandName)
    bars: Bars = ""
    times: Annotated[int, Meta(ge=1, le=20)] = 1
    pedal: bool = False


class PaperSettings(Asked, frozen=True):
    """The page of a file that is printed.

    Attributes:
        paper: Which sheet.
        landscape: Whether it lies on its long side.
        large_print: Whether staves and text are larger.
        keyboards: Whether keyboard diagrams of the chords follow a score.
        capo: Where the guitarist's capo sits; None for the easiest shapes.
    """

    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    keyboards: bool = False
    capo: Annotated[int, Meta(ge=0, le=5)] | None = None


class OffersRequest(Asked, frozen=True):
    """What can be had? There are no particulars."""


class ReadRequest(Asked, frozen=True):
    """A tune to read."""

    source: Annotated[Source, Meta(extra_json_schema=_ONE_OF)]


class TapRequest(Asked, frozen=True):
    """Something to put at the end of a typed tune, or at a caret in it.

    Attributes:
        text: The tune.
        put: A key of the piano, a rest (0), a hold (-), a bar line, the end of a line,
            or a time signature.
        length: How long a note, a rest or a hold lasts, in crotchets.
        taken: How much of the last beat of the text was tapped; 0 for all of it.
        at: From where to where a note stands in the text that is to give way, or
            twice where the caret stands, as browsers count letters; None to put
            something at the end.
    """

    text: Annotated[str, Meta(max_length=100_000)]
    put: Key | Sign
    length: Fraction = field(default_factory=lambda: Fraction(1))
    taken: Fraction = field(default_factory=Fraction)
    at: Stretch | None = None

    def __post_init__(self) -> None:
        """Check the times.

        Raises:
            ValueError: If they cannot be.
        """
        if not 0 < self.length <= _LONGEST or self.taken >= 1:
            sentence = "A note has to last, and less than a beat to be taken."
            raise ValueError(sentence)


class HearRequest(Asked, frozen=True):
    """A recording to write down.

    Attributes:
        base64: The sound, as a WAV file.
        tempo: Counted beats a minute of the click; None if there was none.
        time: Its time signature; None if nobody named one.
        down: Seconds of the recording at which the first beat of bar 1 was clicked.
        text: The tune that is there.
        bars: The bars of it that were sung again; "" for a whole tune.
    """

    base64: Content
    tempo: Annotated[int, Meta(ge=20, le=300)] | None = None
    time: Annotated[str, Meta(pattern=r"^[1-9][0-9]?/(1|2|4|8|16)$")] | None = "4/4"
    down: Annotated[float, Meta(ge=0, le=600)] = 0.0
    text: Annotated[str, Meta(max_length=100_000)] = ""
    bars: Bars = ""


class ArrangeRequest(ReadRequest, frozen=True):
    """A tune to arrange.

    Attributes:
        tune: Which tune of it, from 0.
        settings: How.
        locks: Locked chords.
    """

    tune: Number = 0
    settings: Settings = field(default_factory=Settings)
    locks: Locks = ()

    @property
    def arranging(self) -> "ArrangeRequest":
        """The arrangement that something is made of."""
        return ArrangeRequest(self.source, self.tune, self.settings, self.locks)


class DrawRequest(ArrangeRequest, frozen=True, kw_only=True):
    """A tune to arrange and to draw.

    Attributes:
        width: Width of a line of music, in millimetres of print.
        known: Keys of the lines that the page has already; they are not sent again.
    """

    width: Width = 200
    known: Known = ()


class CarryRequest(ReadRequest, frozen=True, kw_only=True):
    """Locked chords to carry over to a tune that was changed.

    Attributes:
        before: The tune as it was when they were locked.
        tune: Which tune of both, from 0.
        locks: The chords.
    """

    before: Annotated[Source, Meta(extra_json_schema=_ONE_OF)]
    tune: Number = 0
    locks: Locks = ()


class OpenRequest(Asked, frozen=True):
    """A piece of work to open, as its file holds it."""

    text: str


class FileRequest(ArrangeRequest, frozen=True, kw_only=True):
    """A file to make of a tune that is arranged."""

    kind: FileName
    playing: PlayingSettings = field(default_factory=PlayingSettings)
    page: PaperSettings = PaperSettings()


_Request = TypeVar("_Request", bound=Asked)


def parse_request(body: bytes, kind: type[_Request]) -> _Request:
    """Return the request that a body holds.

    Args:
        body: JSON.
        kind: What is asked for.

    Raises:
        MalformedError: If it is not JSON, or not of the described shape.
    """
    try:
        return msgspec.json.decode(body, type=kind, dec_hook=_read)
    except msgspec.ValidationError as error:
        raise MalformedError(_sentence(str(error), kind)) from None
    except (msgspec.DecodeError, RecursionError):
        raise MalformedError("The request is not JSON.") from None


def _read(kind: type, value: object) -> object:
    """Return a value of a type that JSON has no form for."""
    if issubclass(kind, Word):
        if value not in words_of(kind.listed):
            raise ValueError
        return kind(value)
    match = _TIME.match(value) if isinstance(value, str) else None
    part = int(match[2] or 1) if match else 0
    if not match or _FINEST % part:
        raise ValueError
    return Fraction(int(match[1]), part)


def described(kind: type) -> dict[str, object]:
    """Return the JSON schema of a type that JSON has no form for."""
    if issubclass(kind, Word):
        return {"type": "string", "enum": list(words_of(kind.listed))}
    return dict(_TIME_TOLD)


def _sentence(message: str, kind: type[Asked]) -> str:
    """Return what is wrong with a request as a whole sentence.

    Args:
        message: What the decoder says; a path such as $.locks[0].onset ends it.
        kind: What was asked for.
    """
    if match := _UNKNOWN.fullmatch(message):
        path = _NAME.findall(match[2] or "")
        holder = f'"{path[-1]}"' if path else "The request"
        name = match[1][:LONGEST_WORD]
        return f'{holder} has a field "{name}", which is not known.'
    what = _PATH.sub("", message)
    names = _NAME.findall(message.removeprefix(what))
    names += _MISSING.findall(what)
    if what.endswith("."):
        return what  # A check of ours says more than a schema can.
    if not names:
        return "The request has to be a JSON object."
    holder = f'"{names[-2]}"' if len(names) > 1 else "the request"
    return f'"{names[-1]}" in {holder} has to be {_wanted(kind, names)}.'


def _wanted(kind: type[Asked], names: Sequence[str]) -> str:
    """Return what a field has to be, from the schema of the request that holds it."""
    _, components = msgspec.json.schema_components(
        (kind,), schema_hook=described, ref_template="{name}"
    )
    node: dict[str, Any] = components[kind.__name__]
    for name in names:
        inner = node.get("items", node)
        node = components.get(inner.get("$ref", ""), inner)["properties"][name]
    # A kind of thing that the engine lists has its words in a schema of its own.
    words = components.get(node.get("$ref", ""), node).get("enum")
    return _told({**node, "enum": words} if words else node)


def _told(node: Mapping[str, Any]) -> str:
    if "enum" in node:
        words = ", ".join(f'"{word}"' for word in node["enum"])
        return f"one of {words}"
    if "description" in node:
        return str(node["description"])
    if "minimum" in node:
        whole = "whole " if node["type"] == "integer" else ""
        return f"a {whole}number from {node['minimum']} to {node['maximum']}"
    if "maxLength" in node:
        return f"a text of at most {node['maxLength']} letters"
    if "maxItems" in node:
        return f"a list of at most {node['maxItems']}"
    return _KINDS.get(str(node.get("type")), "a JSON object")
