"""Copies of drills to print, and several of them in one score.

A copy shows all notes, or the first chord and numerals, or everything with answers.

Exercises put together as one score, and their copies as MusicXML.
"""

import re
from collections.abc import Sequence
from enum import Enum
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from harmonise.lessons.drill_score import Exercise
from harmonise.lessons.practice import START
from harmonise.notation.midi.writing import AS_WRITTEN, Playing
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.score.printed_labels import format_position
from harmonise.theory.arrangement import Arrangement, Labels, Slot, Style
from harmonise.theory.key import printed
from harmonise.theory.tune import KeyChange, Syllable, TuneNote

if TYPE_CHECKING:
    from harmonise.notation.paper.blocks import Page


class Version(Enum):
    """Which copy of a drill is printed."""

    EXERCISE = "exercise"
    BLANK = "blank"
    ANSWER = "answer"


class DrillCopy(NamedTuple):
    """What is printed of an exercise.

    Attributes:
        version: All notes; the first chord only and numerals; or all notes, numerals,
            positions and fingers.
        labels: How positions are named in answers.
        fingering: Whether copies without answers have fingers too.
    """

    version: Version = Version.EXERCISE
    labels: Labels = Labels.WORDS
    fingering: bool = False


PLAIN_COPY = DrillCopy()


def copy_of(exercise: Exercise, copy: DrillCopy) -> Arrangement:
    """Return one copy of an exercise, as it is printed."""
    whole = exercise.score
    answer = copy.version is Version.ANSWER
    hidden = exercise.hidden and not answer
    style = Style(
        numerals=answer or (copy.version is Version.BLANK and not hidden),
        fingering=answer or (copy.fingering and not hidden),
    )
    whole = whole._replace(style=style)
    if answer:
        return _with_labels(whole, copy.labels)
    if hidden:
        slots = tuple(slot._replace(chord=None, numeral="") for slot in whole.slots)
        return whole._replace(slots=slots)
    return _with_first_only(whole) if copy.version is Version.BLANK else whole


def _with_labels(whole: Arrangement, labels: Labels) -> Arrangement:
    """Return a score with the positions as words under the treble staff."""
    notes = tuple(
        _labelled(note, slot, labels)
        for note, slot in zip(whole.tune.notes, whole.slots, strict=True)
    )
    tune = whole.tune._replace(notes=notes, verses=1)
    return whole._replace(tune=tune)


def _labelled(note: TuneNote, slot: Slot, labels: Labels) -> TuneNote:
    if slot.chord is None or slot.position is None:
        return note
    text = format_position(slot.position, labels, len(slot.chord.members))
    return note._replace(syllables=(Syllable(text),)) if text else note


def _with_first_only(whole: Arrangement) -> Arrangement:
    """Return a score of which only the first chord is given."""
    until = whole.slots[0].end
    tune_notes = tuple(
        note if note.onset < until else note._replace(pitch=None)
        for note in whole.tune.notes
    )
    return whole._replace(
        tune=whole.tune._replace(notes=tune_notes),
        notes=tuple(note for note in whole.notes if note.onset < until),
    )


class CopyRow(Arrangement):
    """Exercises one after the other in one score."""

    __slots__ = ()

    @property
    def changes(self) -> tuple[Slot, ...]:
        """The slots where a chord is printed: each exercise prints its first anew."""
        starts = {Fraction(0), *self.tune.phrases}
        found: list[Slot] = []
        for slot in self.slots:
            again = found and found[-1].chord == slot.chord
            if slot.chord and (slot.onset in starts or not again):
                found.append(slot)
        return tuple(found)


def join(parts: Sequence[tuple[str, Arrangement]], title: str) -> CopyRow:
    """Return several scores as one, one after the other with double bars between.

    Args:
        parts: What stands above each, and the score; at least one.
        title: Title of the whole.
    """
    moved: list[Arrangement] = []
    start, number = Fraction(0), 0
    for words, part in parts:
        moved.append(_moved(part, start, number, words))
        start, number = moved[-1].tune.end, number + len(part.tune.bars)
    tunes = [part.tune for part in moved]
    bars = [bar for tune in tunes for bar in tune.bars]
    bars[-1] = bars[-1]._replace(double=False)
    tune = tunes[0]._replace(
        title=title,
        notes=tuple(note for tune in tunes for note in tune.notes),
        bars=tuple(bars),
        keys=tuple(tune.keys[0] for tune in tunes),
        phrases=tuple(tune.end for tune in tunes),
        verses=max(tune.verses for tune in tunes),
    )
    return CopyRow(
        tune,
        moved[0].style,
        tuple(slot for part in moved for slot in part.slots),
        tuple(note for part in moved for note in part.notes),
    )


