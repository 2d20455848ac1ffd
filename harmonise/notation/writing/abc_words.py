"""`w:` lines: every verse under its line of music, one word for each written note.

A held syllable is drawn on with `_`, a divided word with `-`; `*` leaves a note without
words. A line without words gets an empty `w:`, so that later words stay in their place.
Source: ABC 2.1, section 5.1.
"""

from collections.abc import Sequence

from harmonise.notation.writing.abc_pieces import Piece
from harmonise.notation.writing.abc_strings import format_syllable
from harmonise.theory.tune import Syllable

_BARE = "*"


class Verses:
    """The verses, written line by line; a held syllable may run into the next line."""

    _last: list[Syllable | None]

    def __init__(self, count: int) -> None:
        """Begin a number of verses."""
        self._last = [None] * count
        self._promised = count

    def lines(self, pieces: Sequence[Piece]) -> list[str]:
        """Return the `w:` lines under one line of music.

        Args:
            pieces: Its written notes and rests.
        """
        struck = [piece for piece in pieces if piece.note.pitch is not None]
        if not struck or not self._last:
            return []
        found = [
            f"w:{self._line(verse, struck)}".rstrip(_BARE + " ")
            for verse in range(len(self._last))
        ]
        while len(found) > max(1, self._promised) and found[-1] == "w:":
            found.pop()
        self._promised = 0  # One full set of lines fixes the number of verses.
        return found

    def _line(self, verse: int, struck: list[Piece]) -> str:
        line = ""
        for piece in struck:
            word = self._word(verse, piece)
            divided = line.endswith("-") and not line.endswith(r"\-")
            joined = not line or divided or word in ("_", "-")
            line += word if joined else f" {word}"
        return line

    def _word(self, verse: int, piece: Piece) -> str:
        own = piece.note.syllables[verse] if piece.note.syllables else None
        last = self._last[verse]
        if piece.is_first and own is not None:
            self._last[verse] = own
            return format_syllable(own.text) + ("-" if own.joins else "")
        if last is not None and last.joins:
            return "-"
        if last is not None and (last.extends or own is not None):
            return "_"
        self._last[verse] = None
        return _BARE
