"""Words of a typed tune into notes: E01 to E07, and E16 off the keyboard."""

import re
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple, NoReturn

from harmonise.errors import MelodyError, Place, seen_at
from harmonise.notation.tune_text.typed_bars import TypedBar, TypedWord
from harmonise.notation.tune_text.typed_lines import TypedPassage, TypedSheet
from harmonise.notation.tune_text.word_faults import (
    DEGREE,
    LETTER,
    NAME,
    NAMES,
    SMALL_LETTER,
    STEPS,
    NoteKind,
    fault,
    mixed_fault,
    word_fault,
)
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.pitch import LETTERS, Pitch, PitchName, format_alter, parse_alter

_C_MAJOR = Key(PitchName(0))
MOST_PARTS = 12


class TypedNote(NamedTuple):
    """A note as typed, before key and octave are known.

    Attributes:
        kind: Whether it is a letter, a degree or a name of sol-fa.
        step: Letter from C, or degree less one, from 0.
        sign: Its accidental as typed.
        octave: The octave as typed, 0 for none; of a degree, octaves upwards.
    """

    kind: NoteKind
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
        return Place(self.bar.told, Fraction(self.beat + 1))

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
        raise MelodyError(what, Place(self.bar.told), f"The {end}. {seen}")


def kind_of(sheet: TypedSheet) -> NoteKind | None:
    """Return how the notes of a tune are typed; None if its first note tells.

    Small letters and names are known by the whole tune alone: among capitals a small
    letter is a slip, and "la" is a word of the song.
    """
    words = {word for passage in sheet.passages for word in passage.tokens}
    parts = {part for word in words for part in word.split(".")}
    small = {part for part in parts if SMALL_LETTER.match(part)}
    # "b3" is a flat third among numbers, and a low B among small letters.
    if any(LETTER.match(part) or DEGREE.match(part) for part in parts - small):
        return None
    named = {name.group(2).lower() for part in parts if (name := NAME.match(part))}
    letters = {part for part in parts if part[:1].isalpha()}
    # The initials d and f are letters, too; a tune of initials has others besides.
    initials = named - {"d", "f"} and all(map(NAME.match, letters))
    if initials or any(len(name) > 1 for name in named):
        return NoteKind.NAMES
    return None if all(map(DEGREE.match, small)) else NoteKind.SMALL


def parse_notes(
    bars: list[TypedBar], sheet: TypedSheet
) -> tuple[list[Typed], NoteKind]:
    """Return the notes and rests of a tune, and how it is typed.

    Raises:
        NotationError: E01 to E07.
        MelodyError: E16, if a note lies off the keyboard.
    """
    reader = _WordReader(sheet)
    for word in reader.beats(bars):
        reader.take(word, bars)
    return reader.notes, reader.kind or NoteKind.LETTERS


class _WordReader(BeatReader):
    """Reads words in letters, numbers or names."""

    def __init__(self, sheet: TypedSheet) -> None:
        super().__init__(sheet.passages)
        self.sheet = sheet
        self.kind = kind_of(sheet)

    def take(self, word: TypedWord, bars: list[TypedBar]) -> None:
        """Read one beat."""
        parts = _parts(word.text, self.kind)
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
                note.bare = not (part.kind.by_key or part.sign)

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
        self.kind = self.kind or part.kind
        if part.kind is not self.kind:
            text = next(t for t in word.text.split(".") if _part(t, self.kind) == part)
            self.fail(*mixed_fault(text, self.kind, key))
        if not part.kind.by_key and part.octave == 2 and sheet.octave > 3:
            before = [note.pitch for note in self.notes if note.pitch][-1:]
            # Nobody leaps down to octave 2 from above middle C: "C2" means two beats.
            if not before or before[0].octave > 3:
                self._unreadable(word)
        if part.kind.by_key:
            pitch = _degree_pitch(part, key or _C_MAJOR, sheet.octave)
        else:
            pitch = _letter_pitch(part, key if sheet.signature else None, sheet.octave)
        self.assert_on_keyboard(pitch)
        if abs(pitch.alter) > 2:
            what = f"{pitch.name} needs more than a double sharp or flat."
            self.fail(what, "Type the note of the same sound.")
        return pitch

    def _unreadable(self, word: TypedWord) -> NoReturn:
        kind = self.kind
        if kind is None:
            # A slip in the first word is explained in what the rest is written in.
            text = " ".join(" ".join(passage.tokens) for passage in self.passages[:20])
            kinds = (r"\b[1-7]", r"\b[A-G]")
            digits, letters = (len(re.findall(kind, text)) for kind in kinds)
            if digits + letters:
                kind = NoteKind.NUMBERS if digits > letters else NoteKind.LETTERS
        key = self.passages[word.passage].key
        what, remedy = word_fault(word.text, key, kind)
        small = [t for p in self.passages for t in p.tokens if SMALL_LETTER.match(t)]
        if kind is NoteKind.LETTERS and word.text in small and len(small) > 1:
            remedy += f" {len(small)} notes are small; type all of them so."
        self.fail(what, remedy)