def _moved(part: Arrangement, start: Fraction, bars: int, words: str) -> Arrangement:
    """Return a score that begins later, after some bars, with words above it."""
    tune = part.tune
    own = [
        bar._replace(number=bar.number + bars, start=bar.start + start)
        for bar in tune.bars
    ]
    own[0] = own[0]._replace(section=words)
    own[-1] = own[-1]._replace(double=True)
    tune = tune._replace(
        notes=tuple(note._replace(onset=note.onset + start) for note in tune.notes),
        bars=tuple(own),
        keys=(KeyChange(start, tune.key),),
    )
    return part._replace(
        tune=tune,
        slots=tuple(_moved_slot(slot, start, bars) for slot in part.slots),
        notes=tuple(note._replace(onset=note.onset + start) for note in part.notes),
    )


def _moved_slot(slot: Slot, start: Fraction, bars: int) -> Slot:
    place = slot.place._replace(bar=slot.place.bar + bars)
    return slot._replace(onset=slot.onset + start, place=place)


_NOTE = re.compile(r"( *)<note .*?</note>\n", re.DOTALL)
_REST = re.compile(r"( *)<note [^>]*>\n *<rest.*?</note>\n", re.DOTALL)
_DURATION = re.compile(r"<duration>(\d+)</duration>")
_NUMERAL = re.compile(
    r' *<lyric number="1" name="numeral">.*?<text>(.*?)</text>.*?</lyric>\n', re.DOTALL
)
_SYMBOL = re.compile(r" *<harmony .*?</harmony>\n", re.DOTALL)
_WORDS = (
    '{0}<direction placement="below">\n'
    "{0}  <direction-type>\n"
    '{0}    <words default-y="-80" font-style="normal">{1}</words>\n'
    "{0}  </direction-type>\n"
    "{0}  <staff>2</staff>\n"
    "{0}</direction>\n"
)


def joined(
    exercises: Sequence[Exercise],
    title: str,
    copy: DrillCopy = PLAIN_COPY,
) -> Arrangement:
    """Return exercises as one score.

    Args:
        exercises: At least one.
        title: Title of the score.
        copy: Which copy of them.
    """
    several = len({own.drill for own in exercises}) > 1
    parts = []
    for own in exercises:
        words = f"{printed(own.key)}, {own.label}"
        if several and own.drill:
            words = f"{own.drill}: {words}"
        parts.append((words, copy_of(own, copy)))
    return join(parts, title)


def format_copy(score: Arrangement, version: Version) -> bytes:
    """Return a copy of exercises as MusicXML.

    A blank copy has no chord symbols and shows no rests: the pupil writes over the
    numerals.
    """
    text = format_musicxml(score).decode()
    if version is Version.BLANK:
        text = _NOTE.sub(_hidden_rest, _SYMBOL.sub("", text))
        return _NOTE.sub(_numeral_as_words, text).encode()
    return _REST.sub(_numeral_as_words, text).encode()


class DrillOutput(NamedTuple):
    """How exercises go into a file.

    Attributes:
        copy: Which copy of them is printed.
        tempo: Crotchets a minute that the practice plan starts from.
        playing: How they are played.
        page: The page of a booklet; None for A4 upright.
    """

    copy: DrillCopy = PLAIN_COPY
    tempo: int = START
    playing: Playing = AS_WRITTEN
    page: "Page | None" = None


def _numeral_as_words(found: re.Match[str]) -> str:
    """Return a note whose numeral is words under the staff.

    Engravers drop the lyrics of rests.
    """
    note, indent = found.group(), found.group(1)
    numeral = _NUMERAL.search(note)
    if not numeral:
        return note
    note = note[: numeral.start()] + note[numeral.end() :]
    return _WORDS.format(indent, numeral.group(1)) + note


def _hidden_rest(found: re.Match[str]) -> str:
    """Return a rest that is not shown; notes stay as they are.

    A rest for the whole bar gets a value, or what hangs on it is set at the bar's end.
    """
    note = found.group()
    if "<rest" not in note:
        return note
    note = note.replace("<note ", '<note print-object="no" ', 1)
    if '<rest measure="yes"/>' not in note:
        return note
    value = "<type>half</type><dot/>" if _is_triple(note) else "<type>whole</type>"
    note = note.replace(' measure="yes"', "", 1)
    return note.replace("</voice>\n", f"</voice>\n{found.group(1)}  {value}\n", 1)


def _is_triple(note: str) -> bool:
    """Return whether a rest for a whole bar lasts three crotchets, not four."""
    duration = _DURATION.search(note)
    return duration is not None and int(duration.group(1)) % 3 == 0
