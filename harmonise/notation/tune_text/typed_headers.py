"""What a header of a typed tune may say, and what stands in place of one."""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.notation.tune_text.word_faults import fault
from harmonise.theory.key import Key, parse_key
from harmonise.theory.metre import TimeSignature

HEADERS = (
    "Title",
    "Composer",
    "Origin",
    "Key",
    "Time",
    "Tempo",
    "Octave",
    "Signature",
    "Section",
    "Words",
    "Chords",
)
AS_TYPED = ("Title", "Composer", "Origin", "Tempo", "Section", "Words")
"""Headers that keep the quotes and dashes that were typed."""
_LONGEST = 80
_BY_NAME = {name.lower(): name for name in HEADERS}
_TIMES = {
    **dict.fromkeys(("c", "common", "common time"), TimeSignature(4, 4)),
    **dict.fromkeys(("c|", "cut", "cut time", "alla breve"), TimeSignature(2, 2)),
}
"""Times that have a sign or a name of their own (common practice)."""
_TIME = re.compile(
    r"(\d+(?:\+\d+)*)\s*/\s*(\d+)\s*(?:\(\s*(\d+(?:\s*\+\s*\d+)+)\s*\))?$"
)
_TEMPO = r"""(?xi)(.*?)[\s,=(]*              # words
    (?:(\d{1,2}\s*/\s*\d{1,2}|(?:dotted\s)?[a-z]+|[♩♪]\s?\.?)\s*=\s*)?  # note =
    (\d+(?:\.\d+)?)\s*(?:bpm)?\)?$"""
_NOTES = {
    **dict.fromkeys(("semibreve", "whole"), Fraction(4)),
    **dict.fromkeys(("minim", "half"), Fraction(2)),
    **dict.fromkeys(("crotchet", "quarter", "♩"), Fraction(1)),
    **dict.fromkeys(("quaver", "eighth", "♪"), Fraction(1, 2)),
    **dict.fromkeys(("semiquaver", "sixteenth"), Fraction(1, 4)),
}
"""Notes that a tempo may count, in crotchets."""
_ABC_FIELDS = {
    "T": "Title:",
    "K": "Key:",
    "M": "Time:",
    "Q": "Tempo:",
    "w": "Words:",
    "O": "Origin:",
    "C": "Composer:",
    "P": "Section:",
}
_SECTION = re.compile(r"(?:verse|chorus|refrain|bridge)\b", re.IGNORECASE)
_OTHER_NAMES = {
    "Words": "lyrics text verse",
    "Chords": "harmony",
    "Composer": "author music",
    "Origin": "source",
    "Section": "part label",
    "Title": "name",
    "Time": "meter metre",
    "Tempo": "speed bpm",
}
"""What people call headers who have not read how they are called here."""


class TypedLine(NamedTuple):
    """One line of the text that says something.

    Attributes:
        number: From 1.
        kind: The name of its header, or "tune".
        text: What follows the header; the whole line of a tune line.
        name: The name that its header bears in the text, where that is another.
    """

    number: int
    kind: str
    text: str
    name: str = ""

    @property
    def shown(self) -> str:
        """The name of its header, as sentences show it."""
        return self.name or self.kind


class TempoText(NamedTuple):
    """What a `Tempo:` line says.

    Attributes:
        per_minute: Beats a minute; None where words alone tell the tempo.
        words: Tempo words in front of the number; else "".
        beat: Length of that beat in crotchets; None for the beat that is counted.
    """

    per_minute: Fraction | None
    words: str
    beat: Fraction | None = None


def section_name(line: str) -> str:
    """Return the section that a line like "[Chorus]" or "Verse 2:" names; else "".

    >>> section_name(" [Verse 2] "), section_name("Chorus:"), section_name("C D E")
    ('Verse 2', 'Chorus', '')
    """
    bare = line.strip()
    if bare[:1] == "[" and bare[-1:] == "]":
        bare = bare[1:-1].strip()
    elif bare[-1:] == ":":
        bare = bare[:-1].strip()
    else:
        return ""
    return bare if _SECTION.match(bare) and "|" not in bare else ""


def split_header(line: str) -> tuple[str, str] | None:
    """Return name and value of a header without its colon; None if it is none.

    >>> split_header("Time 3/4"), split_header("key = G"), split_header("Time goes by")
    (('Time', '3/4'), ('key', 'G'), None)
    """
    if len(line) > _LONGEST:
        return None
    name, sign, value = (part.strip() for part in line.partition("="))
    if sign and name.lower() in _BY_NAME:
        return name, value
    name, _, value = line.strip().partition(" ")
    value = value.strip()
    plain = {
        "key": lambda: bool(parse_key(value)),
        "time": lambda: bool(_TIME.match(value)),
        "tempo": value.isdecimal,
    }.get(name.lower())
    try:
        return (name, value) if plain and plain() else None
    except NotationError:
        return None


def header_kind(name: str, line: int) -> str:
    """Return the header that a name means, in any case of letters.

    Raises:
        NotationError: If there is none; close spellings are offered.
    """
    header = _BY_NAME.get(name.lower())
    if header:
        return header
    # Such a text is known as sol-fa by its first lines; here one came too late.
    if name.lower() in ("doh", "lah"):
        name = name.capitalize()
        what = f"{name}: begins a tune in tonic sol-fa, which cannot be read here."
        raise fault(what, line, remedy="Type the tune in letters or numbers.")
    # Fields of one letter are ABC: the whole tune can be pasted.
    if len(name) == 1:
        here = (
            f"Here it is {_ABC_FIELDS[name]}; or" if name in _ABC_FIELDS else "If so,"
        )
        remedy = f"{here} paste the whole ABC tune with its X: and K: lines."
        raise fault(f'"{name}:" looks like ABC.', line, remedy=remedy)
    raise fault(f'"{name}:" is not a header.', line, remedy=nearest_header(name))


