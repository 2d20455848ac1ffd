"""A tune book into its tunes, a tune into its lines.

Comments are cut off, continued fields (`+:`) are joined, `%%directive` lines become the
`I:` fields that they stand for. A tune begins at its `X:` field and ends at an empty
line; what stands after that is free text. Source: ABC 2.1, sections 2.1, 2.2, 3.3.

The fields of an ABC tune: what its header says, and how `M:` and `Q:` are read.

Source: ABC 2.1, sections 3.1, 4.16, 6.1.1, 10.1, 12.1.
"""

import re
from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.abc.abc_text import (
    AbcCode,
    AbcFault,
    AbcRemarks,
    UnreadableError,
)
from harmonise.notation.abc.abc_words import parse_string
from harmonise.notation.abc.key_fields import KeyField, parse_key_field
from harmonise.notation.abc.lengths import default_unit, parse_unit
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tempo

_COMMENT = r"(?<!\\)%.*"
_VERSION = r"%abc-(\d+)\.(\d+)"
_MUSIC = r"[^A-Za-z]*[A-Ga-g][^|]*\|"
# Patterns are compiled where they are first used: importing must be quick.


class AbcLine(NamedTuple):
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

    lines: tuple[AbcLine, ...]
    defaults: tuple[AbcLine, ...] = ()
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
        self.defaults: list[AbcLine] = []
        self.tunes: list[list[AbcLine]] = []
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

    def take(self, line: AbcLine) -> None:
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


def _append(lines: list[AbcLine], line: AbcLine) -> None:
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
            splitter.take(AbcLine(number, f"I:{raw[2:].strip()}", directive=True))
        elif not raw.strip():
            splitter.empty()
        else:
            plain = re.sub(_COMMENT, "", raw).rstrip() if "%" in raw else raw.rstrip()
            if plain:
                splitter.take(AbcLine(number, plain))
    defaults = tuple(splitter.defaults)
    pairs = zip(splitter.tunes, splitter.unread, strict=True)
    return tuple(
        AbcText(tuple(lines), defaults, strict, unread) for lines, unread in pairs
    )


def _is_strict(text: str) -> bool:
    """Whether the first line claims ABC 2.1 or later (sections 2.1 and 12.3)."""
    found = re.match(_VERSION, text.removeprefix("\ufeff"))
    return found is not None and (int(found[1]), int(found[2])) >= (2, 1)


_METRE = r"\(?(\d{1,2}(?:\s*\+\s*\d{1,2})*)\)?\s*/\s*(\d{1,3})"
_TEMPO = r"((?:\d{1,3}/\d{1,3}\s*)+)=\s*(\d{1,3}(?:\.\d{1,3})?)"
_BARE_TEMPO = r"(?:[A-G](\d{0,2})\s*=\s*)?(\d{1,3})"
_QUOTED = r'"([^"]*)"'
_USER = r"([H-Wh-w~])\s*=\s*(.*)"
_LARGEST_METRE = 64
_ORIGIN = "COSB"
"""Fields of which the origin is made: composer, place, source, book."""

DEFAULT_SYMBOLS = {
    "~": "roll",
    "H": "fermata",
    "L": "accent",
    "M": "lowermordent",
    "O": "coda",
    "P": "uppermordent",
    "S": "segno",
    "T": "trill",
    "u": "upbow",
    "v": "downbow",
}
"""Section 4.16: what the letters mean unless a `U:` field says otherwise."""


