"""A tune as every reader delivers it and every job takes it, and its facts in one line.

All times are exact `Fraction`s of a crotchet (quarter note) from the start of the
written page; repeats are not unfolded. A note that is tied in the notation is one
`TuneNote` here: the writer ties it again where a bar line or a beat asks for it. What
was understood is read back in one line, so that a slip is seen before printing.
"""

from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import MelodyError, Place, Remark
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import HIGHEST, Pitch


class Syllable(NamedTuple):
    """What is sung on one note in one verse.

    Attributes:
        text: The letters, without hyphens.
        joins: Whether a hyphen leads to the next syllable of the same word.
        extends: Whether the last syllable of its word is held over further notes.
    """

    text: str
    joins: bool = False
    extends: bool = False


class Grace(NamedTuple):
    """A grace note before a tune note.

    Attributes:
        pitch: Its pitch.
        slashed: Whether its stem is crossed (an acciaccatura).
        value: Written length in crotchets, such as 1/2.
    """

    pitch: Pitch
    slashed: bool = True
    value: Fraction = Fraction(1, 2)


class TuneNote(NamedTuple):
    """One struck note of the tune, or a rest.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets, more than 0.
        pitch: None for a rest.
        syllables: One entry a verse; None where the verse has none on this note.
        graces: Grace notes before it, in playing order.
        fermata: Whether a fermata stands over it.
        slur_starts: Number of slurs that begin here.
        slur_ends: Number of slurs that end here.
        line: Line of the source it was read from, from 1; 0 if unknown.
    """

    onset: Fraction
    length: Fraction
    pitch: Pitch | None
    syllables: tuple[Syllable | None, ...] = ()
    graces: tuple[Grace, ...] = ()
    fermata: bool = False
    slur_starts: int = 0
    slur_ends: int = 0
    line: int = 0

    @property
    def end(self) -> Fraction:
        """Onset of what follows, in crotchets."""
        return self.onset + self.length


class Bar(NamedTuple):
    """One bar as written.

    Attributes:
        number: As printed: a pickup is 0; a part bar carries the number of its whole.
        start: Crotchets from the start of the tune.
        length: Crotchets that the bar really holds.
        time: Time signature in force.
        repeat_start: Whether a repeat begins at its start.
        repeat_end: How often the music up to its end is played; 1 for no repeat.
        ending: Numbers of the ending that the bar belongs to, such as (1,); else ().
        double: Whether a double bar line closes it.
        section: Label that stands over it, such as "Chorus" or "A"; else "".
        offset: Crotchets of its full bar that it lacks at the front: all that is
            missing in a pickup, the first part's length in the second part of a
            split bar.
    """

    number: int
    start: Fraction
    length: Fraction
    time: TimeSignature
    repeat_start: bool = False
    repeat_end: int = 1
    ending: tuple[int, ...] = ()
    double: bool = False
    section: str = ""
    offset: Fraction = Fraction(0)

    @property
    def end(self) -> Fraction:
        """Onset of the next bar, in crotchets."""
        return self.start + self.length


def full_bars(count: int, time: TimeSignature) -> tuple[Bar, ...]:
    """Return some full bars of one metre, numbered from 1."""
    size = time.bar_length
    return tuple(Bar(at + 1, at * size, size, time) for at in range(count))


class KeyChange(NamedTuple):
    """A key from a place on.

    Attributes:
        onset: Crotchets from the start.
        key: The key.
    """

    onset: Fraction
    key: Key


class Tempo(NamedTuple):
    """A tempo from a place on.

    Attributes:
        onset: Crotchets from the start.
        per_minute: Beats a minute, more than 0; None where words alone tell it.
        beat: Length of that beat in crotchets: 1, or 3/2 for a dotted crotchet.
        words: Tempo words, such as "Slowly"; else "".
    """

    onset: Fraction
    per_minute: Fraction | None
    beat: Fraction = Fraction(1)
    words: str = ""

    @property
    def pace(self) -> Fraction | None:
        """Crotchets a minute; None where words alone tell the tempo."""
        return None if self.per_minute is None else self.per_minute * self.beat


