"""Words of a typed tune into notes: E01 to E07, and E16 off the keyboard."""

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple, NoReturn

from harmonise.errors import MelodyError, Place, seen_at
from harmonise.notation.tune_text.typed_bars import TypedBar
from harmonise.notation.tune_text.typed_headers import (
    DEGREE,
    LETTER,
    fault,
    mixed_fault,
    word_fault,
)
from harmonise.notation.tune_text.typed_lines import TypedSheet
from harmonise.theory.key import Key
from harmonise.theory.pitch import LETTERS, Pitch, PitchName, format_alter, parse_alter

HIGHEST = 108
LOWEST = 21
"""MIDI notes C8 and A0, the ends of a keyboard of 88 keys (common practice)."""

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


class _WordReader:
    """What is known while the words of one tune are read in order."""

    def __init__(self, sheet: TypedSheet) -> None:
        self.sheet = sheet
        self.notes: list[Typed] = []
        self.numbers: bool | None = None
        self.bar = 0


def parse_notes(bars: list[TypedBar], sheet: TypedSheet) -> tuple[list[Typed], bool]:
    """Return the notes and rests of a tune, and whether it is in numbers.

    Raises:
        NotationError: E01 to E07.
        MelodyError: E16, if a note lies off the keyboard.
    """
    reader = _WordReader(sheet)
    for index, bar in enumerate(bars):
        before = bars[index - 1] if index else bar
        # After a repeat sign another bar may have been played before this one.
        sealed = bar.repeat_start or (index > 0 and before.repeat_end > 1)
        reader.bar = index
        for beat in range(bar.beats):
            _read_word(reader, bar, beat, sealed=sealed and not beat)
    return reader.notes, bool(reader.numbers)


def _read_word(reader: _WordReader, bar: TypedBar, beat: int, *, sealed: bool) -> None:
    word = bar.words[beat]
    parts = _parts(word.text)
    unit = bar.time.unit
    if parts is None:
        _unreadable(reader, bar, beat)
    onset = bar.start + unit * beat
    # Divisions of fractions are slow, and most beats have one note.
    length = unit if len(parts) == 1 else unit / len(parts)
    for number, part in enumerate(parts):
        if part == "-":
            if sealed and not number:
                _fail(reader, bar, beat, "a hold (-) cannot cross a repeat sign.")
            if not reader.notes:
                _fail(reader, bar, beat, "a hold (-) needs a note before it.")
            reader.notes[-1].length += length
            continue
        pitch = None if part == "0" else _pitch(reader, part, bar, beat)
        note = Typed(onset + length * number, length, pitch)
        note.passage = word.passage
        note.bar = reader.bar
        note.bare = isinstance(part, TypedNote) and not part.numbers and not part.sign
        reader.notes.append(note)


@lru_cache(maxsize=4096)
def _parts(word: str) -> tuple[TypedNote | str, ...] | None:
    """Return the parts of a beat: notes, "-" and "0"; None if one is unreadable."""
    texts = word.split(".")
    if len(texts) > MOST_PARTS:
        return None
    found: list[TypedNote | str] = []
    for text in texts:
        part = text if text in ("-", "0") else _part(text)
        if not part:
            return None
        found.append(part)
    return tuple(found)


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


def _pitch(
    reader: _WordReader, part: TypedNote | str, bar: TypedBar, beat: int
) -> Pitch:
    """Return the pitch of a typed note under the key and the headers."""
    if not isinstance(part, TypedNote):
        raise TypeError(part)
    sheet = reader.sheet
    key = sheet.passages[bar.words[beat].passage].key
    # The first note decides; a tune is in letters or in numbers.
    if reader.numbers is None:
        reader.numbers = part.numbers
    if part.numbers is not reader.numbers:
        text = bar.words[beat].text
        own = next(t for t in text.split(".") if _part(t) == part)
        what, remedy = mixed_fault(own, numbers=reader.numbers, key=key)
        _fail(reader, bar, beat, what, remedy)
    # Nobody leaps down to octave 2 from above middle C: "C2" means two beats.
    if not part.numbers and part.octave == 2 and _is_length(reader):
        _unreadable(reader, bar, beat)
    if part.numbers:
        pitch = _degree_pitch(part, key or _C_MAJOR, sheet.octave)
    else:
        pitch = _letter_pitch(part, key if sheet.signature else None, sheet.octave)
    if not LOWEST <= pitch.midi <= HIGHEST:
        word = bar.words[beat]
        line = sheet.passages[word.passage].line
        raise off_keyboard(pitch, Place(bar.number), seen_at(line, word.text))
    if abs(pitch.alter) > 2:
        what = f"{pitch.name} needs more than a double sharp or flat."
        _fail(reader, bar, beat, what, "Type the note of the same sound.")
    return pitch


def _is_length(reader: _WordReader) -> bool:
    """Whether a 2 after a letter is ABC's "two beats": no low note leads to it."""
    before = next((note.pitch for note in reversed(reader.notes) if note.pitch), None)
    return reader.sheet.octave > 3 and (before is None or before.octave > 3)


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


def _unreadable(reader: _WordReader, bar: TypedBar, beat: int) -> NoReturn:
    word = bar.words[beat]
    numbers = reader.numbers
    if numbers is None:
        numbers = _begins_in_numbers(reader.sheet)
    key = reader.sheet.passages[word.passage].key
    _fail(reader, bar, beat, *word_fault(word.text, key, numbers=numbers))


def _begins_in_numbers(sheet: TypedSheet) -> bool | None:
    """Return what most words are in while no note has been read yet."""
    text = " ".join(" ".join(passage.tokens) for passage in sheet.passages[:20])
    # A slip in the first word is explained in what the rest is written in.
    digits, letters = (len(re.findall(p, text)) for p in (r"\b[1-7]", r"\b[A-G]"))
    return digits > letters if digits + letters else None


def off_keyboard(pitch: Pitch, place: Place, seen: str) -> MelodyError:
    """Return the error of a note that no piano has (E16)."""
    high = pitch.midi > HIGHEST
    side = "above the top" if high else "below the bottom"
    end = "highest key is C8" if high else "lowest key is A0"
    what = f"{pitch} is {side} of the piano's usual tune range."
    return MelodyError(what, place, f"The {end}. {seen}")


def _fail(
    reader: _WordReader, bar: TypedBar, beat: int, what: str, remedy: str = ""
) -> NoReturn:
    word = bar.words[beat]
    line = reader.sheet.passages[word.passage].line
    place = Place(bar.number, Fraction(beat + 1))
    raise fault(what, line, word.text, place, remedy)


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
