"""Words of a typed tune into notes: E01 to E07, and E16 off the keyboard."""

import re
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple, NoReturn

from harmonise.errors import MelodyError, Place, seen_at
from harmonise.notation.tune_text.typed_bars import TypedBar, TypedWord
from harmonise.notation.tune_text.typed_headers import (
    DEGREE,
    LETTER,
    fault,
    mixed_fault,
    word_fault,
)
from harmonise.notation.tune_text.typed_lines import TypedPassage, TypedSheet
from harmonise.theory.key import Key
from harmonise.theory.pitch import LETTERS, Pitch, PitchName, format_alter, parse_alter

_C_MAJOR = Key(PitchName(0))
MOST_PARTS = 12


class TypedNote(NamedTuple):
    """A note as typed, before key and octave are known.

    Attributes:
        numbers: Whether it is a degree; else a letter.
        step: Letter from C, or degree less one, from 0.
        sign: Its accidental as typed.
        octave: The octave as typed, 0 for none; of a degree, octaves upwards.
    """

    numbers: bool
    step: int
    sign: str
    octave: int


class Typed:
    """A note or rest while holds may still lengthen it.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        pitch: None for a rest.
        passage: Number of the passage in which it is struck.
        bar: Number of its bar in the list of bars.
        bare: Whether it is a letter without a sign.
    """

    def __init__(self, onset: Fraction, length: Fraction, pitch: Pitch | None) -> None:
        """Strike a note."""
        self.onset = onset
        self.length = length
        self.pitch = pitch
        self.passage = 0
        self.bar = 0
        self.bare = False


class BeatReader:
    """The notes of a typed tune, read beat by beat.

    Attributes:
        passages: Lines of the tune.
        notes: Notes and rests that have been read.
        index: Number of the bar that is being read, in the list of bars.
        bar: That bar.
        beat: The beat that is being read, from 0.
    """

    bar: TypedBar

    def __init__(self, passages: list[TypedPassage]) -> None:
        """Begin before the first beat."""
        self.passages = passages
        self.notes: list[Typed] = []
        self.index = self.beat = 0

    def beats(self, bars: list[TypedBar]) -> Iterator[TypedWord]:
        """Yield the words of all beats in order."""
        for index, bar in enumerate(bars):
            self.index, self.bar = index, bar
            for beat, word in enumerate(bar.words):
                self.beat = beat
                yield word

    @property
    def onset(self) -> Fraction:
        """Where the beat begins, in crotchets."""
        return self.bar.start + self.bar.time.unit * self.beat

    @property
    def place(self) -> Place:
        """Where the beat is."""
        return Place(self.bar.number, Fraction(self.beat + 1))

    def strike(self, onset: Fraction, length: Fraction, pitch: Pitch | None) -> Typed:
        """Add a note, or a rest."""
        note = Typed(onset, length, pitch)
        note.passage, note.bar = self.bar.words[self.beat].passage, self.index
        self.notes.append(note)
        return note

    def fail(self, what: str, remedy: str = "") -> NoReturn:
        """Raise the fault of the beat, with its place and its word."""
        word = self.bar.words[self.beat]
        raise fault(
            what, self.passages[word.passage].line, word.text, self.place, remedy
        )

    def assert_on_keyboard(self, pitch: Pitch) -> None:
        """Guard that a piano has a note.

        Raises:
            MelodyError: E16, if none has.
        """
        if not (side := pitch.off_keyboard):
            return
        end = "highest key is C8" if "top" in side else "lowest key is A0"
        word = self.bar.words[self.beat]
        seen = seen_at(self.passages[word.passage].line, word.text)
        what = f"{pitch} is {side} of the piano's usual tune range."
        raise MelodyError(what, Place(self.bar.number), f"The {end}. {seen}")


def parse_notes(bars: list[TypedBar], sheet: TypedSheet) -> tuple[list[Typed], bool]:
    """Return the notes and rests of a tune, and whether it is in numbers.

    Raises:
        NotationError: E01 to E07.
        MelodyError: E16, if a note lies off the keyboard.
    """
    reader = _WordReader(sheet)
    for word in reader.beats(bars):
        reader.take(word, bars)
    return reader.notes, bool(reader.numbers)


