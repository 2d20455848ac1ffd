"""The fields of an ABC tune: what its header says, and how `M:` and `Q:` are read.

Source: ABC 2.1, sections 3.1, 4.16, 6.1.1, 10.1, 12.1.
"""

import re
from collections.abc import Callable, Iterable
from fractions import Fraction

from harmonise.notation.reading.abc_faults import Code, Fault, Remarks, UnreadableError
from harmonise.notation.reading.abc_keys import KeyField, parse_key_field
from harmonise.notation.reading.abc_lengths import default_unit, parse_unit
from harmonise.notation.reading.abc_strings import parse_string
from harmonise.notation.reading.abc_text import AbcText, Line
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tempo

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
        self.tempos: list[Line] = []
        self.key = KeyField({})
        self.symbols = dict(DEFAULT_SYMBOLS)
        self.order = ""
        self.dollar, self.mark, self.ends = True, False, True
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


def parse_header(source: AbcText, remarks: Remarks) -> tuple[Header, tuple[Line, ...]]:
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
            fault = Fault(error.what, error.remedy, line.number, line.text)
            raise fault.error(None) from None
        if line.letter == "K" and count > len(source.defaults):
            header.unit = unit or default_unit(header.time)
            header.title = _text(texts.get("T", [])[:1])
            header.origin = _text(t for k in _ORIGIN for t in texts.get(k, ()))
            return header, lines[count:]
    raise Fault(
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
    header: Header, line: Line, texts: dict[str, list[str]], remarks: Remarks
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


def _set_metre(header: Header, line: Line) -> None:
    header.time = parse_metre(line.value)


def _set_key(header: Header, line: Line) -> None:
    header.key = parse_key_field(line.value)


def _set_tempo(header: Header, line: Line) -> None:
    header.tempos = [line]


def _set_order(header: Header, line: Line) -> None:
    header.order = line.value


def _set_voice(header: Header, line: Line) -> None:
    name, said = split_voice(line.value)
    header.voices[name] = said


_SETTERS: dict[str, Callable[[Header, Line], None]] = {
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


def take_instruction(header: Header, letter: str, value: str, remarks: Remarks) -> None:
    """Take a field that may stand in the header as in the music: I, U, m, W, s."""
    if letter == "U":
        _define(header, value)
    elif letter == "I":
        _instruct(header, value)
    elif letter in _LEFT_OUT and value:
        remarks.add(Code.FIELD, _LEFT_OUT[letter])


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
    elif name == "abc-version":
        header.strict = re.match(r"\s*(2\.[1-9]|[3-9]|\d{2})", rest) is not None
    elif name == "propagate-accidentals" and rest in ("not", "octave", "pitch"):
        header.spread = rest