class ChordAt(NamedTuple):
    """A chord that somebody wrote over the tune.

    Attributes:
        onset: Crotchets from the start.
        end: Where it stops.
        chord: The chord.
    """

    onset: Fraction
    end: Fraction
    chord: Chord


class Tune(NamedTuple):
    """A melody with all that its page says.

    Attributes:
        title: "" if it has none.
        notes: Struck notes and rests, without gap or overlap, from 0 to the end.
        bars: Bars without gap or overlap, from 0 to the end; never empty.
        keys: Keys in order; the first at 0.
        tempos: Tempo marks in order; may be empty.
        phrases: Onsets at which text lines, phrases or sections end, in order; the last
            is the end of the tune.
        locks: Chords that the user locked.
        symbols: Chord symbols that the source carries, not locked.
        were_locked: Those of them that were locked when our own file was written, each
            from where to where it was.
        verses: Number of verses of words.
        origin: Where the tune comes from, as told by the file; else "".
        remarks: What the reader has to say.
        key_guessed: Whether the key was guessed.
        end_text: Jump words at bar ends, such as (onset, "Fine").
        composer: Who made it, as told by the file; else "".
    """

    title: str
    notes: tuple[TuneNote, ...]
    bars: tuple[Bar, ...]
    keys: tuple[KeyChange, ...]
    tempos: tuple[Tempo, ...] = ()
    phrases: tuple[Fraction, ...] = ()
    locks: tuple[ChordAt, ...] = ()
    symbols: tuple[ChordAt, ...] = ()
    were_locked: tuple[ChordAt, ...] = ()
    verses: int = 0
    origin: str = ""
    remarks: tuple[Remark, ...] = ()
    key_guessed: bool = False
    end_text: tuple[tuple[Fraction, str], ...] = ()
    composer: str = ""

    @property
    def end(self) -> Fraction:
        """Length of the written tune in crotchets."""
        return self.bars[-1].end

    @property
    def key(self) -> Key:
        """Key at the start."""
        return self.keys[0].key

    @property
    def pace(self) -> Fraction:
        """Crotchets a minute of the first tempo that has a number; 0 without one."""
        return next((mark.pace for mark in self.tempos if mark.pace), Fraction(0))

    @property
    def sounding(self) -> tuple[TuneNote, ...]:
        """The notes without the rests."""
        return tuple(note for note in self.notes if note.pitch is not None)

    def bar_at(self, onset: Fraction) -> Bar:
        """Return the bar that holds an onset; the last bar for the very end."""
        low, high = 0, len(self.bars) - 1
        while low < high:
            middle = (low + high + 1) // 2
            if self.bars[middle].start <= onset:
                low = middle
            else:
                high = middle - 1
        return self.bars[low]

    def key_at(self, onset: Fraction) -> Key:
        """Return the key in force at an onset."""
        found = self.keys[0]
        for change in self.keys[1:]:
            if change.onset > onset:
                break
            found = change
        return found.key

    def place(self, onset: Fraction) -> Place:
        """Return bar and beat of an onset, as a player counts.

        Beats count the note that the lower number names, as our text notation does;
        in a pickup they count from its own first note.
        """
        bar = self.bar_at(onset)
        return Place(bar.number, (onset - bar.start) / bar.time.unit + 1)


QUICK_PACE = 100
"""Crotchets a minute from which a tune is quick if it has a few quick notes."""
QUICK_NOTE = Fraction(1, 3)
"""Seconds that a quick note lasts at most: a quaver at 90 crotchets a minute."""


