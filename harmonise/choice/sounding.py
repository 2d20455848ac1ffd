"""From the chosen states to the notes that both hands play.

Inner notes and left hand last until the chord, the bar or the shape changes; inside one
bar an unchanged shape is held, not struck again. Where the tune rests at the end of a
line both hands let go with it.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from harmonise.choice.choose import Choice
from harmonise.choice.grid import Grid, in_ticks
from harmonise.choice.shapes import ABSENT
from harmonise.left_hand.strokes import LeftNote, LeftSlot
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.pitch import Pitch, PitchClass
from harmonise.theory.tune import Tune


class _Struck(NamedTuple):
    """A note with its times in ticks, as it is sorted."""

    onset: int
    midi: int
    end: int
    pitch: Pitch
    voice: Voice
    finger: int = 0


_Chord = tuple[int, int, int]
_Spelled = dict[int, Pitch]


class _VoiceLine:
    """The notes of one voice that sound at the moment; those that end go to `done`."""

    def __init__(self, voice: Voice, done: list[_Struck]) -> None:
        self._voice, self._done = voice, done
        self._now: dict[int, tuple[int, Pitch]] = {}

    def sounds(self, pitches: _Spelled) -> bool:
        """Whether exactly these notes sound."""
        return self._now.keys() == pitches.keys()

    def let_go(self, when: int, keep: _Spelled | None = None) -> None:
        now = self._now
        for midi in [midi for midi in now if not keep or midi not in keep]:
            onset, pitch = now.pop(midi)
            if when > onset:
                self._done.append(_Struck(onset, midi, when, pitch, self._voice))

    def strike(self, when: int, pitches: _Spelled) -> None:
        self.let_go(when)
        self._now = {midi: (when, pitch) for midi, pitch in pitches.items()}


class _Speller:
    """Spells the members of each chord; the same notes are spelled once."""

    def __init__(self, choice: Choice) -> None:
        self._board = choice.board
        self._made: dict[tuple[int, int, tuple[int, ...]], _Spelled] = {}

    def all(self, chord: _Chord, midis: tuple[int, ...]) -> _Spelled:
        """Return the pitches of a chord's members by MIDI number."""
        key = (chord[0], chord[1], midis)
        found = self._made.get(key)
        if found is None:
            members = self._board.offers[chord[0]][chord[1]].chord.members
            names = {name.pitch_class: name for name in members}
            found = {
                midi: names[PitchClass(midi % 12)].at(midi)
                for midi in midis
                if midi != ABSENT
            }
            self._made[key] = found
        return found


def sounding_notes(tune: Tune, choice: Choice) -> tuple[SoundingNote, ...]:
    """Return every note of both hands, by onset and then from the lowest up."""
    ticks = choice.grid.ticks
    notes: list[_Struck] = []
    _accompany(tune, choice, notes)
    for note in tune.notes:
        if note.pitch is not None:
            onset = in_ticks(note.onset, ticks)
            end = onset + in_ticks(note.length, ticks)
            notes.append(_Struck(onset, note.pitch.midi, end, note.pitch, Voice.TUNE))
    notes.sort(key=itemgetter(0, 1))
    times = _Times(ticks)
    return tuple(_finish(note, times) for note in notes)


class _Times(dict[int, Fraction]):
    """Crotchets by ticks; each is worked out once."""

    def __init__(self, ticks: int) -> None:
        super().__init__()
        self._ticks = ticks

    def __missing__(self, count: int) -> Fraction:
        self[count] = found = Fraction(count, self._ticks)
        return found


def _finish(note: _Struck, times: _Times) -> SoundingNote:
    onset, _, end, pitch, voice, finger = note
    hand = Hand.LEFT if voice is Voice.BASS else Hand.RIGHT
    return SoundingNote(times[onset], times[end - onset], pitch, hand, voice, finger)


class _ChosenShapes(NamedTuple):
    """The chosen shapes as plain lists: by slot, the inner ones by part as well."""

    inner: list[list[list[int]]]
    struck: list[list[bool]]
    left: Sequence[LeftSlot]
    chord: list[tuple[int, int, int]]
    """Stretch, column and bar: where all three stay, an unchanged shape is held."""


def _score(choice: Choice) -> _ChosenShapes:
    hands, grid = choice.hands, choice.grid
    chosen = (range(grid.slots), 0, choice.kinds)
    basses = hands.bass[chosen].tolist()
    stretch, bars = choice.board.stretch.tolist(), grid.slot_bar.tolist()
    return _ChosenShapes(
        hands.inner[chosen].tolist(),
        hands.struck[chosen].tolist(),
        choice.left or [LeftSlot((bass,)) for bass in basses],
        list(zip(stretch, choice.columns.tolist(), bars, strict=True)),
    )


def _accompany(tune: Tune, choice: Choice, done: list[_Struck]) -> None:
    """Play the parts of the chosen shapes in order."""
    grid, score = choice.grid, _score(choice)
    spell = _Speller(choice)
    closes = silent_parts(tune, choice)
    right, left = _VoiceLine(Voice.INNER, done), _VoiceLine(Voice.BASS, done)
    before, same = (-1, -1, -1), False
    parts = zip(
        grid.slot.tolist(), grid.order.tolist(), grid.start.tolist(), strict=True
    )
    for part, (slot, j, start) in enumerate(parts):
        if part in closes:
            right.let_go(start)
            left.let_go(start)
            before = (-1, -1, -1)
            continue
        chord = score.chord[slot]
        if j == 0:
            same, before = chord == before, chord
            own = score.left[slot]
            low = spell.all(chord, own.held)
            if own.struck or not (same and left.sounds(low)):
                left.strike(start, low)
            done.extend(map(_left_struck, own.struck))
        notes = spell.all(chord, tuple(score.inner[slot][j]))
        held = same and j == 0 and right.sounds(notes)
        if score.struck[slot][j] and not held:
            right.strike(start, notes)
        else:
            right.let_go(start, keep=notes)
    right.let_go(int(grid.slot_start[-1]))
    left.let_go(int(grid.slot_start[-1]))


def _left_struck(note: LeftNote) -> _Struck:
    onset, end, pitch, finger = note
    return _Struck(onset, pitch.midi, end, pitch, Voice.BASS, finger)


def silent_parts(tune: Tune, choice: Choice) -> frozenset[int]:
    """Return the parts under which both hands are silent.

    These are rests until a line, or the tune, ends, and pickups after a repeat.
    """
    grid = choice.grid
    ends = {*tune.phrases, tune.end}
    notes = grid.note.tolist()
    rests = (grid.midi < 0).nonzero()[0].tolist()
    silent = {part for part in rests if tune.notes[notes[part]].end in ends}
    return frozenset(silent | _later_pickups(tune, grid))


def _later_pickups(tune: Tune, grid: Grid) -> set[int]:
    """Return the parts in pickups that follow a repeat or a double bar."""
    found: set[int] = set()
    for before, bar in pairwise(tune.bars):
        closed = before.double or before.repeat_end > 1 or bar.repeat_start
        if bar.offset and closed and bar.length <= bar.time.beat:
            span = (in_ticks(bar.start, grid.ticks), in_ticks(bar.end, grid.ticks))
            first, last = grid.start.searchsorted(span).tolist()
            found.update(range(first, last))
    return found
