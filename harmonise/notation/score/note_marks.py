"""What the page says about single notes: words, slurs, accidentals.

An accidental lasts to the bar line, on its own line or space of its own staff; a note
tied over the bar line needs none. Courtesy accidentals follow TRADE N11: in the bar
after an altered note on the same line or space, and in the same bar in another octave.
The raised seventh of a minor key is never in the signature, so every bar, and every
octave of it, marks it anew. Common practice.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace, TuneNote

_MOST_SLURS = 16
"""Slurs that MusicXML can tell apart at one time (its number-level)."""


class PrintedSyllable(NamedTuple):
    """A syllable as MusicXML wants it.

    Attributes:
        verse: From 1.
        syllabic: "single", "begin", "middle" or "end".
        text: The letters.
        extends: Whether a line follows it.
    """

    verse: int
    syllabic: str
    text: str
    extends: bool


class NoteMarks(NamedTuple):
    """The marks of one tune note.

    Attributes:
        words: Its syllables, verse by verse.
        slur_starts: Numbers of the slurs that begin on it.
        slur_stops: Numbers of the slurs that end on it.
        graces: Grace notes before it.
    """

    words: tuple[PrintedSyllable, ...] = ()
    slur_starts: tuple[int, ...] = ()
    slur_stops: tuple[int, ...] = ()
    graces: tuple[Grace, ...] = ()


def mark_notes(notes: Sequence[TuneNote]) -> list[NoteMarks]:
    """Return the marks of every note and rest of a tune, in order."""
    joined: dict[int, bool] = {}
    starts, stops = _slurs(notes)
    return [
        NoteMarks(
            _words(note, joined),
            tuple(starts.get(number, ())),
            tuple(stops.get(number, ())),
            note.graces,
        )
        for number, note in enumerate(notes)
    ]


def _words(note: TuneNote, joined: dict[int, bool]) -> tuple[PrintedSyllable, ...]:
    """Return a note's syllables; `joined` remembers each verse's last hyphen."""
    words = []
    for verse, syllable in enumerate(note.syllables, 1):
        if syllable is None:
            continue
        after, joins = joined.get(verse, False), syllable.joins
        joined[verse] = joins
        syllabic = ("single", "begin", "end", "middle")[2 * after + joins]
        words.append(PrintedSyllable(verse, syllabic, syllable.text, syllable.extends))
    return tuple(words)


_Slurs = dict[int, list[int]]


def _slurs(notes: Sequence[TuneNote]) -> tuple[_Slurs, _Slurs]:
    """Pair beginnings and ends of slurs; those without a partner are left out.

    The slur that began last ends first, so that slurs nest.
    """
    starts: _Slurs = defaultdict(list)
    stops: _Slurs = defaultdict(list)
    waiting: list[int] = []
    pairs: list[tuple[int, int]] = []
    for place, note in enumerate(notes):
        # An end without a beginning is left out, as is what never ends.
        ended = min(note.slur_ends, len(waiting))
        pairs += [(waiting.pop(), place) for _ in range(ended)]
        waiting += [place] * note.slur_starts
    # Where the slur of each number ends: a number is free again after that.
    ends = [-1] * _MOST_SLURS
    for first, last in sorted(pairs):
        number = next((at for at, end in enumerate(ends) if end < first), None)
        if number is not None:
            ends[number] = last
            starts[first].append(number + 1)
            stops[last].append(number + 1)
    return starts, stops


_FLATS = {-3: "triple-flat", -2: "flat-flat", -1: "flat"}
_SHARPS = {1: "sharp", 2: "double-sharp", 3: "triple-sharp"}
NAMES = {**_FLATS, 0: "natural", **_SHARPS}
"""MusicXML's names of the accidental signs, by semitones."""


class Accidental(NamedTuple):
    """A printed accidental.

    Attributes:
        name: MusicXML's name of the sign.
        courtesy: Whether it only reminds.
    """

    name: str
    courtesy: bool


class StaffMemory:
    """What a reader of one staff remembers of its accidentals."""

    def __init__(self) -> None:
        """Begin with no key and nothing remembered."""
        self._key: dict[int, int] = {}
        self._bar: dict[int, int] = {}
        self._last_bar: dict[int, int] = {}
        self._letters: dict[int, int] = {}

    def enter_key(self, key: Key) -> None:
        """Take a new signature; what was altered before is no longer in force."""
        self._key = {name.letter: name.alter for name in key.scale}
        self._bar = {}
        self._letters = {}

    def enter_bar(self, tied: Iterable[Pitch] = ()) -> None:
        """Cross a bar line.

        Args:
            tied: Pitches that are held over it; a reader expects to see them altered.
        """
        self._last_bar = self._bar
        self._last_bar.update({pitch.staff_step: pitch.alter for pitch in tied})
        self._bar = {}
        self._letters = {}

    def strike(self, pitch: Pitch) -> Accidental | None:
        """Return the accidental of a struck note and remember it; None for none."""
        letter, alter, _ = pitch
        step = pitch.staff_step
        usual = self._key.get(letter, 0)
        in_force = self._bar.get(step, usual)
        heard = self._letters.get(letter, alter)
        before = alter if step in self._bar else self._last_bar.get(step, alter)
        self._bar[step] = self._letters[letter] = alter
        if alter == in_force == heard == before or alter not in NAMES:
            return None
        return Accidental(NAMES[alter], alter == in_force)