class Header:
    """What stands above the music.

    Attributes:
        title: First title.
        origin: Composer, place, source and book, joined.
        time: Metre; None where it is free.
        unit: Length of a bare letter, in crotchets.
        tempos: The `Q:` field as written, if there is one.
        key: What the `K:` field says.
        symbols: Names of the decorations that letters stand for.
        order: Order of the parts, as written.
        dollar: Whether `$` ends a line of the score.
        mark: Whether `!` ends a line of the score, as old books have it.
        ends: Whether the end of a line of text ends a line of the score.
        lines_told: Whether the book says itself what ends a line of the score.
        spread: How accidentals hold.
        voices: What `V:` fields say, by voice.
        strict: Whether the tune calls itself ABC 2.1 or later.
    """

    def __init__(self, *, strict: bool) -> None:
        """Begin with the defaults of the standard."""
        self.title = ""
        self.origin = ""
        self.time: TimeSignature | None = None
        self.unit = Fraction(1, 2)
        self.tempos: list[AbcLine] = []
        self.key = KeyField({})
        self.symbols = dict(DEFAULT_SYMBOLS)
        self.order = ""
        self.dollar, self.mark, self.ends = True, False, True
        self.lines_told = False
        self.spread = "pitch"
        self.voices: dict[str, str] = {}
        self.strict = strict


def parse_metre(text: str) -> TimeSignature | None:
    """Return the time signature of an `M:` field; None for free metre.

    Raises:
        UnreadableError: If it is no metre of the standard.

    >>> str(parse_metre("C|")), str(parse_metre("(2+3+2)/8")), parse_metre("none")
    ('2/2', '2+3+2/8', None)
    """
    if text in ("C", "C|"):
        return TimeSignature(4, 4) if text == "C" else TimeSignature(2, 2)
    if text.lower() in ("none", ""):
        return None
    found = re.fullmatch(_METRE, text)
    groups = tuple(map(int, found.group(1).split("+"))) if found else ()
    lower = int(found.group(2)) if found else 0
    is_power = 0 < lower <= _LARGEST_METRE and lower & (lower - 1) == 0
    if not is_power or not 0 < sum(groups) <= _LARGEST_METRE or 0 in groups:
        raise UnreadableError(
            f'M: "{text}" is no metre.', "Write one such as M:3/4, M:C or M:none."
        )
    return TimeSignature(sum(groups), lower, groups if len(groups) > 1 else ())


def parse_tempo(text: str, onset: Fraction, unit: Fraction) -> Tempo | None:
    """Return the tempo of a `Q:` field; None if it gives no number.

    Args:
        text: Such as `"Allegro" 1/4=120`; the old `120` counts units a minute.
        onset: Crotchets from the start.
        unit: Length of a bare letter, in crotchets.

    >>> str(parse_tempo("1/4 3/8=40", Fraction(0), Fraction(1, 2)).beat)
    '5/2'
    """
    words = parse_string(" ".join(re.findall(_QUOTED, text)))
    plain = re.sub(_QUOTED, " ", text).strip()
    beats, number = Fraction(0), "0"
    found = re.fullmatch(_TEMPO, plain)
    bare = re.fullmatch(_BARE_TEMPO, plain)
    if found:
        pairs = [pair.split("/") for pair in found.group(1).split()]
        if all(int(lower) for _, lower in pairs):
            beats = sum((Fraction(int(u), int(d)) * 4 for u, d in pairs), beats)
        number = found.group(2)
    elif bare:
        beats, number = unit * int(bare.group(1) or 1), bare.group(2)
    per_minute = Fraction(number)
    return Tempo(onset, per_minute, beats, words) if beats and per_minute else None


def parse_header(
    source: AbcText, remarks: AbcRemarks
) -> tuple[Header, tuple[AbcLine, ...]]:
    """Return the header of a tune and the lines of its music.

    Args:
        source: The tune.
        remarks: Told what is left out.

    Raises:
        NotationError: If a field cannot be read, with its line.
    """
    header = Header(strict=source.strict)
    texts: dict[str, list[str]] = {}
    lines = (*source.defaults, *source.lines)
    unit: Fraction | None = None
    for count, line in enumerate(lines, 1):
        try:
            if line.letter == "L":
                unit = parse_unit(line.value)
            _take(header, line, texts, remarks)
        except UnreadableError as error:
            fault = AbcFault(error.what, error.remedy, line.number, line.text)
            raise fault.error(None) from None
        if line.letter == "K" and count > len(source.defaults):
            header.unit = unit or default_unit(header.time)
            header.title = _text(texts.get("T", [])[:1])
            header.origin = _text(t for k in _ORIGIN for t in texts.get(k, ()))
            return header, lines[count:]
    raise AbcFault(
        "this tune has no K: field.",
        "Write the key, such as K:G, as the last field of its header.",
        source.lines[0].number,
        source.lines[0].text,
    ).error(None)


