"""The music of an ABC tune line by line, with words under it."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from harmonise.errors import OutputError
from harmonise.notation.writing.abc_bar_lines import (
    closing,
    format_metre,
    metres,
    opening,
)
from harmonise.notation.writing.abc_marks import (
    format_tempo,
    place_chords,
    place_jumps,
)
from harmonise.notation.writing.abc_pieces import (
    Piece,
    Written,
    cut_pieces,
    write_lengths,
)
from harmonise.notation.writing.abc_pitches import Accidentals, format_key
from harmonise.notation.writing.abc_strings import INLINE, format_string
from harmonise.notation.writing.abc_words import Verses
from harmonise.theory.tune import Bar, ChordAt, Grace, Tune

_GRACE_UNIT = Fraction(1, 2)
"""A bare grace note is a quaver."""


class Page:
    """A tune on its way to lines of ABC."""

    def __init__(self, tune: Tune, chords: Sequence[ChordAt], unit: Fraction) -> None:
        """Begin a page; a bare letter lasts `unit` crotchets."""
        self._tune, self._unit = tune, unit
        self._chords = place_chords(tune, chords)
        self._over_notes, self._over_lines = place_jumps(tune)
        self._metres = metres(tune)
        self._keys = {change.onset: change.key for change in tune.keys}
        self._tempos = {tempo.onset: tempo for tempo in tune.tempos}
        self._breaks = set(tune.phrases)
        self._accidentals = Accidentals(tune.key)
        self._verses = Verses(tune.verses)
        self._lines: list[str] = []
        self._words: list[str] = []
        self._pieces: list[Piece] = []

    def lines(self) -> list[str]:
        """Return the lines of music, each with its words under it.

        Raises:
            OutputError: If ABC cannot say something; the place is named.
        """
        changes = {*self._keys, *self._tempos}
        bars = cut_pieces(self._tune, {*self._breaks, *changes, *self._chords})
        for number, pieces in enumerate(bars):
            self._bar(number, pieces)
        self._end_line()
        return self._lines

    def _end_line(self) -> None:
        if self._words:
            self._lines.append(" ".join(self._words))
            self._lines += self._verses.lines(self._pieces)
            self._words, self._pieces = [], []

    def _bar(self, number: int, pieces: list[Piece]) -> None:
        bars = self._tune.bars
        bar = bars[number]
        before = bars[number - 1] if number else None
        after = bars[number + 1] if number + 1 < len(bars) else None
        self._fields(self._bar_fields(number))
        self._words += opening(before, bar)
        self._music(bar, pieces)
        ends_line = bar.end in self._breaks
        line = closing(bar, after, ends_line=ends_line)
        jumps = "".join(self._over_lines.get(bar.end, ()))
        if jumps + line:
            self._words.append(jumps + line)
            self._accidentals.pass_bar()
        if ends_line:
            self._end_line()

    def _fields(self, fields: list[str]) -> None:
        """Put fields on lines of their own where a line begins, else between notes."""
        if self._words:
            self._words += [f"[{field}]" for field in fields]
        else:
            self._lines += fields

    def _bar_fields(self, number: int) -> list[str]:
        """Return what changes with a bar."""
        bar = self._tune.bars[number]
        fields = []
        if bar.section:
            fields.append(f"P:{format_string(bar.section, INLINE)}")
        if number and self._metres[number] != self._metres[number - 1]:
            fields.append(f"M:{format_metre(self._metres[number])}")
        return fields + self._changes(bar.start)

    def _changes(self, onset: Fraction) -> list[str]:
        """Return the key and the tempo that begin at an onset after the first."""
        fields = []
        if onset and onset in self._keys:
            key = self._keys[onset]
            fields.append(f"K:{format_key(key)}")
            self._accidentals.set_key(key)
        if onset and onset in self._tempos:
            fields.append(f"Q:{format_tempo(self._tempos[onset])}")
        return fields

    def _music(self, bar: Bar, pieces: list[Piece]) -> None:
        """Put the notes of a bar; short ones stand together by the beat."""
        beamed = False
        for written in write_lengths(pieces):
            piece = written.piece
            if piece.onset > bar.start and self._interrupt(piece.onset):
                beamed = False
            word = "".join(self._parts(written, bar))
            if beamed and not _on_beat(piece.onset, bar):
                self._words[-1] += word
            else:
                self._words.append(word)
            self._pieces.append(piece)
            beamed = written.length < 1 and piece.note.pitch is not None

    def _interrupt(self, onset: Fraction) -> bool:
        """Put line ends and changes inside a bar; return whether there are any."""
        breaks = onset in self._breaks
        if breaks:
            self._end_line()
        fields = self._changes(onset)
        self._fields(fields)
        return breaks or bool(fields)

    def _parts(self, written: Written, bar: Bar) -> Iterator[str]:
        """Yield the signs of one note in the order of the standard (4.20)."""
        piece, note = written.piece, written.piece.note
        if piece.is_first:
            yield from self._graces(note.graces)
        yield self._chords.get(piece.onset, "")
        if piece.onset == bar.start:
            yield from self._over_notes.get(piece.onset, ())
        yield written.tuplet
        yield "(" * (note.slur_starts if piece.is_first else 0)
        # A pause holds the end of a note, but the first of the rests that one became.
        paused = piece.is_first if note.pitch is None else piece.is_last
        yield "!fermata!" if note.fermata and paused else ""
        yield self._head(piece) + _multiplier(written.length / self._unit)
        yield "-" if note.pitch is not None and not piece.is_last else ""
        yield ")" * (note.slur_ends if piece.is_last else 0)

    def _head(self, piece: Piece) -> str:
        pitch = piece.note.pitch
        if pitch is None:
            return "z"
        if abs(pitch.alter) > 2:
            raise OutputError(
                f"ABC has no accidental for {pitch}.",
                self._tune.place(piece.onset),
                "Spell it with two sharps or flats at most.",
            )
        return self._accidentals.write(pitch)

    def _graces(self, graces: Sequence[Grace]) -> Iterator[str]:
        """Yield grace notes in braces; crossed ones and plain ones apart."""
        slashed: bool | None = None
        for grace in graces:
            if grace.slashed is not slashed:
                yield "" if slashed is None else "}"
                yield "{/" if grace.slashed else "{"
                slashed = grace.slashed
            yield self._accidentals.write(grace.pitch, grace=True)
            yield _multiplier(grace.value / _GRACE_UNIT)
        yield "}" if graces else ""


def _on_beat(onset: Fraction, bar: Bar) -> bool:
    return (onset - bar.start + bar.offset) % bar.time.beat == 0


def _multiplier(units: Fraction) -> str:
    """Return a length in units: "" for one, "2", "/2", "3/2".

    >>> [_multiplier(Fraction(n, 2)) for n in (1, 2, 3, 4)]
    ['/2', '', '3/2', '2']
    """
    upper = "" if units.numerator == 1 else str(units.numerator)
    return upper if units.denominator == 1 else f"{upper}/{units.denominator}"