def nearest_header(name: str, headers: tuple[str, ...] = HEADERS) -> str:
    """Return which header may have been meant, or the list of all."""
    from difflib import get_close_matches  # noqa: PLC0415  (slow to load, seldom used)

    if _SECTION.match(name):
        return f"If a section begins here, type Section: {name} on a line of its own."
    meant = {other.lower(): other for other in headers}
    meant |= {
        other: header
        for header, others in _OTHER_NAMES.items()
        for other in others.split()
        if header in headers
    }
    # Most unknown headers are slips of typing or words of other programs.
    close = get_close_matches(name.lower(), list(meant), 1, 0.6)
    if not close:
        return f"The headers are {', '.join(headers[:-1])} and {headers[-1]}."
    return f"Did you mean {meant[close[0]]}:?"


def _numbers(text: str) -> list[int]:
    # Endless figures must not become endless numbers; and what a pattern takes for a
    # blank need not be one to `int`.
    return [int(number[:9]) for number in re.findall(r"\d+", text)]


def time_value(line: TypedLine) -> TimeSignature:
    """Return the time signature of a `Time:` line, such as 6/8 or 5/4 (2+3).

    Raises:
        NotationError: If it is none, or beyond what is printed (32 beats).
    """
    if known := _TIMES.get(line.text.lower()):
        return known
    match = _TIME.match(line.text)
    upper = _numbers(match.group(1)) if match else [0]
    lower = int(match.group(2)[:9]) if match else 0
    groups = tuple(upper) if len(upper) > 1 else ()
    if match and match.group(3):
        groups = tuple(_numbers(match.group(3)))
    # "5/4 (2+3)" tells the groups besides the sum; both must agree.
    agree = not groups or (sum(groups) == sum(upper) and 0 not in groups)
    if agree and 1 <= sum(upper) <= 32 and lower in (1, 2, 4, 8, 16, 32):
        return TimeSignature(sum(upper), lower, groups)
    raise fault(
        "Time: two numbers with a stroke, such as 4/4, 3/4 or 6/8; 5/4 (2+3) names the "
        "groups.",
        line.number,
        line.text,
    )


def key_value(line: TypedLine) -> Key:
    """Return the key of a `Key:` line.

    Raises:
        NotationError: E12.
    """
    try:
        return parse_key(line.text)
    except NotationError as error:
        remedy = error.remedy
        raise fault(error.what, line.number, line.text, remedy=remedy) from None


def tempo_value(line: TypedLine) -> TempoText:
    """Return the tempo of a `Tempo:` line: words, beats a minute, or both.

    A number counts the beat of the metre, or the note that is told: `1/8 = 120`.

    Raises:
        NotationError: If there is a number that is none from 10 to 400.

    >>> tempo_value(TypedLine(1, "Tempo", "Slowly, dotted crotchet = 40"))
    TempoText(per_minute=Fraction(40, 1), words='Slowly', beat=Fraction(3, 2))
    """
    if line.text and not re.search(r"[\d=]", line.text):
        return TempoText(None, line.text)
    found = re.match(_TEMPO, line.text)
    said, note, number = found.groups(default="") if found else ("", "", "0")
    beat = _counted_note(note) if note else None
    # "Slowly = 60" and "M.M. = 60" count no note that has a name.
    words = f"{said} {note}".strip() if note and not beat else said.strip()
    known = beat or not any(map(str.isdigit, note))
    if known and len(number) < 9 and 10 <= Fraction(number) <= 400:
        return TempoText(Fraction(number), words, beat)
    what = "Tempo: beats a minute, from 10 to 400."
    remedy = "Type one such as Tempo: 96, Tempo: Slowly 60 or Tempo: 1/8 = 120."
    raise fault(what, line.number, line.text, remedy=remedy)


def _counted_note(text: str) -> Fraction | None:
    """Return the length of a note that a tempo counts, in crotchets; None if none."""
    upper, stroke, lower = (part.strip() for part in text.partition("/"))
    if stroke:
        plain = 0 < int(upper) <= 12 and int(lower) in (1, 2, 4, 8, 16, 32)
        return Fraction(4 * int(upper), int(lower)) if plain else None
    name = text.lower().rstrip(" .")
    length = _NOTES.get(name.removeprefix("dotted").strip())
    dotted = name.startswith("dotted") or text.endswith(".")
    return length * Fraction(3, 2) if length and dotted else length


def section_value(line: TypedLine) -> str:
    """Return the name of a `Section:` line.

    Raises:
        NotationError: If it has none.
    """
    if line.text:
        return " ".join(line.text.split())
    remedy = "Type one such as Section: Chorus."
    raise fault("Section: needs a name.", line.number, remedy=remedy)


def octave_value(line: TypedLine) -> int:
    """Return the octave of an `Octave:` line, 1 to 8.

    Raises:
        NotationError: If it is none.
    """
    if re.match(r"[1-8]$", line.text):
        return int(line.text)
    what = "Octave: one number from 1 to 8; octave 4 begins at middle C."
    raise fault(what, line.number, line.text)


def signature_value(line: TypedLine) -> bool:
    """Return whether letters are read under the key signature.

    Raises:
        NotationError: If it is neither on nor off.
    """
    value = line.text.lower()
    if value in ("on", "off", "yes", "no"):
        return value in ("on", "yes")
    raise fault("Signature: on or off.", line.number, line.text)
