"""The fields of an ABC tune, both ways: its header, metres, tempos, voices.

Source: ABC 2.1, sections 3.1, 4.16, 6.1.1, 7.1, 10.1, 12.1.
"""

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from harmonise.notation.abc.abc_text import (
    MUSIC,
    AbcCode,
    AbcLine,
    AbcRemarks,
    AbcText,
    UnreadableError,
)
from harmonise.notation.abc.abc_words import INLINE, QUOTED, format_string, parse_string
from harmonise.notation.abc.bars import free_time
from harmonise.notation.abc.key_fields import KeyField, parse_key_field
from harmonise.notation.abc.lengths import default_unit, parse_unit
from harmonise.notation.part_names import find_part, refuse_names
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tempo, Tune

# Patterns are compiled where they are first used: importing must be quick.
_METRE = r"\(?(\d{1,2}(?:\s*\+\s*\d{1,2})*)\)?\s*/\s*(\d{1,3})"
_TEMPO = r"(\d{1,3}/\d{1,3}(?:\s+\d{1,3}/\d{1,3})*)\s*=\s*(\d{1,3}(?:\.\d{1,3})?)"
_BARE_TEMPO = r"(?:[A-G](\d{0,2})\s*=\s*)?(\d{1,3})"
_QUOTED = r'"([^"]*)"'
_USER = r"([H-Wh-w~])\s*=\s*(.*)"
_VOICE_NAME = r'\b(?:name|nm)="([^"]*)"'
LOCKED = "Locked chords: "
"""What a field `N:` begins with that tells of them."""
INLINE_VOICE = r"\[V:([^\]]*)\]"
_LARGEST = 64
"""The largest number of a metre that is read and written; no book goes beyond."""
_ORIGIN = "OSB"
"""Fields of which the origin is made: place, source, book."""

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
_LEFT_OUT = {
    "m": "Macros (m:) are not expanded; the notes are read as written.",
    "s": "Symbol lines (s:) are not read; signs beside the notes are.",
    "W": "Words under the tune (W:) belong to no note; they were left out.",
}


