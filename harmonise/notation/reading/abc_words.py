r"""`w:` lines into syllables on the notes before them.

A hyphen parts syllables (after a blank or another hyphen it takes a note of its own),
`_` holds a syllable over one more note, `*` leaves a note without words, `~` is a blank
inside a syllable, `\-` a hyphen inside one, `|` goes on to the next bar. Adjacent lines
are verses. A book of ABC 2.1 goes on where the last words stopped; an older one means
the line of music just before. Source: ABC 2.1, sections 5.1 to 5.3 and 10.6.
"""

import re
from collections.abc import Sequence
from typing import NamedTuple

from harmonise.notation.reading.abc_faults import Code, Remarks
from harmonise.notation.reading.abc_notes import DASH, HOLD, Draft
from harmonise.notation.reading.abc_strings import parse_string
from harmonise.theory.tune import Syllable

_PIECE = r"(\\.)|([-_*|\s])|([^-_*|\s\\]+|\\$)"


class Piece(NamedTuple):
    """A syllable, or a sign that takes a note or moves on.

    Attributes:
        text: The syllable; "" for a sign.
        sign: "-", "_", "*" or "|"; behind a syllable "-" if the word goes on, else "".
    """

    text: str
    sign: str = ""


def parse_words(text: str) -> tuple[Piece, ...]:
    r"""Return the syllables and signs of a `w:` line.

    >>> [f"{text}{sign}" for text, sign in parse_words(r"syl-la--ble a__ of~the")]
    ['syl-', 'la-', '-', 'ble', 'a', '_', '_', 'of the']
    """
    found: list[Piece] = []
    syllable = ""
    for escaped, sign, letters in re.findall(_PIECE, text + " "):
        if not sign:
            syllable += "-" if escaped == r"\-" else escaped or letters
            continue
        if syllable:
            plain = parse_string(syllable.replace("~", " "))
            found.append(Piece(plain, DASH if sign == "-" else ""))
        if sign in "_*|" or (sign == "-" and not syllable):
            found.append(Piece("", sign))
        syllable = ""
    return tuple(found)


def align_words(
    lines: Sequence[tuple[Piece, ...]], notes: Sequence[Draft], remarks: Remarks
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
    verse: int, pieces: tuple[Piece, ...], notes: Sequence[Draft], remarks: Remarks
) -> None:
    at = 0
    bar = notes[0].bar if notes else 0
    for index, (text, sign) in enumerate(pieces):
        if sign == "|":
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
    pieces: tuple[Piece, ...], notes: Sequence[Draft], remarks: Remarks
) -> None:
    """Tell of syllables that find no note; the standard lets them go."""
    left = [piece.text for piece in pieces if piece.text]
    if left:
        count = "1 syllable has" if len(left) == 1 else f"{len(left)} syllables have"
        remarks.add(
            Code.WORDS,
            f'{count} no note, from "{left[0]}" on: left out.',
            notes[-1].onset if notes else None,
            "Use - inside words; write | to go on with the next bar.",
        )
