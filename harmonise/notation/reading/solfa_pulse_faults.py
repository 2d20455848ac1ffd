"""What is wrong with a pulse of tonic sol-fa, and what to type instead."""

import re

from harmonise.errors import NotationError
from harmonise.notation.reading.tune_text_faults import shorten

_MODERN = {
    "do": "d",
    "doh": "d",
    "ray": "r",
    "mi": "m",
    "me": "m",
    "fa": "f",
    "fah": "f",
    "so": "s",
    "sol": "s",
    "soh": "s",
    "lah": "l",
    "ti": "t",
    "te": "t",
    "si": "t",
}
_RAISED = {"d": "de", "r": "re", "f": "fe", "s": "se", "l": "le"}
_LOWERED = {"r": "ra", "m": "ma", "s": "sa", "l": "la", "t": "ta"}
_NAMES = (
    "The names are d r m f s l t; de re fe se le are a semitone higher, ra ma sa la ta "
    "a semitone lower."
)


def run_together(before: str, after: str) -> NotationError:
    """Return the fault of two notes without a sign between them."""
    if "-" in (before, after):
        return NotationError(
            f'"{before}{after}": nothing stands between a note and a continuation (-).',
            None,
            'Put ":" between pulses, or "." between halves of a pulse.',
        )
    return NotationError(
        f"{before} and {after} run together.",
        None,
        f'Put ":" between pulses, or "." between halves ("{before}.{after}"). For a '
        "bridge note put Doh: with the new key on a line of its own.",
    )


def too_many_dots(text: str) -> NotationError:
    """Return the fault of a pulse with three halves."""
    return NotationError(
        f'"{shorten(text)}" has more than two halves of a pulse.',
        None,
        'Type thirds "d`r`m", quarters "d,r.m,f", and a colon between pulses.',
    )


def two_quarters(text: str) -> NotationError:
    """Return the fault of half a pulse with more than two quarters."""
    return NotationError(
        f'"{shorten(text)}" has more than two quarters in half a pulse.',
        None,
        'A full stop parts the halves: "d,r.m,f".',
    )


def wrong_thirds(text: str) -> NotationError:
    """Return the fault of thirds that are not three."""
    return NotationError(
        f'"{shorten(text)}" is no pulse in thirds.',
        None,
        'Three notes with two marks between make one: "d`r`m".',
    )


def unknown(text: str, at: int) -> NotationError:
    """Return the fault of what is no sign of sol-fa.

    Args:
        text: The pulse.
        at: Where the sign stands in it.
    """
    before = re.search(r"[a-z]*$", text[:at])
    begin = before.start() if before else at
    found = re.match(r"[^\W\d_]+", text[begin:])
    word = found.group() if found else text[at]
    return NotationError(*_what(word, text[begin:at], text[at]))


def _what(word: str, before: str, sign: str) -> tuple[str, None, str]:
    if sign in "#♯b♭" and before in _RAISED | _LOWERED:
        return _accidental(before, sharp=sign in "#♯")
    if word.lower() in _MODERN:
        letter = _MODERN[word.lower()]
        return f'"{word}" is written {letter} here.', None, f"Type {letter}."
    if len(word) == 1 and word.lower() in _MODERN.values():
        what = f'sol-fa is written in small letters, not "{word}".'
        return what, None, f"Type {word.lower()}."
    if sign == "0":
        return (
            '"0" is no sign of sol-fa.',
            None,
            'Silence is an empty pulse: ": " and nothing.',
        )
    remedy = _NAMES
    if len(word) > 3:
        remedy = "The words of a song go on a line that begins with Words:."
    return f'"{shorten(word)}" is not a sol-fa name.', None, remedy


def _accidental(name: str, *, sharp: bool) -> tuple[str, None, str]:
    found = (_RAISED if sharp else _LOWERED).get(name)
    kind = "sharp" if sharp else "flat"
    if not found:
        return f"there is no {kind} {name} in sol-fa.", None, _NAMES
    return f"{kind}s have names of their own in sol-fa.", None, f"Type {found}."
