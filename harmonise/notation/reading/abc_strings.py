r"""Text strings of ABC: accents, entities and escaped signs into plain letters.

Three ways to write é are known: `\'e`, `&eacute;` and `\u00e9`. Source: ABC 2.1,
sections 8.2 and 14.1.
"""

import re

_ACCENTS = {
    "`": "\u0300",
    "'": "\u0301",
    "^": "\u0302",
    "~": "\u0303",
    '"': "\u0308",
    "c": "\u0327",
    "u": "\u0306",
    "v": "\u030c",
    "H": "\u030b",
    "A": "\u030a",
    "a": "\u030a",
}
"""Combining accents by the sign after the backslash."""

_LETTERS = {
    "/O": "Ø",
    "/o": "ø",
    "AE": "Æ",
    "ae": "æ",
    "OE": "Œ",
    "oe": "œ",
    "ss": "ß",
    "DH": "Ð",
    "dh": "ð",
    "TH": "Þ",
    "th": "þ",
    "AA": "Å",
    "aa": "å",
}
_ESCAPE = r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|([\\%&])|(..?))"
_FONT = r"\$[0-4]"
_LONGEST = 200


def parse_string(text: str) -> str:
    r"""Return a text string in plain letters, at most 200 of them.

    >>> parse_string(r"Oidhche mhath leibh, \'a \ae &eacute; 100\%")
    'Oidhche mhath leibh, á æ é 100%'
    """
    if "\\" in text:
        text = re.sub(_ESCAPE, _unescaped, text)
    if "&" in text:
        from html import unescape  # noqa: PLC0415 (its tables are large)

        text = unescape(text)
    if "$" in text:
        text = re.sub(_FONT, "", text)
    plain = "".join(letter if letter.isprintable() else " " for letter in text)
    return plain.strip()[:_LONGEST]


def _unescaped(found: re.Match[str]) -> str:
    short, long, sign, letters = found.groups()
    if short or long:
        number = int(short or long, 16)
        # Half of a surrogate pair is no letter, nor is anything past Unicode's end.
        return chr(number) if number < 0x110000 and number >> 11 != 0x1B else ""
    if sign:
        return str(sign)
    return _letter(letters)


def _letter(letters: str) -> str:
    if letters in _LETTERS:
        return _LETTERS[letters]
    accent = _ACCENTS.get(letters[0])
    if accent and len(letters) == 2 and letters[1].isalpha():
        from unicodedata import normalize  # noqa: PLC0415 (seldom needed)

        return normalize("NFC", letters[1] + accent)
    return letters
