"""What a pupil wrote, as plain values, before anybody judges it.

Chords that were typed and keys that were played are read here; they have neither
staves nor bars of their own, so the task's tune says what bar, beat and key they are
in. Every other format is read by `harmonise.marking.scripts`. Times are crotchets from
the start of the tune.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import chain, pairwise
from typing import NamedTuple

from harmonise.errors import (
    HarmoniseError,
    MelodyError,
    NotationError,
    Place,
    Remark,
    RemarkList,
    shorten,
)
from harmonise.marking.staves import under_the_tune
from harmonise.notation.midi.beat_grid import Metre, exact_place, read_metre, set_onsets
from harmonise.notation.midi.events import pace
from harmonise.notation.midi.parts import list_parts
from harmonise.notation.midi.placing import Placed, lay_bars
from harmonise.notation.midi.spelling import spell
from harmonise.notation.midi.tracks import MidiScore, PlayedNote, parse_file
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.chord import parse_symbol
from harmonise.theory.pitch import Pitch, parse_name, parse_pitch
from harmonise.theory.reach import NEAREST_HIGHEST, window_note
from harmonise.theory.tune import Bar, ChordAt, Tune

_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉♯♭", "01234567890123456789#b")
_STACKED = ("53", "63", "64", "65", "43", "42")
_SHORT = {"6": "6/3", "2": "4/2", "1st": "first", "2nd": "second", "3rd": "third"}
_NAMED = re.compile(
    r"([A-G](?:##|bb|[#b]?))(M|-|\s*(?i:min\.?|minor|maj\.?|major))(?i:\s+chord)?$"
)
BLANK = "?"
"""What stands in a box until somebody fills it in."""


def plain(text: str) -> str:
    """Return a label without raised, lowered or printed signs, and words as signs.

    >>> plain("V⁶₅"), plain("B♭"), plain("1st inversion"), plain("⁶₃"), plain("6")
    ('V6/5', 'Bb', 'first', '6/3', '6/3')
    >>> plain("C major"), plain("A minor"), plain("CM"), plain("Am"), plain("D-")
    ('C', 'Am', 'C', 'Am', 'Dm')
    """
    bare = text.translate(_RAISED).strip()
    for figures in _STACKED:
        if bare.endswith(figures):
            bare = f"{bare[:-2]}{figures[0]}/{figures[1]}"
    words = bare.lower().removesuffix(" inversion").removesuffix(" position")
    words = _SHORT.get(words, words)
    if words in ("root", "first", "second", "third", "open", "6/3", "4/2"):
        return words
    named = _NAMED.match(bare)
    if not named:
        return bare
    minor = named[2].strip().lower().startswith(("-", "min"))
    return f"{named[1]}{'m' if minor else ''}"


class Written(NamedTuple):
    """Words that stand at a place: a numeral, the name of a shape.

    Attributes:
        onset: Crotchets from the start.
        text: What is written.
    """

    onset: Fraction
    text: str


class Script(NamedTuple):
    """A pupil's work as it stands.

    Attributes:
        notes: What both hands play; every note of the right hand is an inner one until
            somebody knows the tune.
        bars: Its own bars, as long as they really are; () where it has those of the
            task.
        symbols: Chord symbols.
        words: Words at their places.
        title: Its title; or "".
        spelled: Whether notes have names; MIDI knows keys alone.
        tune_written: Whether the tune is written out; else the right hand's top note at
            each chord stands for it.
        remarks: What the reader has to say.
        assumed: What was assumed to tell the hands apart, in whole sentences.
    """

    notes: tuple[SoundingNote, ...]
    bars: tuple[Bar, ...] = ()
    symbols: tuple[ChordAt, ...] = ()
    words: tuple[Written, ...] = ()
    title: str = ""
    spelled: bool = True
    tune_written: bool = True
    remarks: tuple[Remark, ...] = ()
    assumed: tuple[str, ...] = ()


def in_order(note: SoundingNote) -> tuple[Fraction, int]:
    """Return the sort key of notes: by onset, then from the lowest up."""
    return note.onset, note.pitch.midi


_PLACED_LINE = re.compile(
    r"(?:bar\s+)?(\d{1,4})(?:(?:\.|,?\s*beat\s+)(\d{1,2}(?:\s+\d/\d|\.5)?))?"
    r" *[:|\t](.*)$",
    re.IGNORECASE,
)
"""A line that is about a place: bar, beat, and after the colon what is there."""
_HEADER = re.compile(r"(title|name|key|time|tempo)\s*:\s*(.*)$", re.IGNORECASE)
_NUMBERED = re.compile(r".*\d$")
_EXAMPLE = "Write lines such as: 1.3: F | C4 F4 A4 | F2"
_NOTHING = ("", "-", "–", "?")
_OCTAVE, _USUAL_TOP = 12, 67
_IN_WORDS = re.compile(r"\b([A-G][#b♯♭]*)\s+(maj|min)(?:or)?\b", re.IGNORECASE)


class _TypedChord(NamedTuple):
    """One line: where it stands, its label, what both hands play."""

    onset: Fraction
    label: str
    right: tuple[Pitch, ...]
    left: tuple[Pitch, ...]


def placed(line: str) -> re.Match[str] | None:
    """Return bar, beat and what is there, of a line about a place; None of another.

    The pickup is bar 0.
    """
    return _PLACED_LINE.match(_PICKUP.sub("0", line.strip()))


_PICKUP = re.compile(r"(?:the\s+)?pickup\b", re.IGNORECASE)


def is_typed(text: str) -> bool:
    """Whether a text has a line that says bar and beat."""
    return any(placed(line) for line in text.splitlines())


def parse_typed(text: str, tune: Tune) -> Script:
    """Return the script of chords that were typed one a line.

        # bar and beat: symbol, numeral, shape | right hand, low to high | left hand
        1:   C (I) root | C4 E4 G4 | C3
        1.3: F          | C4 F4 A4 | F2
        2:   G

    The top note of the right hand is the tune. Without any number a right hand rises
    and lies where its top is nearest to the given tune; beside numbers octave 4 needs
    none. The first left-hand letter without number is the one from F2 to E3. "-" or
    nothing is a hand that rests. With two fields there is no label; with one there is
    nothing else. What is typed sounds until the next line, the last one until its bar
    is over.

    Args:
        text: The lines; # begins a comment.
        tune: The tune of the task, whose bars are meant.

    Raises:
        NotationError: If a line cannot be read, with its bar and beat.
        MelodyError: If nothing is typed.
    """
    title, entries = "", list[_TypedChord]()
    for number, line in enumerate(text.splitlines(), 1):
        plain = line.partition(" #")[0].strip()
        header = _HEADER.match(plain)
        if header:
            title = header[2] if header[1].lower() in ("title", "name") else title
        elif plain and not plain.startswith("#"):
            entries.append(_entry(plain, number, tune))
    if not entries:
        raise MelodyError("Nothing is typed in this work.", None, _EXAMPLE)
    entries.sort(key=lambda entry: entry.onset)
    ends = [*(entry.onset for entry in entries[1:]), tune.bar_at(entries[-1].onset).end]
    notes = [
        n for entry, end in zip(entries, ends, strict=True) for n in _notes(entry, end)
    ]
    symbols, words = _labels(entries, tune.end)
    return Script(
        tuple(sorted(notes, key=in_order)),
        symbols=until_the_next(symbols, tune.end),
        words=tuple(words),
        title=title,
        tune_written=False,
    )


def _entry(line: str, number: int, tune: Tune) -> _TypedChord:
    match = placed(line)
    if not match:
        what = f'Line {number}, "{shorten(line)}", has no bar.'
        raise NotationError(what, None, _EXAMPLE)
    place = Place(int(match[1]), typed_beat(match[2] or "1"))
    bars = [bar for bar in tune.bars if bar.number == place.bar]
    if not bars:
        raise NotationError(f"the tune has no bar {place.bar}.", place, _EXAMPLE)
    onset = bars[0].start + ((place.beat or 1) - 1) * bars[0].time.unit
    if not onset < bars[-1].end:
        raise NotationError("the bar has no such beat.", place, _EXAMPLE)
    fields = [field.strip() for field in match[3].split("|")]
    if len(fields) > 3:
        raise NotationError('there are more than two "|".', place, _EXAMPLE)
    label = "" if len(fields) == 2 else fields[0]
    hands = fields[-2:] if len(fields) > 1 else ["", ""]
    try:
        right = _right(hands[0], _tune_at(tune, onset))
        return _TypedChord(onset, label, right, _left(hands[1]))
    except HarmoniseError as error:
        raise NotationError(error.what, place, error.remedy) from error


def _tune_at(tune: Tune, onset: Fraction) -> int:
    """Return the key of the last tune note up to a place; G4 where there is none."""
    before = [n.pitch.midi for n in tune.sounding if n.pitch and n.onset <= onset]
    return before[-1] if before else _USUAL_TOP


def typed_beat(text: str) -> Fraction:
    """Return a beat as it is typed after a bar: 2, 2.5 or 2 1/2.

    Raises:
        NotationError: If it is divided by nought.
    """
    whole, _, part = text.replace(".5", " 1/2").partition(" ")
    try:
        return Fraction(whole) + Fraction(part.strip() or 0)
    except ZeroDivisionError:
        what = f'"{text}" is no beat.'
        remedy = "Write a beat such as 2 or 2 1/2."
        raise NotationError(what, None, remedy) from None


def _right(text: str, near: int) -> tuple[Pitch, ...]:
    """Return a right hand; without numbers it lies where its top comes nearest."""
    words = [] if text in _NOTHING else text.split()
    if any(_NUMBERED.match(word) for word in words):
        return tuple(
            parse_pitch(word if _NUMBERED.match(word) else f"{word}4") for word in words
        )
    stack = tuple(_stacked(words, 0))
    octaves = round(Fraction(near - stack[-1].midi, _OCTAVE)) if stack else 0
    return tuple(p._replace(octave=p.octave + octaves) for p in stack)


def _left(text: str) -> tuple[Pitch, ...]:
    words = [] if text in _NOTHING else text.split()
    if any(_NUMBERED.match(word) for word in words) or not words:
        return tuple(
            parse_pitch(word) if _NUMBERED.match(word) else _in_left(word)
            for word in words
        )
    return tuple(_stacked(words, _in_left(words[0]).midi))


def _in_left(word: str) -> Pitch:
    name = parse_name(word)
    return name.at(window_note(name.pitch_class))


def _stacked(words: Sequence[str], lowest: int) -> Iterator[Pitch]:
    """Yield letters as notes that rise, the first one from a lowest note up."""
    for word in words:
        name = parse_name(word)
        pitch = name.at(lowest + (name.pitch_class - lowest) % _OCTAVE)
        yield pitch
        lowest = pitch.midi + 1


def _notes(entry: _TypedChord, end: Fraction) -> Iterator[SoundingNote]:
    times = (entry.onset, end - entry.onset)
    for pitch in entry.right:
        yield SoundingNote(*times, pitch, Hand.RIGHT, Voice.INNER)
    for pitch in entry.left:
        yield SoundingNote(*times, pitch, Hand.LEFT, Voice.BASS)


def _labels(
    entries: Sequence[_TypedChord], end: Fraction
) -> tuple[list[ChordAt], list[Written]]:
    """Return the chord symbols, each lasting to the end, and the other words."""
    symbols, words = [], []
    for entry in entries:
        label = _IN_WORDS.sub(r"\1\2", entry.label.replace("(", " ").replace(")", " "))
        for word in filter(BLANK.__ne__, label.split()):
            try:
                symbols.append(ChordAt(entry.onset, end, parse_symbol(plain(word))))
            except NotationError:
                words.append(Written(entry.onset, word))
    return symbols, words


def until_the_next(symbols: list[ChordAt], end: Fraction) -> tuple[ChordAt, ...]:
    """Return chord symbols in order, each up to the next one, or ended before it."""
    symbols.sort(key=lambda symbol: symbol.onset)
    onsets = [*(symbol.onset for symbol in symbols), end]
    return tuple(
        symbol._replace(end=min(symbol.end, stop))
        for symbol, (_, stop) in zip(symbols, pairwise(onsets), strict=True)
    )


_ENDS = Fraction(1, 4)
"""Ends that lie on no plain place are set to the nearest quarter of a crotchet."""


def parse_played(data: bytes, tune: Tune) -> Script:
    """Return the script that a MIDI file holds.

    MIDI knows keys and times and no names of notes. Two tracks (or channels) are two
    hands, the lower one the left; more than two are the left hand in the lowest and
    the right hand in the others. In a single track the lowest note of those that begin
    together is the left hand's if it lies no higher than G3.

    Args:
        data: The file.
        tune: The tune of the task, in whose key notes are named.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If there is no note in it.
    """
    remarks = RemarkList()
    score = parse_file(data)
    hands = _hands(score)
    every = sorted((n for notes in hands.values() for n in notes), key=_by_start)
    if not every:
        raise MelodyError("There is no note in this work.", None, "Record it again.")
    placed = _placed(every, score, read_metre(score, remarks))
    page = lay_bars(placed, read_metre(score, RemarkList()), remarks)
    left = set(hands[Hand.LEFT])
    notes = [
        SoundingNote(
            note.onset - page.start,
            note.end - note.onset,
            spell([note.played.midi], [tune.key_at(note.onset - page.start)])[0],
            Hand.LEFT if note.played in left else Hand.RIGHT,
            Voice.BASS if note.played in left else Voice.INNER,
        )
        for note in placed
    ]
    right, lower = (
        [note for note in notes if note.hand is hand]
        for hand in (Hand.RIGHT, Hand.LEFT)
    )
    lifted = under_the_tune(right, lower)
    return Script(
        tuple(sorted(lifted.notes if lifted else notes, key=in_order)),
        page.bars,
        spelled=False,
        remarks=remarks.told(Tune("", (), page.bars, tune.keys).place),
        assumed=lifted.assumed if lifted else (),
    )


def _by_start(note: PlayedNote) -> tuple[int, int]:
    return note.start, note.midi


def _placed(notes: list[PlayedNote], score: MidiScore, metre: Metre) -> list[Placed]:
    """Return the notes on paper; notes that begin together stand at one place."""
    starts = sorted({note.start for note in notes})
    grid = set_onsets(starts, score.ticks, metre, pace(score))
    at = dict(zip(starts, grid.onsets, strict=True))
    placed = []
    for note in notes:
        end = exact_place(note.end, score.ticks)
        if end is None:
            # Fingers leave keys early or late, so only beginnings are set exactly.
            end = round(Fraction(note.end, score.ticks) / _ENDS) * _ENDS
        placed.append(Placed(at[note.start], max(end, at[note.start] + _ENDS), note))
    return placed


def _hands(score: MidiScore) -> dict[Hand, list[PlayedNote]]:
    parts = [list(part.notes) for part in list_parts(score)]
    parts = [[n for n in notes if n.end > n.start] for notes in parts]
    if len(parts) > 1:
        parts.sort(key=lambda notes: sum(n.midi for n in notes) / len(notes))
        return {Hand.LEFT: parts[0], Hand.RIGHT: list(chain(*parts[1:]))}
    together: dict[int, list[PlayedNote]] = defaultdict(list)
    for note in parts[0] if parts else []:
        together[note.start].append(note)
    lowest = {min(notes, key=lambda note: note.midi) for notes in together.values()}
    left = [note for note in lowest if note.midi <= NEAREST_HIGHEST]
    right = [n for notes in together.values() for n in notes if n not in left]
    return {Hand.LEFT: left, Hand.RIGHT: right}
