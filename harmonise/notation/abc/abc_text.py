"""The text of a tune book: its tunes and their lines, and how a fault in it is told.

Comments are cut off, continued fields (`+:`) are joined, `%%directive` lines become the
`I:` fields that they stand for. A tune begins at its `X:` field and ends at an empty
line; what stands after that is free text. Source: ABC 2.1, sections 2.1, 2.2, 3.3.

A fault reads "Bar 3, beat 2: what. What to do. (line 5: "^/c")": the place as a player
counts it, the fault, the remedy, then where the eye finds it in the text. Faults wait
for the end of the tune, because only then is it known whether the first bar is a
pickup; the first of them is raised.
"""

import re
from enum import Enum
from typing import ClassVar, NamedTuple

from harmonise.errors import NotationError, Place, RemarkList, seen_at, shorten

_COMMENT = r"(?<!\\)%.*"
_QUOTED = re.compile(r'"([^"]+)"')
_VERSION = r"%abc-(\d+)\.(\d+)"
_MAILED = re.compile(r"(?<=[\s|\]\w,'):])=(20|0D)?$")
MUSIC = r"[^A-Za-z]*[A-Ga-g][^|]*\|"
"""What a line of music looks like, of a text that may be anything else."""


class AbcCode(Enum):
    """Short names of the remarks on ABC."""

    CHORD_NOTES = "A01"
    VOICES = "A02"
    FREE_METRE = "A03"
    LINE_ENDS = "A04"
    BAR_LENGTH = "A05"
    TIE = "A06"
    OCTAVES = "A07"
    SLUR = "A08"
    MODE = "A09"
    KEY_GUESSED = "A10"
    SYMBOL = "A11"
    SYMBOLS_SPREAD = "A12"
    ORNAMENT = "A13"
    WORDS = "A14"
    REPEAT = "A15"
    TEMPO = "A16"
    PARTS = "A17"
    FIELD = "A18"
    EMPTY_LINE = "A19"
    BROKEN = "A20"
    RESERVED = "A21"
    TRANSPOSED = "A22"
    BAR_LINE = "A23"
    LETTER = "A24"
    STRAY = "A25"
    MAIL = "A26"
    OVERLAY = "A27"


def _shown(what: str) -> str:
    return _QUOTED.sub(lambda word: f'"{shorten(word[1])}"', what)


class UnreadableError(NotationError):
    """Something in the text that is not ABC as we know it; it has no place yet."""

    def __init__(self, what: str, remedy: str = "") -> None:
        """Keep both parts; an endless word is cut."""
        super().__init__(_shown(what), None, remedy)

    def placed(self, line: int, word: str, place: Place | None = None) -> NotationError:
        """Return the fault with the place and the word that show it."""
        # A fault in a header has no bar, so the sentence begins with it.
        what = self.what if place else f"{self.what[0].upper()}{self.what[1:]}"
        seen = seen_at(line, word)
        return NotationError(what, place, f"{self.remedy} {seen}".strip())


class AbcRemarks(RemarkList):
    """What a reader of ABC tells; those that say the same are told as one."""

    likewise = "Likewise in"
    by_words = True
    # These mean a bar, not a beat.
    of_a_bar: ClassVar[frozenset[Enum]] = frozenset(
        {
            AbcCode.BAR_LENGTH,
            AbcCode.LINE_ENDS,
            AbcCode.MODE,
            AbcCode.KEY_GUESSED,
            AbcCode.TEMPO,
            AbcCode.OVERLAY,
        }
    )


class AbcLine(NamedTuple):
    """A line of a book that means something.

    Attributes:
        number: Its number in the book, from 1.
        text: Its text without comment and without blanks at the end.
        directive: Whether it was a `%%directive`, which no `+:` goes on with.
        mailed: Whether it had marks of electronic mail at its end, cut off here.
    """

    number: int
    text: str
    directive: bool = False
    mailed: bool = False

    @property
    def letter(self) -> str:
        """The letter of its field; "" if it is no field.

        Notes may be followed by a repeat sign, so `d:|` and `G::` are music.
        """
        text = self.text
        # Fields are one letter and a colon at the beginning of a line (3).
        is_field = text[1:2] == ":" and text[2:3] not in ("|", ":")
        return text[0] if is_field and text[0].isascii() and text[0].isalpha() else ""

    @property
    def value(self) -> str:
        """What a field says."""
        return self.text[2:].strip()


class AbcText(NamedTuple):
    """One tune of a book, not read yet.

    Attributes:
        packed: Its lines in one text, for thick books hold many: number, "%" for a
            directive, "=" for marks of mail, and the text of each.
        defaults: Fields of the file header, which come before its own.
        strict: Whether the book calls itself ABC 2.1 or later.
        unread: Number of the first line of music that an empty line cuts off; else 0.
    """

    packed: str
    defaults: tuple[AbcLine, ...] = ()
    strict: bool = False
    unread: int = 0

    @property
    def lines(self) -> tuple[AbcLine, ...]:
        """Its lines; the first is its `X:` field."""
        parts = (line.split(" ", 1) for line in self.packed.split("\n"))
        return tuple(
            AbcLine(int(head.rstrip("%=")), text, "%" in head, "=" in head)
            for head, text in parts
        )

    @property
    def title(self) -> str:
        """Its first title as typed, else its number; for lists of a book's tunes."""
        # A tune without a title goes by its number.
        for letter in "TX":
            for line in self.lines:
                if line.letter == letter and line.value:
                    return line.value
        return ""


