"""Lines of a text in tonic sol-fa: headers, and the tune as accents and pulses.

Headers are those of tune text, with `Doh:` or `Lah:` in place of `Key:`.
"""

import re

from harmonise.errors import NotationError
from harmonise.notation.reading.solfa_metre import UNTOLD
from harmonise.notation.reading.solfa_names import NAME, parse_solfa_key
from harmonise.notation.reading.tune_text_faults import fault
from harmonise.notation.reading.tune_text_headers import (
    HEADERS,
    Line,
    nearest_header,
)
from harmonise.notation.reading.tune_text_lines import Door, short_enough
from harmonise.theory.key import Key

DOUBLE = "||"
ACCENTS = ("|", "!", ":")
SOLFA_HEADERS = ("Title", "Origin", "Doh", "Lah", "Time", "Tempo", "Words", "Chords")
_HEADER = re.compile(r"\s*([^\W\d_][^\W\d_]{2,})\s*:(.*)", re.DOTALL)
_NAMES_ONLY = re.compile(rf"(?:{NAME}){{3,}}$")
_TYPED = str.maketrans("—−–‐‑‚∣｜¦！：", "-----,|||!:") | {ord("‖"): DOUBLE}
"""Signs that word processors put in place of ours; quotes mean something here."""
_PIECES = re.compile(r"(\|\||[|!:])")
_NOT_HERE = {
    "Octave": "Doh without a mark lies in C4–B4; type d¹ and d₁ for other octaves.",
    "Signature": "The names follow the key.",
}


def _line(number: int, plain: str) -> Line:
    found = _HEADER.match(plain)
    if not found or _NAMES_ONLY.match(found.group(1)):
        return Line(number, "tune", plain.translate(_TYPED).strip())
    name, value = found.group(1), found.group(2).strip()
    kind = _kind(name, value, number)
    if kind in ("Doh", "Lah"):
        return short_enough(Line(number, "Key", value.translate(_TYPED), kind))
    if kind not in ("Title", "Origin", "Words"):
        value = value.translate(_TYPED)
    return short_enough(Line(number, kind, value))


def _kind(name: str, value: str, number: int) -> str:
    """Return the header that a name means."""
    own = name.capitalize()
    if own in SOLFA_HEADERS:
        return own
    if own == "Key":
        letter = re.match(r"[A-G][#b]?", value)
        tonic = letter.group() if letter else "C"
        kind = "Lah" if "min" in value.lower() else "Doh"
        remedy = f"Type {kind}: {tonic}."
        raise fault("Sol-fa tells its key by Doh: or Lah:.", number, remedy=remedy)
    if own in HEADERS:
        raise fault(f"{own}: has no place in sol-fa.", number, remedy=_NOT_HERE[own])
    remedy = nearest_header(name, SOLFA_HEADERS)
    raise fault(f'"{name}:" is not a header.', number, remedy=remedy)


def _tokens(text: str) -> list[str]:
    """Return accents, double bars and what stands between them, without blanks."""
    return [piece for piece in map(str.strip, _PIECES.split(text)) if piece]


def _key(line: Line) -> Key:
    try:
        return parse_solfa_key(line.name, line.text)
    except NotationError as error:
        what = error.what.removeprefix("Key: ")
        raise fault(what, line.number, line.text, remedy=error.remedy) from None


SOLFA = Door(_line, _tokens, _key, UNTOLD, "| d :d | s :s | l :l | s :- |")
"""The door of tonic sol-fa."""