@lru_cache(maxsize=4096)
def _parts(word: str, kind: NoteKind | None) -> tuple[TypedNote | str, ...] | None:
    """Return the parts of a beat: notes, "-" and "0"; None if one is unreadable."""
    texts = word.split(".")
    if len(texts) > MOST_PARTS:
        return None
    parts: list[TypedNote | str] = []
    for text in texts:
        part = text if text in ("-", "0") else _part(text, kind)
        if not part:
            return None
        parts.append(part)
    return tuple(parts)


def _part(text: str, kind: NoteKind | None) -> TypedNote | None:
    if kind is NoteKind.NAMES:
        return _named(text)
    is_small = kind is NoteKind.SMALL and text[:1].islower()
    letter = LETTER.match(text[0].upper() + text[1:] if is_small else text)
    if letter:
        step = LETTERS.index(letter.group(1))
        octave = int(letter.group(3) or 0)
        kind = NoteKind.SMALL if is_small else NoteKind.LETTERS
        return TypedNote(kind, step, letter.group(2), octave)
    degree = DEGREE.match(text)
    if not degree:
        return None
    sign, step, marks = degree.group(1), int(degree.group(2)) - 1, degree.group(3)
    return TypedNote(NoteKind.NUMBERS, step, sign, _octaves(marks))


def _named(text: str) -> TypedNote | None:
    name = NAME.match(text)
    if not name or (name.group(1) and name.group(3)):
        return None
    sign, step = name.group(1) or name.group(3), STEPS[name.group(2).lower()]
    return TypedNote(NoteKind.NAMES, step, sign, _octaves(name.group(4)))


def _octaves(marks: str | None) -> int:
    return 0 if not marks else len(marks) if marks[0] == "'" else -len(marks)


@lru_cache(maxsize=4096)
def _degree_pitch(part: TypedNote, key: Key, octave: int) -> Pitch:
    if part.kind is NoteKind.NAMES:
        key = doh_key(key)
    # Degrees count up from the keynote and pass C on their way; 8 is the upper 1.
    over, letter = divmod(key.tonic.letter + part.step, 7)
    # A natural sign keeps the degree as the key has it.
    natural = part.sign in ("n", "♮")
    alter = key.scale[part.step % 7].alter + (0 if natural else parse_alter(part.sign))
    return Pitch(letter, alter, octave + part.octave + over)


@lru_cache(maxsize=4096)
def _letter_pitch(part: TypedNote, signature: Key | None, octave: int) -> Pitch:
    alter = parse_alter(part.sign)
    if signature and not part.sign:
        alter = signature.scale[(part.step - signature.tonic.letter) % 7].alter
    return Pitch(part.step, alter, part.octave or octave)


def doh_key(key: Key) -> Key:
    """Return the major key whose keynote is doh: in minor it is the third above lah."""
    return key_of_signature(key.fifths, Mode.MAJOR)


def typed_word(pitch: Pitch, key: Key, octave: int, kind: NoteKind) -> str:
    """Return a pitch as it would be typed in a tune of a kind.

    Args:
        pitch: The pitch.
        key: The key in force.
        octave: The octave of letters without a number, or of the keynote.
        kind: How the tune is typed.
    """
    if kind is NoteKind.NUMBERS:
        return degree_word(pitch, key, octave)
    if kind is NoteKind.NAMES:
        sign, degree, marks = re.split(
            r"(\d)", degree_word(pitch, doh_key(key), octave)
        )
        return f"{NAMES[int(degree) - 1]}{sign}{marks}"
    word = str(pitch.name) if pitch.octave == octave else str(pitch)
    return word[0].lower() + word[1:] if kind is NoteKind.SMALL else word


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
