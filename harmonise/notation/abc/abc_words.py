r"""Text of ABC, both ways: titles, labels and chords, and the words of `w:` lines.

Three ways to write é are read: `\'e`, `&eacute;` and `\u00e9`; signs that ABC takes for
its own are written as `\uXXXX`, `\%`, `\\` or `&amp;`. In `w:` lines a hyphen parts
syllables (after a blank or another hyphen it takes a note of its own), `_` holds a
syllable over one more note, `*` leaves a note without words, `~` is a blank inside a
syllable, `\-` a hyphen inside one, `|` goes on to the next bar. Adjacent lines are
verses. A book of ABC 2.1 goes on where the last words stopped; an older one means the
line of music just before. Source: ABC 2.1, sections 5.1 to 5.3, 8.2, 10.6 and 14.1.
"""

import re
from collections.abc import Sequence
from typing import NamedTuple

from harmonise.notation.abc.abc_text import AbcCode, AbcRemarks
from harmonise.notation.abc.pitches import DASH, HOLD, Draft
from harmonise.theory.tune import Syllable

_ACCENTS = dict(
    zip(
        "`'^~\"cuvHAa",
        "\u0300\u0301\u0302\u0303\u0308\u0327\u0306\u030c\u030b\u030a\u030a",
        strict=True,
    )
)
"""Combining accents by the sign after the backslash."""

_LETTERS = dict(
    zip(
        ["/O", "/o", "AE", "ae", "OE", "oe", "ss", "DH", "dh", "TH", "th", "AA", "aa"],
        "ØøÆæŒœßÐðÞþÅå",
        strict=True,
    )
)
"""Letters of their own, by the signs after the backslash (8.2)."""
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
    return plain_text(text)[:_LONGEST]


def _unescaped(match: re.Match[str]) -> str:
    short, long, sign, letters = match.groups()
    if short or long:
        # \u takes four figures of a letter, \U eight (8.2).
        number = int(short or long, 16)
        # Half of a surrogate pair is no letter, nor is anything past Unicode's end.
        return chr(number) if number < 0x110000 and number >> 11 != 0x1B else ""
    if sign:
        return str(sign)
    if letters in _LETTERS:
        return _LETTERS[letters]
    accent = _ACCENTS.get(letters[0])
    if accent and len(letters) == 2 and letters[1].isalpha():
        from unicodedata import normalize  # noqa: PLC0415 (seldom needed)

        return normalize("NFC", letters[1] + accent)
    return letters


_ALWAYS = {"\\": r"\\", "%": r"\%", "&": "&amp;"}
QUOTED, INLINE = '"', "]"
"""Signs that close what a string stands in."""
_IN_WORDS = {"-": r"\-", " ": "~"}
_WORD_SIGNS = "_*|~"


def plain_text(text: str) -> str:
    r"""Return a text on one line, with blanks for what is no letter.

    >>> plain_text(" A\ttune ")
    'A tune'
    """
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return shown.strip()


def format_string(text: str, closing: str = "") -> str:
    r"""Return a text as ABC writes it.

    Args:
        text: The text.
        closing: Signs that would end it, such as `QUOTED` within quotes.

    >>> format_string('100% "pure"', QUOTED)
    '100\\% \\u0022pure\\u0022'
    """
    return "".join(_sign(letter, closing) for letter in plain_text(text))


def _sign(letter: str, closing: str) -> str:
    if letter in closing:
        return f"\\u{ord(letter):04x}"
    return _ALWAYS.get(letter, letter)


def format_field(letter: str, text: str) -> str:
    """Return a field on its own line; one that begins with a colon is set off.

    >>> format_field("T", "Over the Hills")
    'T:Over the Hills'
    """
    gap = " " if text[:1] in ("|", ":") else ""
    return f"{letter}:{gap}{text}"


def format_syllable(text: str) -> str:
    r"""Return a syllable as a `w:` line writes it.

    >>> format_syllable("self-made man")
    'self\\-made~man'
    """
    return "".join(
        _IN_WORDS.get(letter) or _sign(letter, _WORD_SIGNS)
        for letter in plain_text(text)
    )


_PIECE = r"(\\.)|([-_*|\s])|([^-_*|\s\\]+|\\$)"


class WordPiece(NamedTuple):
    """A syllable, or a sign that takes a note or moves on.

    Attributes:
        text: The syllable; "" for a sign.
        sign: "-", "_", "*" or "|"; behind a syllable "-" if the word goes on, else "".
    """

    text: str
    sign: str = ""


def parse_words(text: str) -> tuple[WordPiece, ...]:
    r"""Return the syllables and signs of a `w:` line.

    >>> [f"{text}{sign}" for text, sign in parse_words(r"syl-la--ble a__ of~the")]
    ['syl-', 'la-', '-', 'ble', 'a', '_', '_', 'of the']
    """
    pieces: list[WordPiece] = []
    syllable = ""
    for escaped, sign, letters in re.findall(_PIECE, text + " "):
        if not sign:
            # A hyphen inside a word is written \- (5.1); other signs are for the text
            # string.
            syllable += "-" if escaped == r"\-" else escaped or letters
            continue
        if syllable:
            plain = parse_string(syllable.replace("~", " "))
            pieces.append(WordPiece(plain, DASH if sign == "-" else ""))
        # A hyphen after a blank takes a note of its own (5.1).
        if sign in "_*|" or (sign == "-" and not syllable):
            pieces.append(WordPiece("", sign))
        syllable = ""
    return tuple(pieces)


def align_words(
    lines: Sequence[tuple[WordPiece, ...]], notes: Sequence[Draft], remarks: AbcRemarks
) -> None:
    """Put adjacent `w:` lines under notes, one verse a line.

    Args:
        lines: The verses.
        notes: The notes that they may use, without rests.
        remarks: Told of syllables without a note.
    """
    for verse, pieces in enumerate(lines):
        _align(verse, pieces, notes, remarks)


def _align(
    verse: int,
    pieces: tuple[WordPiece, ...],
    notes: Sequence[Draft],
    remarks: AbcRemarks,
) -> None:
    at = 0
    bar = notes[0].bar if notes else 0
    for index, (text, sign) in enumerate(pieces):
        if sign == "|":
            # "|" goes on to the next bar, even if the words have passed one already
            # (5.1).
            bar = max(bar + 1, notes[at - 1].bar + 1 if at else 0)
            while at < len(notes) and notes[at].bar < bar:
                at += 1
        elif at == len(notes):
            _tell_left(pieces[index:], notes, remarks)
            return
        else:
            if text:
                notes[at].words[verse] = Syllable(text, joins=sign == DASH)
            elif sign in (HOLD, DASH):
                notes[at].words[verse] = sign
            at += 1


def _tell_left(
    pieces: tuple[WordPiece, ...], notes: Sequence[Draft], remarks: AbcRemarks
) -> None:
    """Tell of syllables that find no note; the standard lets them go."""
    left = [piece.text for piece in pieces if piece.text]
    if left:
        count = "1 syllable has" if len(left) == 1 else f"{len(left)} syllables have"
        what = f'{count} no note, from "{left[0]}" on: left out.'
        remedy = "Use - inside words; write | to go on with the next bar."
        remarks.add(AbcCode.WORDS, what, notes[-1].onset if notes else None, remedy)
