"""A tune book into its tunes, a tune into its lines.

Comments are cut off, continued fields (`+:`) are joined, `%%directive` lines become the
`I:` fields that they stand for. A tune begins at its `X:` field and ends at an empty
line; what stands after that is free text. Source: ABC 2.1, sections 2.1, 2.2, 3.3.
"""

import re
from typing import NamedTuple

_COMMENT = r"(?<!\\)%.*"
_VERSION = r"%abc-(\d+)\.(\d+)"
_MUSIC = r"[^A-Za-z]*[A-Ga-g][^|]*\|"
# Patterns are compiled where they are first used: importing must be quick.


class Line(NamedTuple):
    """A line of a book that means something.

    Attributes:
        number: Its number in the book, from 1.
        text: Its text without comment and without blanks at the end.
        directive: Whether it was a `%%directive`, which no `+:` goes on with.
    """

    number: int
    text: str
    directive: bool = False

    @property
    def letter(self) -> str:
        """The letter of its field; "" if it is no field.

        Notes may be followed by a repeat sign, so `d:|` and `G::` are music.
        """
        text = self.text
        is_field = text[1:2] == ":" and text[2:3] not in ("|", ":")
        return text[0] if is_field and text[0].isascii() and text[0].isalpha() else ""

    @property
    def value(self) -> str:
        """What a field says."""
        return self.text[2:].strip()


class AbcText(NamedTuple):
    """One tune of a book, not read yet.

    Attributes:
        lines: Its lines; the first is its `X:` field.
        defaults: Fields of the file header, which come before its own.
        strict: Whether the book calls itself ABC 2.1 or later.
        unread: Number of the first line of music that an empty line cuts off; else 0.
    """

    lines: tuple[Line, ...]
    defaults: tuple[Line, ...] = ()
    strict: bool = False
    unread: int = 0

    @property
    def title(self) -> str:
        """Its first title as typed, else its number; for lists of a book's tunes."""
        for letter in "TX":
            for line in self.lines:
                if line.letter == letter and line.value:
                    return line.value
        return ""


class _Splitter:
    """What is known while the lines go by."""

    def __init__(self) -> None:
        self.defaults: list[Line] = []
        self.tunes: list[list[Line]] = []
        self.unread: list[int] = []
        self.header_open = True
        self.tune_open = False
        self.has_key = False

    def empty(self) -> None:
        """Take an empty line; before its `K:` it does not end a tune."""
        if self.tunes:
            self.tune_open = self.tune_open and not self.has_key
        elif self.defaults:
            self.header_open = False

    def take(self, line: Line) -> None:
        """Take a line that is neither empty nor only a comment."""
        letter = line.letter
        if letter == "X":
            self.tunes.append([line])
            self.unread.append(0)
            self.tune_open, self.has_key = True, False
        elif not self.tunes:
            if self.header_open and (letter or line.text[:2] == "+:"):
                _append(self.defaults, line)
        elif self.tune_open:
            self.has_key = self.has_key or letter == "K"
            _append(self.tunes[-1], line)
        elif not letter and not self.unread[-1] and re.match(_MUSIC, line.text):
            self.unread[-1] = line.number


def _append(lines: list[Line], line: Line) -> None:
    """Add a line, or join it to the field that it goes on with."""
    at = len(lines) - 1
    while at >= 0 and lines[at].directive:
        at -= 1
    if line.text[:2] == "+:" and at >= 0 and lines[at].letter:
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
    strict = _is_strict(text)
    typeset = False
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for number, raw in enumerate(text.split("\n"), 1):
        if typeset or raw.startswith("%%begintext"):
            typeset = not raw.startswith("%%endtext")
        elif raw.startswith("%%"):
            splitter.take(Line(number, f"I:{raw[2:].strip()}", directive=True))
        elif not raw.strip():
            splitter.empty()
        else:
            plain = re.sub(_COMMENT, "", raw).rstrip() if "%" in raw else raw.rstrip()
            if plain:
                splitter.take(Line(number, plain))
    defaults = tuple(splitter.defaults)
    pairs = zip(splitter.tunes, splitter.unread, strict=True)
    return tuple(
        AbcText(tuple(lines), defaults, strict, unread) for lines, unread in pairs
    )


def _is_strict(text: str) -> bool:
    """Whether the first line claims ABC 2.1 or later (sections 2.1 and 12.3)."""
    found = re.match(_VERSION, text.removeprefix("\ufeff"))
    return found is not None and (int(found[1]), int(found[2])) >= (2, 1)