def _text(parts: Iterable[str]) -> str:
    """Join text strings by semicolons, each one once."""
    found = (parse_string(part) for part in parts)
    return "; ".join(dict.fromkeys(part for part in found if part))


def _take(
    header: Header, line: AbcLine, texts: dict[str, list[str]], remarks: AbcRemarks
) -> None:
    """Take one line of a header."""
    letter = line.text[0] if line.text[1:2] == ":" else ""
    if not letter:
        # What follows H: without a letter went on with it in old books (10.1).
        if "H" not in texts:
            raise UnreadableError(
                f'"{line.text[:30]}" is no field, and the K: field has not come yet.',
                "Music begins after the K: field.",
            )
    elif letter in _SETTERS:
        _SETTERS[letter](header, line)
    elif letter in "IUmWs":
        take_instruction(header, letter, line.value, remarks)
    else:
        texts.setdefault(letter, []).append(line.value)


def _set_metre(header: Header, line: AbcLine) -> None:
    header.time = parse_metre(line.value)


def _set_key(header: Header, line: AbcLine) -> None:
    header.key = parse_key_field(line.value)


def _set_tempo(header: Header, line: AbcLine) -> None:
    header.tempos = [line]


def _set_order(header: Header, line: AbcLine) -> None:
    header.order = line.value


def _set_voice(header: Header, line: AbcLine) -> None:
    name, said = split_voice(line.value)
    header.voices[name] = said


_SETTERS: dict[str, Callable[[Header, AbcLine], None]] = {
    "K": _set_key,
    "M": _set_metre,
    "P": _set_order,
    "Q": _set_tempo,
    "V": _set_voice,
}


def split_voice(text: str) -> tuple[str, str]:
    """Return the name of a voice and what its `V:` field says of it."""
    name, _, rest = text.strip().partition(" ")
    return name, rest


def take_instruction(
    header: Header, letter: str, value: str, remarks: AbcRemarks
) -> None:
    """Take a field that may stand in the header as in the music: I, U, m, W, s."""
    if letter == "U":
        _define(header, value)
    elif letter == "I":
        _instruct(header, value)
    elif letter in _LEFT_OUT and value:
        remarks.add(AbcCode.FIELD, _LEFT_OUT[letter])


_LEFT_OUT = {
    "m": "Macros (m:) are not expanded; the notes are read as written.",
    "s": "Symbol lines (s:) are not read; signs beside the notes are.",
    "W": "Words under the tune (W:) belong to no note; they were left out.",
}


def _define(header: Header, value: str) -> None:
    """Let a letter stand for a decoration: `T = !trill!`."""
    found = re.fullmatch(_USER, value)
    if found is None:
        raise UnreadableError(
            f'U: "{value}" defines no symbol.', "Write one such as U:T = !trill!"
        )
    letter, said = found.groups()
    name = said.strip().strip("!+")
    header.symbols.pop(letter, None)
    if name not in ("nil", "none"):
        header.symbols[letter] = "" if name.startswith('"') else name


def _instruct(header: Header, value: str) -> None:
    """Take an instruction; those of other programs mean nothing here (3.1.17)."""
    name, _, rest = value.partition(" ")
    if name == "linebreak":
        header.dollar, header.mark = "$" in rest, "!" in rest
        header.ends = "<EOL>" in rest
        header.lines_told = header.ends or header.dollar or header.mark
    elif name == "abc-version":
        header.strict = re.match(r"\s*(2\.[1-9]|[3-9]|\d{2})", rest) is not None
    elif name == "propagate-accidentals" and rest in ("not", "octave", "pitch"):
        header.spread = rest
