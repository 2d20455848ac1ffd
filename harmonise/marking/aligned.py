"""A script laid on the bars of its task, and which of its notes are what.

Each bar is laid by itself, so one that does not add up spoils none after it. Work that
was played out with its repeats counts where a bar is played first; a pickup that was
written as a full bar after rests stands where the tune has it. A tune note is the one
of the right hand that begins where the given one does and has its pitch, or else the
highest that begins there. A right hand that lies whole octaves off is one slip, so it
is judged where it belongs.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple, TypeVar

from harmonise.marking.script import Script, Written, until_the_next
from harmonise.marking.task import Task
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.play_order import played, played_onsets
from harmonise.theory.tune import Bar, ChordAt, Tune, TuneNote


class OddBar(NamedTuple):
    """A bar that does not add up.

    Attributes:
        start: Where it begins in the task, in crotchets.
        end: Where it ends.
        has: Crotchets that the pupil wrote.
    """

    start: Fraction
    end: Fraction
    has: Fraction


class AlignedScript(NamedTuple):
    """A script on the bars of its task; all onsets are the task's.

    Attributes:
        notes: By onset, then from the lowest up.
        symbols: Each lasts until the next one.
        words: At their places.
        odd: Bars that do not add up.
    """

    notes: tuple[SoundingNote, ...]
    symbols: tuple[ChordAt, ...]
    words: tuple[Written, ...]
    odd: tuple[OddBar, ...] = ()


class _Pair(NamedTuple):
    """A bar of the script, the bar of the task, and what the first has in front."""

    bar: Bar
    task: Bar
    shift: Fraction = Fraction(0)


_Placed = TypeVar("_Placed", SoundingNote, ChordAt, Written)


def align(script: Script, tune: Tune) -> AlignedScript:
    """Return a script laid on the bars of a tune."""
    script = _written_once(script, tune)
    pairs = list(_pairs(script, tune))
    notes = _laid(script.notes, pairs, tune.end)
    return AlignedScript(
        tuple(sorted(notes, key=lambda n: (n.onset, n.pitch.midi))),
        until_the_next(_laid(script.symbols, pairs, tune.end), tune.end),
        tuple(_laid(script.words, pairs, tune.end)),
        tuple(_odd(script, pairs, tune)) if script.spelled else (),
    )


def _written_once(script: Script, tune: Tune) -> Script:
    """Return what was played with its repeats as the page has it: the first time."""
    order = played(tune)
    plays_on = bool(script.bars) and script.bars[-1].end > tune.end
    if script.spelled or not plays_on or len(order) == 1:
        return script
    places = (
        (note, stretch.start + note.onset - stretch.at)
        for note in script.notes
        for stretch in order
        if stretch.at <= note.onset < stretch.stop
    )
    notes = tuple(
        note._replace(onset=at)
        for note, at in places
        if played_onsets(order, at)[0] == note.onset
    )
    return script._replace(notes=notes, bars=())


def _pairs(script: Script, tune: Tune) -> Iterator[_Pair]:
    """Yield which bar of the task each bar of the script is; none if onsets agree."""
    written, bars = script.bars, tune.bars
    same = bool(written) and written[-1].end == bars[-1].end
    if not written or (same and len(written) != len(bars)):
        return
    for number, (bar, task) in enumerate(zip(written, bars, strict=False)):
        # A pickup may stand in a full bar, after rests.
        full = bar.length == bar.time.bar_length > task.length
        late = not number and task.number == 0 and full
        yield _Pair(bar, task, bar.length - task.length if late else Fraction(0))


def _laid(
    things: Sequence[_Placed], pairs: list[_Pair], end: Fraction
) -> list[_Placed]:
    """Return things at their places in the task, as far as they are there at all."""
    if not pairs:
        return [thing for thing in things if thing.onset < end]
    return [
        thing._replace(onset=task.start + inside)
        for thing in things
        for bar, task, shift in pairs
        for inside in [thing.onset - bar.start - shift]
        if thing.onset < bar.end and 0 <= inside < task.length
    ]


def _odd(script: Script, pairs: list[_Pair], tune: Tune) -> Iterator[OddBar]:
    for bar, task, shift in pairs:
        over = bar.start + task.length
        late = any(over <= note.onset < bar.end for note in script.notes)
        last = task.end == tune.end and bar.length == bar.time.bar_length
        if bar.length - shift != task.length and (late or not last):
            yield OddBar(task.start, task.end, bar.length)


_LEAST = 3
"""Fewer notes an octave off are slips of their own."""
_MOST_OF = Fraction(3, 4)


class SortedHands(NamedTuple):
    """The notes of a script by what they are for.

    Attributes:
        tops: The tune as the pupil has it.
        inner: What else the right hand plays.
        left: The left hand.
        pairs: Each given tune note with the pupil's; None for none.
        octaves: Octaves by which the right hand lay too high before it was moved here.
    """

    tops: tuple[SoundingNote, ...]
    inner: tuple[SoundingNote, ...]
    left: tuple[SoundingNote, ...]
    pairs: tuple[tuple[TuneNote, SoundingNote | None], ...] = ()
    octaves: int = 0


def hands_of(aligned: AlignedScript, script: Script, task: Task) -> SortedHands:
    """Return the notes of a script by what they are for."""
    tune, octaves = task.model.tune, 0
    right = [note for note in aligned.notes if note.hand is Hand.RIGHT]
    left = [note for note in aligned.notes if note.hand is Hand.LEFT]
    # Chords of the left hand under a tune that goes alone are inner notes.
    chords = [note for note in left if note.voice is Voice.INNER]
    left = [note for note in left if note.voice is not Voice.INNER]
    pairs: tuple[tuple[TuneNote, SoundingNote | None], ...] = ()
    if task.free:
        right = list(_cut(right, [item.onset for item in task.items]))
        played = _tops(right)
    else:
        octaves = _octaves_off(right, tune)
        right = list(as_written(right, -octaves))
        if not script.tune_written:
            right = [note for note in right if not _is_held_tune(note, tune)]
        pairs = tuple(_tune_pairs(right, tune))
        played = [note for _, note in pairs if note]
    return SortedHands(
        tuple(note._replace(voice=Voice.TUNE) for note in played),
        (*(n._replace(voice=Voice.INNER) for n in right if n not in played), *chords),
        tuple(note._replace(voice=Voice.BASS) for note in left),
        pairs,
        octaves,
    )


def as_written(notes: Sequence[SoundingNote], octaves: int) -> Iterator[SoundingNote]:
    """Yield notes with the right hand where the pupil has it."""
    for note in notes:
        up = octaves if note.hand is Hand.RIGHT else 0
        pitch = note.pitch._replace(octave=note.pitch.octave + up)
        yield note._replace(pitch=pitch)


def _octaves_off(right: Sequence[SoundingNote], tune: Tune) -> int:
    """Return by how many octaves nearly all of the tune lies too high."""
    tops = {note.onset: note for note in _tops(right)}
    ways = [
        tops[given.onset].pitch.midi - given.pitch.midi
        for given in tune.sounding
        if given.pitch and given.onset in tops
    ]
    if not ways:
        return 0
    way, count = Counter(ways).most_common(1)[0]
    whole = way % 12 == 0 and count >= _LEAST and count >= _MOST_OF * len(ways)
    return way // 12 if whole else 0


def _is_held_tune(note: SoundingNote, tune: Tune) -> bool:
    """Whether a typed chord's note is a tune note that goes on there."""
    return any(
        given.pitch and given.pitch.midi == note.pitch.midi
        for given in tune.sounding
        if given.onset < note.onset < given.end
    )