class _WordReader(BeatReader):
    """Reads words in letters or numbers."""

    def __init__(self, sheet: TypedSheet) -> None:
        super().__init__(sheet.passages)
        self.sheet = sheet
        self.numbers: bool | None = None

    def take(self, word: TypedWord, bars: list[TypedBar]) -> None:
        """Read one beat."""
        parts = _parts(word.text)
        if parts is None:
            self._unreadable(word)
        # Divisions of fractions are slow, and most beats have one note.
        unit, onset = self.bar.time.unit, self.onset
        length = unit if len(parts) == 1 else unit / len(parts)
        for number, part in enumerate(parts):
            if part == "-":
                self._hold(length, bars, opens=not (self.beat or number))
                continue
            pitch = None if part == "0" else self._pitch(part, word)
            note = self.strike(onset + length * number, length, pitch)
            if isinstance(part, TypedNote):
                note.bare = not (part.numbers or part.sign)

    def _hold(self, length: Fraction, bars: list[TypedBar], *, opens: bool) -> None:
        # After a repeat sign another bar may have been played before this one.
        before = bars[self.index - 1] if self.index else None
        sealed = self.bar.repeat_start or (before and before.repeat_end > 1)
        if opens and sealed:
            self.fail("a hold (-) cannot cross a repeat sign.")
        if not self.notes:
            self.fail("a hold (-) needs a note before it.")
        self.notes[-1].length += length

    def _pitch(self, part: TypedNote | str, word: TypedWord) -> Pitch:
        """Return the pitch of a typed note under the key and the headers."""
        if not isinstance(part, TypedNote):
            raise TypeError(part)
        sheet, key = self.sheet, self.passages[word.passage].key
        # The first note decides; a tune is in letters or in numbers.
        if self.numbers is None:
            self.numbers = part.numbers
        if part.numbers is not self.numbers:
            text = next(t for t in word.text.split(".") if _part(t) == part)
            self.fail(*mixed_fault(text, numbers=self.numbers, key=key))
        if not part.numbers and part.octave == 2 and sheet.octave > 3:
            before = [note.pitch for note in self.notes if note.pitch][-1:]
            # Nobody leaps down to octave 2 from above middle C: "C2" means two beats.
            if not before or before[0].octave > 3:
                self._unreadable(word)
        if part.numbers:
            pitch = _degree_pitch(part, key or _C_MAJOR, sheet.octave)
        else:
            pitch = _letter_pitch(part, key if sheet.signature else None, sheet.octave)
        self.assert_on_keyboard(pitch)
        if abs(pitch.alter) > 2:
            what = f"{pitch.name} needs more than a double sharp or flat."
            self.fail(what, "Type the note of the same sound.")
        return pitch

    def _unreadable(self, word: TypedWord) -> NoReturn:
        numbers = self.numbers
        if numbers is None:
            # A slip in the first word is explained in what the rest is written in.
            text = " ".join(" ".join(passage.tokens) for passage in self.passages[:20])
            kinds = (r"\b[1-7]", r"\b[A-G]")
            digits, letters = (len(re.findall(kind, text)) for kind in kinds)
            numbers = digits > letters if digits + letters else None
        key = self.passages[word.passage].key
        self.fail(*word_fault(word.text, key, numbers=numbers))


@lru_cache(maxsize=4096)
def _parts(word: str) -> tuple[TypedNote | str, ...] | None:
    """Return the parts of a beat: notes, "-" and "0"; None if one is unreadable."""
    texts = word.split(".")
    if len(texts) > MOST_PARTS:
        return None
    parts: list[TypedNote | str] = []
    for text in texts:
        part = text if text in ("-", "0") else _part(text)
        if not part:
            return None
        parts.append(part)
    return tuple(parts)


def _part(text: str) -> TypedNote | None:
    letter = LETTER.match(text)
    if letter:
        step = LETTERS.index(letter.group(1))
        octave = int(letter.group(3) or 0)
        return TypedNote(numbers=False, step=step, sign=letter.group(2), octave=octave)
    degree = DEGREE.match(text)
    if not degree:
        return None
    marks = degree.group(3) or ""
    up = len(marks) if marks.startswith("'") else -len(marks)
    step = int(degree.group(2)) - 1
    return TypedNote(numbers=True, step=step, sign=degree.group(1), octave=up)


@lru_cache(maxsize=4096)
def _degree_pitch(part: TypedNote, key: Key, octave: int) -> Pitch:
    # Degrees count up from the keynote and pass C on their way.
    over, letter = divmod(key.tonic.letter + part.step, 7)
    # A natural sign keeps the degree as the key has it.
    natural = part.sign in ("n", "♮")
    alter = key.scale[part.step].alter + (0 if natural else parse_alter(part.sign))
    return Pitch(letter, alter, octave + part.octave + over)


@lru_cache(maxsize=4096)
def _letter_pitch(part: TypedNote, signature: Key | None, octave: int) -> Pitch:
    alter = parse_alter(part.sign)
    if signature and not part.sign:
        alter = signature.scale[(part.step - signature.tonic.letter) % 7].alter
    return Pitch(part.step, alter, part.octave or octave)


def degree_word(pitch: Pitch, key: Key, octave: int = 4) -> str:
    """Return a pitch as a degree of a key with its octave marks: #4, 1', 5,.

    Args:
        pitch: The pitch.
        key: The key in force.
        octave: The octave of the keynote that needs no mark.
    """
    degree, alter = key.degree(pitch.name)
    octaves = (pitch.staff_step - 7 * octave - key.tonic.letter) // 7
    marks = "'" * octaves if octaves > 0 else "," * -octaves
    return f"{format_alter(alter)}{degree}{marks}"
