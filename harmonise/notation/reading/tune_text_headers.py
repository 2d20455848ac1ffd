"""The values of the headers of a typed tune: `Time:`, `Key:`, `Tempo:` and so on."""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.notation.reading.tune_text_faults import fault
from harmonise.theory.key import Key, parse_key
from harmonise.theory.metre import TimeSignature

HEADERS = (
    "Title",
    "Origin",
    "Key",
    "Time",
    "Tempo",
    "Octave",
    "Signature",
    "Words",
    "Chords",
)
_BY_NAME = {name.lower(): name for name in HEADERS}
_TIME = re.compile(
    r"(\d+(?:\+\d+)*)\s*/\s*(\d+)\s*(?:\(\s*(\d+(?:\s*\+\s*\d+)+)\s*\))?$"
)
_TEMPO = re.compile(r"(.*?)[\s,=]*(\d+(?:\.\d+)?)$")
_SHORT_KEY = r"(?i)([A-G](?:#|b)?)\s*(m|min|maj|dor|mix|aeo)$"
_LONG = {
    "m": "minor",
    "min": "minor",
    "maj": "major",
    "dor": "dorian",
    "mix": "mixolydian",
    "aeo": "aeolian",
}
_ABC_FIELDS = {
    "T": "Title:",
    "K": "Key:",
    "M": "Time:",
    "Q": "Tempo:",
    "w": "Words:",
    "O": "Origin:",
}
_OTHER_NAMES = {
    "lyrics": "Words",
    "text": "Words",
    "verse": "Words",
    "harmony": "Chords",
    "composer": "Origin",
    "source": "Origin",
    "name": "Title",
    "meter": "Time",
    "metre": "Time",
    "speed": "Tempo",
    "bpm": "Tempo",
}


class Line(NamedTuple):
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
        per_minute: Counted beats a minute.
        words: Tempo words in front of the number; else "".
    """

    per_minute: Fraction
    words: str


def header_kind(name: str, line: int) -> str:
    """Return the header that a name means, in any case of letters.

    Raises:
        NotationError: If there is none; close spellings are offered.
    """
    found = _BY_NAME.get(name.lower())
    if found:
        return found
    if name.lower() in ("doh", "lah"):
        raise fault(
            f"{name}: begins a tune in tonic sol-fa, which cannot be read here.",
            line,
            remedy="Type the tune in letters or numbers.",
        )
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

    if name.lower() in ("chorus", "refrain"):
        return f'Put a % in front of it: "% {name}".'
    meant = {other.lower(): other for other in headers}
    meant |= {name: own for name, own in _OTHER_NAMES.items() if own in headers}
    close = get_close_matches(name.lower(), list(meant), 1, 0.6)
    if not close:
        return f"The headers are {', '.join(headers[:-1])} and {headers[-1]}."
    return f"Did you mean {meant[close[0]]}:?"


def time_value(line: Line) -> TimeSignature:
    """Return the time signature of a `Time:` line, such as 6/8 or 5/4 (2+3).

    Raises:
        NotationError: If it is none, or beyond what is printed (32 beats).
    """
    found = _TIME.match(line.text)
    upper = [int(number[:9]) for number in found.group(1).split("+")] if found else [0]
    lower = int(found.group(2)[:9]) if found else 0
    groups = tuple(upper) if len(upper) > 1 else ()
    if found and found.group(3):
        groups = tuple(int(number[:9]) for number in found.group(3).split("+"))
    agree = not groups or (sum(groups) == sum(upper) and 0 not in groups)
    if agree and 1 <= sum(upper) <= 32 and lower in (1, 2, 4, 8, 16, 32):
        return TimeSignature(sum(upper), lower, groups)
    raise fault(
        "Time: two numbers with a stroke, such as 4/4, 3/4 or 6/8; 5/4 (2+3) names the "
        "groups.",
        line.number,
        line.text,
    )


def key_value(line: Line) -> Key:
    """Return the key of a `Key:` line.

    Raises:
        NotationError: E12.
    """
    try:
        return parse_key(line.text)
    except NotationError as error:
        short = re.match(_SHORT_KEY, line.text)
        remedy = error.remedy
        if short:
            tonic = short.group(1)[0].upper() + short.group(1)[1:]
            remedy = f"Did you mean {tonic} {_LONG[short.group(2).lower()]}?"
        raise fault(error.what, line.number, line.text, remedy=remedy) from None


def tempo_value(line: Line) -> TempoText:
    """Return the tempo of a `Tempo:` line: counted beats a minute, perhaps with words.

    Raises:
        NotationError: If there is no number from 10 to 400.
    """
    found = _TEMPO.match(line.text)
    if found and len(found.group(2)) < 9 and 10 <= Fraction(found.group(2)) <= 400:
        return TempoText(Fraction(found.group(2)), found.group(1).strip())
    raise fault(
        "Tempo: beats a minute, from 10 to 400.",
        line.number,
        line.text,
        remedy="Type one such as Tempo: 96 or Tempo: Slowly 60.",
    )


def octave_value(line: Line) -> int:
    """Return the octave of an `Octave:` line, 1 to 8.

    Raises:
        NotationError: If it is none.
    """
    if re.match(r"[1-8]$", line.text):
        return int(line.text)
    raise fault(
        "Octave: one number from 1 to 8; octave 4 begins at middle C.",
        line.number,
        line.text,
    )


def signature_value(line: Line) -> bool:
    """Return whether letters are read under the key signature.

    Raises:
        NotationError: If it is neither on nor off.
    """
    value = line.text.lower()
    if value in ("on", "off"):
        return value == "on"
    raise fault("Signature: on or off.", line.number, line.text)