def _tune_pairs(
    right: Sequence[SoundingNote], tune: Tune
) -> Iterator[tuple[TuneNote, SoundingNote | None]]:
    """Yield each given tune note with the one that the pupil has there."""
    struck: dict[Fraction, list[SoundingNote]] = defaultdict(list)
    for note in right:
        struck[note.onset].append(note)
    for given in tune.sounding:
        here = struck.get(given.onset, [])
        height = given.pitch.midi if given.pitch else -1
        same = [note for note in here if note.pitch.midi == height]
        exact = [note for note in same if note.pitch == given.pitch] or same
        yield given, next(iter([*exact, *here[-1:]]), None)


def _cut(
    right: Sequence[SoundingNote], onsets: Sequence[Fraction]
) -> Iterator[SoundingNote]:
    """Yield notes cut where a chord begins, so that held tones belong to both."""
    for note in right:
        end = note.onset + note.length
        edges = [note.onset, *(at for at in onsets if note.onset < at < end), end]
        for start, stop in pairwise(edges):
            yield note._replace(onset=start, length=stop - start)


def _tops(right: Sequence[SoundingNote]) -> list[SoundingNote]:
    """Return the highest right-hand note of all that begin together."""
    struck = {note.onset: note for note in sorted(right, key=lambda n: n.pitch.midi)}
    return [struck[onset] for onset in sorted(struck)]
