"""Single elements, read loudly: text, whole numbers, decimals, pitches.

Numbers are matched before they are converted: `Fraction("1e999999")` would take the
whole memory, and Python's `int` reads digits that MusicXML does not know.
"""

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from harmonise.errors import NotationError, Place
from harmonise.theory.pitch import LETTERS, Pitch, format_alter

__all__ = ["Element", "decimal", "read_pitch", "text", "whole", "words"]

_WHOLE = re.compile(r"[+-]?[0-9]{1,9}$")
_DECIMAL = re.compile(r"[+-]?(?=\.?[0-9])[0-9]{0,9}(\.[0-9]{0,20})?$")


def text(element: Element, path: str) -> str:
    """Return the text of the first element on a path, without outer blanks; or ""."""
    return (element.findtext(path) or "").strip()


def words(written: str | None) -> str:
    """Return a text on one line, its blanks made single.

    >>> words(" Slow   and  sad ")
    'Slow and sad'
    """
    return " ".join((written or "").split())


def whole(written: str | None) -> int | None:
    """Return a whole number of at most nine digits; None if the text is none.

    >>> whole(" 12 "), whole("twelve"), whole(None)
    (12, None, None)
    """
    plain = (written or "").strip()
    return int(plain) if _WHOLE.match(plain) else None


def decimal(written: str | None) -> Fraction | None:
    """Return a decimal exactly; None if the text is none.

    >>> decimal("68.5"), decimal("1e99"), decimal("-2")
    (Fraction(137, 2), None, Fraction(-2, 1))
    """
    plain = (written or "").strip()
    return Fraction(plain) if _DECIMAL.match(plain) else None


def read_pitch(note: Element, place: Place) -> Pitch:
    """Return the written pitch of a note.

    Raises:
        NotationError: If it has none, lies between the keys of the piano or is not
            spelled in ordinary notation.
    """
    if note.find("unpitched") is not None:
        raise NotationError(
            "a note without pitch, as drums have them, stands in the tune.",
            place,
            "Name a part that has pitches.",
        )
    step, octave = text(note, "pitch/step"), whole(note.findtext("pitch/octave"))
    if len(step) != 1 or step not in LETTERS or octave is None:
        raise NotationError(
            "a note has neither a proper pitch nor a rest.",
            place,
            "Give it a step (A to G) and an octave (0 to 9).",
        )
    if not 0 <= octave <= 9:
        raise NotationError(
            f"{step} stands in octave {octave}.", place, "Octaves go from 0 to 9."
        )
    return Pitch(LETTERS.index(step), _alter(note, step, place), octave)


def _alter(note: Element, step: str, place: Place) -> int:
    written = text(note, "pitch/alter")
    alter = decimal(written or "0")
    if alter is None:
        raise NotationError(
            f'the alteration "{words(written)[:20]}" of {step} is not a number.',
            place,
            "Give the semitones, such as -1 for a flat.",
        )
    if alter.denominator != 1:
        raise NotationError(
            f"{step} is altered by {written} semitones, which lies between the keys "
            "of the piano.",
            place,
            f"Write {step} or a neighbour with a sharp or a flat.",
        )
    if abs(alter) > 2:
        raise NotationError(
            f"{step}{format_alter(int(alter))[:6]} has more than two sharps or flats.",
            place,
            "Write the same sound with fewer.",
        )
    return int(alter)
