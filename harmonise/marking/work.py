"""A script as music: which notes are the tune, which chord is in force, what is blank.

The error is carried forward: chords are those that the pupil chose, and each is judged
from the pupil's own chord before it. The given tune alone is put back where it was
altered, after the slip is noted.
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.marking.aligned import AlignedScript, align
from harmonise.marking.in_force import Misnamed, chords_in_force
from harmonise.marking.manners import manner_of, walking_in
from harmonise.marking.script import Script, plain, until_the_next
from harmonise.marking.sorted_hands import as_written, hands_of
from harmonise.marking.staves import strikes
from harmonise.marking.task import Task, TaskItem
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    LeftHand,
    SoundingNote,
    Voice,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.tune import ChordAt, Tune, TuneNote


class Work(NamedTuple):
    """What a pupil wrote, ready to be judged.

    Attributes:
        judged: The given tune, the pupil's notes, the chords in force.
        written: The same with the tune as the pupil has it.
        tune: The pupil's tune notes, each with the given one; None for none of either.
        aligned: The script on the task's bars.
        misnamed: Symbols that do not name what is played.
        blanks: Number of the item and part, for all that was left blank.
        script: The script.
        octaves: Octaves by which the whole right hand lies too high; it is judged where
            it belongs.
        manner: An arrangement in the manner of playing that comes nearest.
    """

    judged: Arrangement
    written: Arrangement
    tune: tuple[tuple[TuneNote, SoundingNote | None], ...]
    aligned: AlignedScript
    misnamed: tuple[Misnamed, ...]
    blanks: frozenset[tuple[int, ChordPart]]
    script: Script
    octaves: int
    manner: Arrangement


def work_of(script: Script, task: Task) -> Work:
    """Return a script as the work that a task asked for.

    Raises:
        MelodyError: If it is another piece.
    """
    tune = task.model.tune
    aligned = _with_symbols(align(script, task), task)
    hands = hands_of(aligned, script, task)
    tops, under = hands.tops, (*hands.inner, *hands.left)
    written = _arrangement(task, tops, (*tops, *under))
    given: Sequence[SoundingNote] = [
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.TUNE)
        for note in tune.sounding
        if note.pitch
    ]
    judged = _arrangement(task, tops, (*(tops if task.free else given), *under))
    if not task.free:
        judged = judged._replace(tune=tune)
    walking = walking_in(judged)
    slots, misnamed = chords_in_force(task, judged, aligned, walking)
    judged = judged._replace(slots=slots)
    if walking:
        style = judged.style._replace(left_hand=LeftHand.WALKING)
        judged = judged._replace(style=style)
    elif _alternates(judged):
        style = judged.style._replace(left_hand=LeftHand.ROOT_FIFTH)
        judged = judged._replace(style=style)
    if not script.spelled:
        judged = judged._replace(notes=tuple(_spelled(judged)))
    manner = manner_of(judged, task)
    blanks = frozenset(_blanks(task, judged, aligned, manner))
    # The page shows the right hand where the pupil has it, though it is judged below.
    notes = tuple(as_written(written.notes, hands.octaves))
    line = _line(tune, [note for note in notes if note.voice is Voice.TUNE])
    written = written._replace(slots=slots, notes=notes, tune=line)
    pairs, octaves = hands.pairs, hands.octaves
    return Work(
        judged, written, pairs, aligned, misnamed, blanks, script, octaves, manner
    )


def _alternates(judged: Arrangement) -> bool:
    """Whether the left hand leaves the root for other members while chords last."""
    left = [note for note in judged.notes if note.voice is Voice.BASS]
    lowest = {row[0].onset: row[0].pitch.pitch_class for row in strikes(left)}
    away = []
    for before, slot in pairwise(judged.slots):
        chord, bars = slot.chord, map(judged.tune.bar_at, (before.onset, slot.onset))
        if chord is None or chord != before.chord or len(set(bars)) > 1:
            continue
        root = chord.root.pitch_class
        if slot.onset in lowest and lowest.get(before.onset) == root:
            away.append(lowest[slot.onset] != root)
    return sum(away) > 1 and 2 * sum(away) >= len(away)


def _with_symbols(aligned: AlignedScript, task: Task) -> AlignedScript:
    """Return a script with the chords that stand in it as mere words or numerals."""
    if aligned.symbols or not task.chosen:
        return aligned
    tune, symbols = task.model.tune, []
    for onset, text in sorted(aligned.words):
        for read in (parse_symbol, partial(parse_numeral, key=tune.key_at(onset))):
            with suppress(NotationError):
                symbols.append(ChordAt(onset, tune.end, read(plain(text))))
                break
    return aligned._replace(symbols=until_the_next(symbols, tune.end))


def _line(tune: Tune, tops: Sequence[SoundingNote]) -> Tune:
    """Return the pupil's top line on the bars of the task."""
    notes = tuple(
        TuneNote(note.onset, note.length, note.pitch)
        for note in sorted(tops, key=lambda note: note.onset)
    )
    return tune._replace(notes=notes, verses=0, tempos=(), remarks=())


def _arrangement(
    task: Task, tops: Sequence[SoundingNote], notes: Sequence[SoundingNote]
) -> Arrangement:
    ordered = sorted(notes, key=lambda note: (note.onset, note.pitch.midi))
    style = task.model.style._replace(
        fingering=False, numerals=False, keyboards=False, locks=()
    )
    line = _line(task.model.tune, tops)
    return Arrangement(line, style, task.model.slots, tuple(ordered))


def _spelled(judged: Arrangement) -> Iterator[SoundingNote]:
    """Yield notes under the names that their chords give them: MIDI knows none."""
    at = 0
    for note in judged.notes:
        while at + 1 < len(judged.slots) and judged.slots[at].end <= note.onset:
            at += 1
        chord = judged.slots[at].chord
        name = chord.spelling(note.pitch.pitch_class) if chord else None
        if name is None or note.voice is Voice.TUNE:
            yield note
        else:
            yield note._replace(pitch=name.at(note.pitch.midi))


def _blanks(
    task: Task, judged: Arrangement, aligned: AlignedScript, manner: Arrangement
) -> Iterator[tuple[int, ChordPart]]:
    """Yield what was left blank: a hand with nothing in it."""
    for number, item in enumerate(task.items):
        parts = dict(item.worth)
        # What was left out by a slip is told with it.
        if aligned.left_out(item.onset):
            continue
        if task.tune_only:
            if not _has(aligned.notes, item):
                yield number, ChordPart.NOTES
            continue
        if task.notes_given:
            continue
        inner = [n for n in judged.notes if n.voice is Voice.INNER]
        left = [n for n in judged.notes if n.voice is Voice.BASS]
        # The tune may go alone over a left hand, but not over nothing.
        thin = manner is not task.model and _goes_alone(manner, item)
        thin = thin and _has(left, item)
        if ChordPart.NOTES in parts and not thin and not _has(inner, item):
            yield number, ChordPart.NOTES
            yield number, ChordPart.JOINING
        if ChordPart.LEFT in parts and not _has(left, item):
            yield number, ChordPart.LEFT


def _goes_alone(manner: Arrangement, item: TaskItem) -> bool:
    """Whether the tune goes alone in the right hand while a chord lasts."""
    inner = [note for note in manner.notes if note.voice is Voice.INNER]
    return not _has(inner, item)


def _has(notes: Sequence[SoundingNote], item: TaskItem) -> bool:
    return any(n.onset < item.end and n.onset + n.length > item.onset for n in notes)
