r"""What stands over the notes of ABC: chord symbols, jumps, tempos, labels.

Source: ABC 2.1, sections 3.1.8, 3.1.9, 4.14, 4.18, 4.19.

The music of an ABC tune line by line, with words under it.

A tune as ABC 2.1, so that reading it again gives the same tune.

A line of music is a phrase. What comes back otherwise than it was: a rest is cut at bar
lines and where chords change; bars are numbered anew; a guessed key is simply the key.
All else that ABC cannot say is refused: the finished text is read again, and the first
difference names its place.

    strings    text fields           pieces     notes cut and tied, tuplets
    pitches    accidentals, keys     bar_lines  repeats, endings, metres
    marks      chords, jumps, tempos words      verses
    page       lines of music        check      read again

Source: the ABC music standard 2.1 (December 2011, corrected 2013).
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction

from harmonise.errors import NotationError, OutputError
from harmonise.notation.abc.abc_check import (
    assert_endings_close,
    assert_same,
    closing,
    format_metre,
    has_sections,
    metres,
    opening,
)
from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.notation.abc.abc_words import (
    INLINE,
    QUOTED,
    VerseLines,
    format_field,
    format_string,
)
from harmonise.notation.abc.key_fields import format_key
from harmonise.notation.abc.lengths import (
    TiedPiece,
    WrittenPiece,
    cut_pieces,
    write_lengths,
)
from harmonise.notation.abc.notes import read_symbol, sign_of
from harmonise.notation.abc.pitches import Accidentals
from harmonise.theory.tune import Bar, ChordAt, Grace, Tempo, Tune

_NO_CHORD = "N.C."
_DECORATIONS = {
    "Fine": "!fine!",
    "D.C.": "!D.C.!",
    "D.S.": "!D.S.!",
    "To Coda": "!dacoda!",
    "Segno": "!segno!",
    "Coda": "!coda!",
}


def place_chords(tune: Tune, chords: Sequence[ChordAt]) -> dict[Fraction, str]:
    """Return the chord symbols in quotes by onset; "N.C." where none holds any more.

    Raises:
        OutputError: If two chords sound at once, or ABC does not know one.
    """
    found: dict[Fraction, str] = {}
    end = Fraction(0)
    for at in chords:
        if at.onset < end:
            raise OutputError(
                f"{at.chord} begins under another chord.",
                tune.place(at.onset),
                "Write one chord at a time.",
            )
        if read_symbol(at.chord.symbol) != (at.chord, ""):
            raise OutputError(
                f"ABC has no chord symbol for {at.chord}.",
                tune.place(at.onset),
                "Write MusicXML instead.",
            )
        if found and end < at.onset:
            found[end] = f'"{_NO_CHORD}"'
        found[at.onset] = f'"{at.chord.symbol}"'
        end = at.end
    if found and end < tune.end:
        found[end] = f'"{_NO_CHORD}"'
    return found


def place_jumps(
    tune: Tune,
) -> tuple[dict[Fraction, list[str]], dict[Fraction, list[str]]]:
    """Return signs over first notes of bars, and jumps over bar lines, by onset."""
    starts = {bar.start for bar in tune.bars}
    over_notes: dict[Fraction, list[str]] = defaultdict(list)
    over_lines: dict[Fraction, list[str]] = defaultdict(list)
    for onset, words in tune.end_text:
        over_note = sign_of(words.lower()) and onset in starts
        (over_notes if over_note else over_lines)[onset].append(_jump(words))
    return over_notes, over_lines


def _jump(words: str) -> str:
    return _DECORATIONS.get(words) or f'"^{format_string(words, QUOTED)}"'


def format_tempo(tempo: Tempo) -> str:
    """Return a tempo as a `Q:` field gives it.

    >>> format_tempo(Tempo(Fraction(0), Fraction(96), Fraction(3, 2), "Slowly"))
    '"Slowly" 3/8=96'
    """
    beat = tempo.beat / 4
    number = f"{float(tempo.per_minute):.3f}".rstrip("0").rstrip(".")
    words = format_string(tempo.words, QUOTED + INLINE)
    shown = f'"{words}" ' if words else ""
    return f"{shown}{beat.numerator}/{beat.denominator}={number}"


_GRACE_UNIT = Fraction(1, 2)
"""A bare grace note is a quaver."""


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
        yield self._head(piece) + _multiplier(written.length / self._unit)
        yield "-" if note.pitch is not None and not piece.is_last else ""
        yield ")" * (note.slur_ends if piece.is_last else 0)

    def _head(self, piece: TiedPiece) -> str:
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


_UNITS = (Fraction(1, 2), Fraction(1), Fraction(1, 4))
"""Lengths, in crotchets, that a bare letter may stand for; the first by default."""
_LONGEST = 200


def format_abc(tune: Tune, chords: Sequence[ChordAt] = ()) -> str:
    r"""Return a tune as ABC 2.1; `parse_abc` reads it back.

    Args:
        tune: The tune.
        chords: Chord symbols to print; where none are given, those that the tune
            carries, locked ones first.

    Raises:
        OutputError: If the tune holds what ABC cannot say; the place is named.

    >>> source = "X:1\nT:Rise\nM:3/4\nL:1/4\nK:D\n\"D\"DF2-|F2 A|]"
    >>> print(format_abc(parse_abc(source)[0]))
    %abc-2.1
    X:1
    T:Rise
    M:3/4
    L:1/4
    K:D
    "D"D F2- | F2 A |]
    <BLANKLINE>
    """
    chords = chords or tune.locks or tune.symbols
    assert_endings_close(tune)
    unit = _unit(tune)
    lines = ["%abc-2.1", *_header(tune, unit), *AbcPage(tune, chords, unit).lines()]
    text = "\n".join(lines) + "\n"
    try:
        (read,) = parse_abc(text)
    except NotationError as error:
        remedy = "Write MusicXML instead."
        raise OutputError(error.what, error.place, remedy) from None
    assert_same(tune, chords, read)
    return text


def _unit(tune: Tune) -> Fraction:
    """Return the commonest of the plain lengths."""
    counted = Counter(note.length for note in tune.notes)
    return max(_UNITS, key=lambda length: counted[length])


def _header(tune: Tune, unit: Fraction) -> list[str]:
    fields = ["X:1", format_field("T", format_string(tune.title))]
    fields += [format_field("O", text) for text in _origins(format_string(tune.origin))]
    fields.append(f"M:{format_metre(metres(tune)[0])}")
    fields.append(f"L:1/{4 / unit}")
    if len(tune.phrases) < 2 and has_sections(tune):
        # Otherwise readers would take the sections of a single line for its lines.
        fields.append("I:linebreak <EOL>")
    if tune.tempos and tune.tempos[0].onset == 0:
        fields.append(f"Q:{format_tempo(tune.tempos[0])}")
    return [*fields, f"K:{format_key(tune.key)}"]


def _origins(text: str) -> list[str]:
    """Return an origin in one field or, if it is long, a field a part."""
    if len(text) <= _LONGEST:
        return [text] if text else []
    return text.split("; ")