class Header:
    """What stands above the music.

    Attributes:
        title: First title.
        composer: Composers, joined.
        origin: Place, source and book, joined.
        locked: What our own notes tell of locked chords.
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
        self.composer = self.origin = self.locked = ""
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
    # C and C| are the half circles of common time and cut time (3.1.6).
    if text in ("C", "C|"):
        return TimeSignature(4, 4) if text == "C" else TimeSignature(2, 2)
    if text.lower() in ("none", ""):
        return None
    match = re.fullmatch(_METRE, text)
    # (2+3+2)/8 says how the beats of a bar are grouped (3.1.6).
    groups = tuple(map(int, match.group(1).split("+"))) if match else ()
    lower = int(match.group(2)) if match else 0
    is_power = 0 < lower <= _LARGEST and lower & (lower - 1) == 0
    if not is_power or not 0 < sum(groups) <= _LARGEST or 0 in groups:
        what = f'M: "{text}" is no metre.'
        raise UnreadableError(what, "Write one such as M:3/4, M:C or M:none.")
    return TimeSignature(sum(groups), lower, groups if len(groups) > 1 else ())


def format_metre(time: TimeSignature | None) -> str:
    """Return a metre as an `M:` field names it.

    >>> format_metre(TimeSignature(5, 4, (3, 2))), format_metre(None)
    ('(3+2)/4', 'none')
    """
    if time is None:
        return "none"
    if time.groups:
        return f"({'+'.join(map(str, time.groups))})/{time.beat_type}"
    return str(time)


def metres(tune: Tune) -> list[TimeSignature | None]:
    """Return the metre of each bar; None for free metre.

    Bars that hold what no metre of ABC can name are in free metre, together with all
    others that it reads the same.
    """
    times = {bar.time for bar in tune.bars}
    free = any(max(time.beats, time.beat_type) > _LARGEST for time in times)
    return [
        None if free and bar.time == free_time(bar.length) else bar.time
        for bar in tune.bars
    ]


def parse_tempo(text: str, onset: Fraction, unit: Fraction) -> Tempo | None:
    """Return the tempo of a `Q:` field; None if it gives neither number nor words.

    Args:
        text: Such as `"Allegro" 1/4=120`; the old `120` counts units a minute.
        onset: Crotchets from the start.
        unit: Length of a bare letter, in crotchets.

    >>> str(parse_tempo("1/4 3/8=40", Fraction(0), Fraction(1, 2)).beat)
    '5/2'
    """
    # Words may stand before and behind the number, and alone (3.1.8).
    words = parse_string(" ".join(re.findall(_QUOTED, text)))
    plain = re.sub(_QUOTED, " ", text).strip()
    beats, number = Fraction(0), "0"
    match = re.fullmatch(_TEMPO, plain)
    bare = re.fullmatch(_BARE_TEMPO, plain)
    if match:
        # Up to four lengths together make the beat: "1/4 3/8=40" counts both.
        pairs = [pair.split("/") for pair in match.group(1).split()]
        if all(int(lower) for _, lower in pairs):
            beats = sum((Fraction(int(u), int(d)) * 4 for u, d in pairs), beats)
        number = match.group(2)
    elif bare:
        # "120" and "C3=120" are of ABC 1.6; they count units of the L: field (10.1).
        beats, number = unit * int(bare.group(1) or 1), bare.group(2)
    per_minute = Fraction(number)
    if beats and per_minute:
        return Tempo(onset, per_minute, beats, words)
    return Tempo(onset, None, words=words) if words and not plain else None


def format_tempo(tempo: Tempo) -> str:
    """Return a tempo as a `Q:` field gives it.

    >>> format_tempo(Tempo(Fraction(0), Fraction(96), Fraction(3, 2), "Slowly"))
    '"Slowly" 3/8=96'
    """
    words = format_string(tempo.words, QUOTED + INLINE)
    shown = [f'"{words}"'] if words else []
    if tempo.per_minute is not None:
        beat = tempo.beat / 4
        number = f"{float(tempo.per_minute):.3f}".rstrip("0").rstrip(".")
        shown.append(f"{beat.numerator}/{beat.denominator}={number}")
    return " ".join(shown)


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
            raise error.placed(line.number, line.text) from None
        # K: is the last field of a header (3.1.14); in a file header it is a default.
        if line.letter == "K" and count > len(source.defaults):
            header.unit = unit or default_unit(header.time)
            header.title = _text(texts.get("T", [])[:1])
            header.composer = _text(texts.get("C", ()))
            header.origin = _text(t for k in _ORIGIN for t in texts.get(k, ()))
            notes = (note for note in texts.get("N", ()) if note.startswith(LOCKED))
            header.locked = ", ".join(note.removeprefix(LOCKED) for note in notes)
            return header, lines[count:]
    remedy = "Write the key, such as K:G, as the last field of its header."
    first = source.lines[0]
    fault = UnreadableError("this tune has no K: field.", remedy)
    raise fault.placed(first.number, first.text)


def _text(parts: Iterable[str]) -> str:
    """Join text strings by semicolons, each one once."""
    found = (parse_string(part) for part in parts)
    return "; ".join(dict.fromkeys(part for part in found if part))


def _pass_over(text: str, remarks: AbcRemarks) -> None:
    """Tell of a line of a header that is no field.

    Raises:
        UnreadableError: If it looks like music.
    """
    if re.match(MUSIC, text):
        what = f'"{text[:30]}" is no field, and the K: field has not come yet.'
        raise UnreadableError(what, "Music begins after the K: field.")
    what = f'"{text[:30]}" in the header is no field; it was passed over.'
    remarks.add(AbcCode.FIELD, what)


def _take(
    header: Header, line: AbcLine, texts: dict[str, list[str]], remarks: AbcRemarks
) -> None:
    """Take one line of a header."""
    letter = line.text[0] if line.text[1:2] == ":" else ""
    if not letter and "H" not in texts:
        # What follows H: without a letter went on with it in old books (10.1).
        _pass_over(line.text, remarks)
        return
    match letter:
        case "K":
            header.key = parse_key_field(line.value)
        case "M":
            header.time = parse_metre(line.value)
        case "P":
            header.order = line.value
        case "Q":
            header.tempos = [line]
        case "V":
            name, header.voices[name] = split_voice(line.value)
        case "I" | "U" | "m" | "W" | "s":
            take_instruction(header, letter, line.value, remarks)
        case _:
            texts.setdefault(letter, []).append(line.value)


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


def _define(header: Header, value: str) -> None:
    """Let a letter stand for a decoration: `T = !trill!`."""
    match = re.fullmatch(_USER, value)
    if match is None:
        what = f'U: "{value}" defines no symbol.'
        raise UnreadableError(what, "Write one such as U:T = !trill!")
    letter, said = match.groups()
    name = said.strip().strip("!+")
    header.symbols.pop(letter, None)
    # U:T = !nil! takes a meaning away again; text in quotes has no use here (4.16).
    if name not in ("nil", "none"):
        header.symbols[letter] = "" if name.startswith('"') else name


def _instruct(header: Header, value: str) -> None:
    """Take an instruction; those of other programs mean nothing here (3.1.17)."""
    name, _, rest = value.partition(" ")
    if name == "linebreak":
        # <none> leaves it to the printer, so it tells no lines (6.1.1).
        header.dollar, header.mark = "$" in rest, "!" in rest
        header.ends = "<EOL>" in rest
        header.lines_told = header.ends or header.dollar or header.mark
    elif name == "abc-version":
        # From 2.1 on a book promises to keep the standard strictly (12.3).
        header.strict = re.match(r"\s*(2\.[1-9]|[3-9]|\d{2})", rest) is not None
    elif name == "propagate-accidentals" and rest in ("not", "octave", "pitch"):
        header.spread = rest


def find_voice(part: str, header: Header, lines: Sequence[AbcLine]) -> str | None:
    """Return the voice that a user means by its id or by its name; None for none.

    Raises:
        NotationError: If no voice, or more than one, is called so.
    """
    wanted = part.strip()
    if not wanted:
        return None
    names = voice_names(header, lines)
    if not names:
        refuse_names(wanted)
    return tuple(names)[find_part(wanted, tuple(names), tuple(names.values()))]


def voice_names(header: Header, lines: Sequence[AbcLine]) -> dict[str, str]:
    """Return what the voices of a tune are called, by their ids, in order."""
    voices = dict(header.voices)
    for line in lines:
        is_field = line.letter == "V"
        declared = [line.value] if is_field else re.findall(INLINE_VOICE, line.text)
        for ident, said in map(split_voice, declared):
            voices.setdefault(ident, said)
    # Section 7.1: a voice is shown to readers by its name, which few books give.
    shown = {ident: re.search(_VOICE_NAME, said) for ident, said in voices.items()}
    return {ident: name[1] if name else ident for ident, name in shown.items()}
