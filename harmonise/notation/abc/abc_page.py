"""The music of an ABC tune as it is written line by line, with words under it.

A note is cut where something begins inside it (a bar, a chord, a change, a line) and
where no single note value shows its length; the pieces are tied. A rest is cut at the
same places without a tie. A held syllable is drawn on with `_`, a divided word with
`-`; `*` leaves a note without words. A line without words gets an empty `w:`, so that
later words stay in their place. Source: ABC 2.1, sections 4 and 5.1.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.abc.abc_words import INLINE, format_string, format_syllable
from harmonise.notation.abc.bars import closing, opening
from harmonise.notation.abc.fields import format_metre, format_tempo, metres
from harmonise.notation.abc.key_fields import format_key
from harmonise.notation.abc.lengths import format_multiplier
from harmonise.notation.abc.notes import place_chords, place_jumps
from harmonise.notation.abc.pitches import Accidentals
from harmonise.notation.score.note_values import grid_of, spell, value_of
from harmonise.notation.score.printed_voices import clock_of
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, ChordAt, Grace, Syllable, Tune, TuneNote

_BARE = "*"
_GRACE_UNIT = Fraction(1, 2)
"""A bare grace note is a quaver."""


class TiedPiece(NamedTuple):
    """One written note or rest.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        note: The note or rest that it is a part of.
    """

    onset: Fraction
    length: Fraction
    note: TuneNote

    @property
    def is_first(self) -> bool:
        """Whether the note is struck here."""
        return self.onset == self.note.onset

    @property
    def is_last(self) -> bool:
        """Whether the note ends with it."""
        return self.onset + self.length == self.note.end


class WrittenPiece(NamedTuple):
    """A piece with its length as written.

    Attributes:
        piece: The piece.
        length: Written length in crotchets; more than the real one in a tuplet.
        tuplet: Sign of the tuplet that begins with it, such as "(3"; else "".
        grouped: Whether it belongs to a tuplet.
    """

    piece: TiedPiece
    length: Fraction
    tuplet: str = ""
    grouped: bool = False


def cut_pieces(tune: Tune, cuts: Iterable[Fraction]) -> list[list[TiedPiece]]:
    """Return the written notes of each bar.

    Args:
        tune: The tune.
        cuts: Onsets besides bar lines at which a written note must begin.
    """
    edges = sorted({*(bar.start for bar in tune.bars), *cuts})
    starts = [bar.start for bar in tune.bars]
    by_bar: list[list[TiedPiece]] = [[] for _ in tune.bars]
    for note in tune.notes:
        inside = edges[bisect_right(edges, note.onset) : bisect_left(edges, note.end)]
        for start, end in pairwise((note.onset, *inside, note.end)):
            number = bisect_right(starts, start) - 1
            piece = TiedPiece(start, end - start, note)
            by_bar[number] += _spelled(piece, tune.bars[number])
    return by_bar


def _spelled(piece: TiedPiece, bar: Bar) -> Iterator[TiedPiece]:
    """Yield the tied notes of a length that no single note value shows."""
    # Rests need no tie, and lengths of a tuplet are spelled with their sign.
    plain = piece.note.pitch is None or odd_part(piece.length) > 1
    if plain or value_of(piece.length):
        yield piece
        return
    first = piece.onset - bar.start + bar.offset
    for start, end in _spell(first, first + piece.length, bar.time):
        yield TiedPiece(piece.onset + start - first, end - start, piece.note)


def _spell(
    start: Fraction, end: Fraction, time: TimeSignature
) -> Iterator[tuple[Fraction, Fraction]]:
    # The grid counts in whole ticks, so that no place is ever rounded.
    exact = (start, end, time.unit, time.beat, time.bar_length)
    divisions = lcm(*(value.denominator for value in exact))
    ticks = clock_of(divisions)
    for part in spell(ticks(start), ticks(end), grid_of(time, divisions)):
        yield Fraction(part.start, divisions), Fraction(part.end, divisions)


def odd_part(length: Fraction) -> int:
    """Return what of a length's denominator no halving reaches: 3 for a triplet.

    >>> odd_part(Fraction(1, 6)), odd_part(Fraction(3, 8))
    (3, 1)
    """
    lower = length.denominator
    while lower % 2 == 0:
        lower //= 2
    return lower


def write_lengths(pieces: Sequence[TiedPiece]) -> Iterator[WrittenPiece]:
    """Yield the pieces of a bar with their lengths as written, tuplets marked.

    A tuplet lasts until it fills a length that halving reaches, or to the bar line.
    """
    group: list[TiedPiece] = []
    for piece in pieces:
        if not group and odd_part(piece.length) == 1:
            yield WrittenPiece(piece, piece.length)
            continue
        group.append(piece)
        if odd_part(sum((part.length for part in group), Fraction(0))) == 1:
            yield from _tuplet(group)
            group = []
    if group:
        yield from _tuplet(group)


def _tuplet(group: list[TiedPiece]) -> Iterator[WrittenPiece]:
    # Five quavers in the time of four: the odd part of the lengths gives the five, the
    # power of two below it the four (4.13).
    actual = lcm(*(odd_part(piece.length) for piece in group))
    normal = 1 << (actual.bit_length() - 1)
    count = len(group)
    sign = "(3" if actual == count == 3 else f"({actual}:{normal}:{count}"
    for piece in group:
        length = piece.length * actual / normal
        yield WrittenPiece(piece, length, sign, grouped=True)
        sign = ""


class VerseLines:
    """The verses, written line by line; a held syllable may run into the next line."""

    _last: list[Syllable | None]

    def __init__(self, count: int) -> None:
        """Begin a number of verses."""
        self._last = [None] * count
        self._promised = count

    def lines(self, pieces: Sequence[TiedPiece]) -> list[str]:
        """Return the `w:` lines under one line of music.

        Args:
            pieces: Its written notes and rests.
        """
        struck = [piece for piece in pieces if piece.note.pitch is not None]
        # A line of rests alone takes no words, so nothing has to stand under it.
        if not struck or not self._last:
            return []
        lines = [
            f"w:{self._line(verse, struck)}".rstrip(_BARE + " ")
            for verse in range(len(self._last))
        ]
        while len(lines) > max(1, self._promised) and lines[-1] == "w:":
            lines.pop()
        self._promised = 0  # One full set of lines fixes the number of verses.
        return lines

    def _line(self, verse: int, struck: list[TiedPiece]) -> str:
        line = ""
        for piece in struck:
            word = self._word(verse, piece)
            # A hyphen that belongs to the syllable itself is written \- and parts
            # nothing.
            divided = line.endswith("-") and not line.endswith(r"\-")
            joined = not line or divided or word in ("_", "-")
            line += word if joined else f" {word}"
        return line

    def _word(self, verse: int, piece: TiedPiece) -> str:
        syllable = piece.note.syllables[verse] if piece.note.syllables else None
        last = self._last[verse]
        if piece.is_first and syllable is not None:
            self._last[verse] = syllable
            return format_syllable(syllable.text) + ("-" if syllable.joins else "")
        if last is not None and last.joins:
            return "-"
        if last is not None and (last.extends or syllable is not None):
            return "_"
        self._last[verse] = None
        return _BARE


class AbcPage:
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
        self._verses = VerseLines(tune.verses)
        self._lines: list[str] = []
        self._words: list[str] = []
        self._pieces: list[TiedPiece] = []

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

    def _bar(self, number: int, pieces: list[TiedPiece]) -> None:
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
        # Where no bar line is seen, accidentals hold on into the next part of the bar.
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

    def _music(self, bar: Bar, pieces: list[TiedPiece]) -> None:
        """Put the notes of a bar; short ones stand together by the beat."""
        beamed = False
        for written in write_lengths(pieces):
            piece = written.piece
            if piece.onset > bar.start and self._interrupt(piece.onset):
                beamed = False
            word = "".join(self._parts(written, bar))
            # Notes that stand together are beamed (4.7); a beam ends with its beat.
            on_beat = (piece.onset - bar.start + bar.offset) % bar.time.beat == 0
            if beamed and not on_beat:
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

    def _parts(self, written: WrittenPiece, bar: Bar) -> Iterator[str]:
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
        yield self._head(piece) + format_multiplier(written.length / self._unit)
        # A tie belongs to the note before it and stands close behind it (4.11).
        yield "-" if note.pitch is not None and not piece.is_last else ""
        yield ")" * (note.slur_ends if piece.is_last else 0)

    def _head(self, piece: TiedPiece) -> str:
        pitch = piece.note.pitch
        if pitch is None:
            return "z"
        # Three sharps have no sign in the standard (4.2).
        if abs(pitch.alter) > 2:
            what = f"ABC has no accidental for {pitch}."
            remedy = "Spell it with two sharps or flats at most."
            raise OutputError(what, self._tune.place(piece.onset), remedy)
        return self._accidentals.write(pitch)

    def _graces(self, graces: Sequence[Grace]) -> Iterator[str]:
        """Yield grace notes in braces; crossed ones and plain ones apart."""
        slashed: bool | None = None
        for grace in graces:
            # A stroke belongs to the whole brace (4.12), so each kind has one of its
            # own.
            if grace.slashed is not slashed:
                yield "" if slashed is None else "}"
                yield "{/" if grace.slashed else "{"
                slashed = grace.slashed
            yield self._accidentals.write(grace.pitch, grace=True)
            yield format_multiplier(grace.value / _GRACE_UNIT)
        yield "}" if graces else ""