def is_quick(tune: Tune) -> bool:
    """Return whether a tune runs: no hand strikes a chord under each of its notes.

    Quick notes are shorter than a beat, and three or more go to a second. A tune is
    quick if half of its notes are; at 100 crotchets a minute or more, if over a tenth
    are. Where no tempo is given, one with most notes shorter than a beat, and than a
    crotchet where the beat is a minim, is taken for a dance: what is light can be
    played at any tempo. A chorale, whose lines end in fermatas, never is. The bounds
    are our own.
    """
    notes = tune.sounding
    if sum(note.fermata for note in notes) > 1:
        return False
    times = [tune.bar_at(note.onset).time for note in notes]
    pairs = list(zip(notes, times, strict=True))
    if not tune.pace:
        short = sum(
            note.length < min(time.beat, Fraction(3, 2) if time.is_compound else 1)
            for note, time in pairs
        )
        return 2 * short > len(notes)
    longest = QUICK_NOTE * tune.pace / 60
    quick = sum(
        note.length < time.beat and note.length <= longest for note, time in pairs
    )
    least = Fraction(1, 10) if tune.pace >= QUICK_PACE else Fraction(1, 2)
    return quick > least * len(notes)


def assert_on_keyboard(tune: Tune) -> None:
    """Guard that a piano has every note of a tune.

    Raises:
        MelodyError: With the first that it lacks.
    """
    for note in tune.sounding:
        if note.pitch and (side := note.pitch.off_keyboard):
            away = "lower" if note.pitch.midi > HIGHEST else "higher"
            raise MelodyError(
                f"{note.pitch} is {side} of the piano.",
                tune.place(note.onset),
                f"Put the tune an octave {away}.",
            )


def format_readback(tune: Tune) -> str:
    """Return bars, metre, pickup, key, compass, notes, lines and the first full bar.

    Full bars are counted: neither a pickup nor the second part of a split bar. Notes
    of the first bar are named as they are typed, octave 4 without its number, 0 for a
    rest.

    Example:
        >>> from fractions import Fraction
        >>> from harmonise.theory.key import parse_key
        >>> from harmonise.theory.metre import TimeSignature
        >>> from harmonise.theory.pitch import parse_pitch
        >>> from harmonise.theory.tune import KeyChange, TuneNote
        >>> note = TuneNote(Fraction(0), Fraction(4), parse_pitch("G4"))
        >>> bar = Bar(1, Fraction(0), Fraction(4), TimeSignature(4, 4))
        >>> key = KeyChange(Fraction(0), parse_key("G"))
        >>> format_readback(Tune("", (note,), (bar,), (key,), phrases=(Fraction(4),)))
        '1 bar of 4/4, G major, G4, 1 note, 1 line; first bar: G'
    """
    first, sounding = tune.bars[0], tune.sounding
    full = [bar for bar in tune.bars if not bar.offset] or list(tune.bars)
    metre = f"{_count(len(full), 'bar')} of {first.time}"
    for before, bar in pairwise(tune.bars):
        if bar.time != before.time:
            metre += f" ({bar.time} from bar {bar.number})"
    facts = [metre]
    if first.offset and not first.number:
        beats = first.length / first.time.unit
        facts.append(f"pickup {float(beats):g} beat{'' if beats <= 1 else 's'}")
    keys = f"{tune.key}{' (guessed)' if tune.key_guessed else ''}"
    for change in tune.keys[1:]:
        keys += f" ({change.key} from bar {tune.bar_at(change.onset).number})"
    facts.append(keys)
    pitches = [note.pitch for note in sounding if note.pitch]
    if pitches:
        low, high = min(pitches, key=_midi), max(pitches, key=_midi)
        facts.append(str(low) if low == high else f"{low}–{high}")
    facts.append(_count(len(sounding), "note"))
    if tune.phrases:
        facts.append(_count(len(tune.phrases), "line"))
    bar = full[0]
    struck = [note for note in tune.notes if bar.start <= note.onset < bar.end]
    names = " ".join(_name(note.pitch) for note in struck)
    return f"{', '.join(facts)}; first bar: {names or 'held'}"


def _midi(pitch: Pitch) -> int:
    return pitch.midi


def _name(pitch: Pitch | None) -> str:
    if pitch is None:
        return "0"
    return str(pitch.name) if pitch.octave == 4 else str(pitch)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