def _packed(line: AbcLine) -> str:
    marks = "%" * line.directive + "=" * line.mailed
    return f"{line.number}{marks} {line.text}"


class _Splitter:
    """What is known while the lines go by."""

    def __init__(self) -> None:
        self.defaults: list[AbcLine] = []
        # Lines as values take ten times the room of the text.
        self.packed: list[str] = []
        self.lines: list[AbcLine] = []
        self.unread: list[int] = []
        self.header_open = True
        self.tune_open = False
        self.has_key = False

    def end_tune(self) -> None:
        """Pack the lines of the tune under way, if there is one."""
        if self.lines:
            self.packed.append("\n".join(map(_packed, self.lines)))
        self.lines = []

    def empty(self) -> None:
        """Take an empty line; before its `K:` it does not end a tune."""
        if self.unread:
            self.tune_open = self.tune_open and not self.has_key
        # The file header ends at the first empty line (2.2.2).
        elif self.defaults:
            self.header_open = False

    def take(self, line: AbcLine) -> None:
        """Take a line that is neither empty nor only a comment."""
        letter = line.letter
        if letter == "X":
            self.end_tune()
            self.lines.append(line)
            self.unread.append(0)
            self.tune_open, self.has_key = True, False
        elif not self.unread:
            # What stands between the file header and the first tune is free text
            # (2.2.3).
            if self.header_open and (letter or line.text[:2] == "+:"):
                _append(self.defaults, line)
        elif self.tune_open:
            self.has_key = self.has_key or letter == "K"
            _append(self.lines, line)
        # Many old files break a tune by an empty line; what is lost by it is told.
        elif not letter and not self.unread[-1] and re.match(MUSIC, line.text):
            self.unread[-1] = line.number


def _without_mail(line: AbcLine) -> AbcLine:
    """Return a line of music without the marks that old mail put into texts.

    "=3D" is "=". At the end of a line "=" goes on with the next one, "=20" is a blank
    and "=0D" the end of the line (RFC 2045, section 6.7).
    """
    if line.letter or "=" not in line.text:
        return line
    text = line.text.replace("=3D", "=")
    found = _MAILED.search(text)
    if found is not None:
        kept = text[: found.start()].rstrip()
        text = kept if found[1] else f"{kept}\\"
    return line if text == line.text else line._replace(text=text, mailed=True)


def _append(lines: list[AbcLine], line: AbcLine) -> None:
    """Add a line, or join it to the field that it goes on with."""
    at = len(lines) - 1
    goes_on = line.text[:2] == "+:"
    # A %% line may stand between a field and what goes on with it (3.3).
    while goes_on and at >= 0 and lines[at].directive:
        at -= 1
    if goes_on and at >= 0 and lines[at].letter:
        text = f"{lines[at].text} {line.text[2:].strip()}"
        lines[at] = lines[at]._replace(text=text)
    else:
        lines.append(line)


def split_abc(text: str) -> tuple[AbcText, ...]:
    r"""Return the tunes of a book in order, not read yet; () if it has no `X:` field.

    >>> [tune.title for tune in split_abc("X:1\nT:One\nK:C\nC|\n\nX:2\nK:C\nD|\n")]
    ['One', '2']
    """
    splitter = _Splitter()
    # The first line may claim 2.1 or later (2.1, 12.3).
    claimed = re.match(_VERSION, text.removeprefix("\ufeff"))
    strict = claimed is not None and (int(claimed[1]), int(claimed[2])) >= (2, 1)
    typeset = False
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for number, raw in enumerate(text.split("\n"), 1):
        # Text between %%begintext and %%endtext is for printing alone.
        if typeset or raw.startswith("%%begintext"):
            typeset = not raw.startswith("%%endtext")
        elif raw.startswith("%%"):
            splitter.take(AbcLine(number, f"I:{raw[2:].strip()}", directive=True))
        elif not raw.strip():
            splitter.empty()
        else:
            # A backslash before % keeps it as a letter (8.2); all else after % is a
            # comment.
            plain = re.sub(_COMMENT, "", raw).rstrip() if "%" in raw else raw.rstrip()
            if plain:
                splitter.take(_without_mail(AbcLine(number, plain)))
    splitter.end_tune()
    defaults = tuple(splitter.defaults)
    pairs = zip(splitter.packed, splitter.unread, strict=True)
    return tuple(AbcText(packed, defaults, strict, unread) for packed, unread in pairs)
