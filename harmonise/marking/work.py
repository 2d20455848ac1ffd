"""A script as music: which notes are the tune, which chord is in force, what is blank.

The error is carried forward: chords are those that the pupil chose, and each is judged
from the pupil's own chord before it. The given tune alone is put back where it was
altered, after the slip is noted.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.marking.aligned import (
    AlignedScript,
    align,
    as_written,
    hands_of,
    until_the_next,
)
from harmonise.marking.naming import (
    chord_made,
    in_force,
    is_misnamed,
    is_unraised,
    likeliest,
    plain,
    same_root,
    sounding_at,
    sounding_members,
    symbol_at,
)
from harmonise.marking.scripts import Script
from harmonise.marking.task import Task, TaskItem
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.chord import Chord, leading_note, parse_numeral, parse_symbol
from harmonise.theory.key import Key
from harmonise.theory.tune import ChordAt, Tune, TuneNote


class Misnamed(NamedTuple):
    """A chord whose symbol names another one.

    Attributes:
        onset: Crotchets from the start.
        symbol: What is written.
        made: What the notes make.
    """

    onset: Fraction
    symbol: Chord
    made: Chord


class Work(NamedTuple):
    """What a pupil wrote, ready to be judged.

    Attributes:
        judged: The given tune, the pupil's notes, the chords in force.
        own: The same with the tune as the pupil has it.
        tune: The pupil's tune notes, each with the given one; None for none of either.
        aligned: The script on the task's bars.
        misnamed: Symbols that do not name what is played.
        blanks: Number of the item and part, for all that was left blank.
        script: The script.
        octaves: Octaves by which the whole right hand lies too high; it is judged where
            it belongs.
    """

    judged: Arrangement
    own: Arrangement
    tune: tuple[tuple[TuneNote, SoundingNote | None], ...]
    aligned: AlignedScript
    misnamed: tuple[Misnamed, ...]
    blanks: frozenset[tuple[int, ChordPart]]
    script: Script
    octaves: int = 0


def work_of(script: Script, task: Task) -> Work:
    """Return a script as the work that a task asked for."""
    tune = task.model.tune
    aligned = _with_symbols(align(script, tune), task)
    hands = hands_of(aligned, script, task)
    tops, under = hands.tops, (*hands.inner, *hands.left)
    own = _arrangement(task, _line(tune, tops), (*tops, *under))
    given = tops if task.free else list(_as_given(tune))
    judged = _arrangement(task, own.tune if task.free else tune, (*given, *under))
    slots, misnamed = _slots(task, judged, aligned)
    judged = judged._replace(slots=slots)
    if not script.spelled:
        judged = judged._replace(notes=tuple(_spelled(judged)))
    blanks = frozenset(_blanks(task, judged, aligned))
    own = own._replace(slots=slots, notes=tuple(as_written(own.notes, hands.octaves)))
    own = own._replace(
        tune=_line(tune, [n for n in own.notes if n.voice is Voice.TUNE])
    )
    pairs, octaves = hands.pairs, hands.octaves
    return Work(judged, own, pairs, aligned, misnamed, blanks, script, octaves)


def _with_symbols(aligned: AlignedScript, task: Task) -> AlignedScript:
    """Return a script with the chords that stand in it as mere words or numerals."""
    if aligned.symbols or not task.chosen:
        return aligned
    found = []
    for onset, text in sorted(aligned.words):
        chord = _chord(plain(text), task.model.tune.key_at(onset))
        if chord:
            found.append(ChordAt(onset, task.model.tune.end, chord))
    return aligned._replace(symbols=until_the_next(found, task.model.tune.end))


def _chord(text: str, key: Key) -> Chord | None:
    for read in (parse_symbol, partial(parse_numeral, key=key)):
        try:
            return read(text)
        except NotationError:
            continue
    return None


def _line(tune: Tune, tops: Sequence[SoundingNote]) -> Tune:
    """Return the pupil's top line on the bars of the task."""
    notes = tuple(
        TuneNote(note.onset, note.length, note.pitch)
        for note in sorted(tops, key=lambda note: note.onset)
    )
    return tune._replace(notes=notes, verses=0, tempos=(), remarks=())


def _as_given(tune: Tune) -> Iterator[SoundingNote]:
    for note in tune.sounding:
        if note.pitch:
            times = note.onset, note.length
            yield SoundingNote(*times, note.pitch, Hand.RIGHT, Voice.TUNE)


def _arrangement(task: Task, tune: Tune, notes: Sequence[SoundingNote]) -> Arrangement:
    ordered = sorted(notes, key=lambda note: (note.onset, note.pitch.midi))
    style = task.model.style._replace(
        fingering=False, numerals=False, keyboards=False, locks=()
    )
    return Arrangement(tune, style, task.model.slots, tuple(ordered))


def _slots(
    task: Task, judged: Arrangement, aligned: AlignedScript
) -> tuple[tuple[Slot, ...], tuple[Misnamed, ...]]:
    """Return the slots under the chords in force, and the symbols that mislead."""
    if not task.chosen:
        return tuple(in_force(slot, slot.chord) for slot in task.model.slots), ()
    found: list[Slot] = []
    misnamed: list[Misnamed] = []
    under: ChordAt | None = None
    for slot in _split(task.model, aligned):
        written = symbol_at(aligned.symbols, slot.onset)
        symbol = written.chord if written else None
        notes = sounding_at(judged.notes, slot.onset, slot.end)
        made = chord_made(notes, slot.key)
        if found and written and _goes_on(written, notes, slot):
            found.append(in_force(slot, found[-1].chord))
        elif written and written == under and same_root(found[-1].chord, made):
            kept = max(filter(None, (found[-1].chord, made)), key=sounding_members)
            found.append(in_force(slot, kept))
        elif written and made and is_misnamed(written.chord, made, notes, slot.key):
            misnamed.append(Misnamed(slot.onset, written.chord, made))
            found.append(in_force(slot, made))
            under = written
        else:
            found.append(in_force(slot, symbol or _meant(task, judged, slot, made)))
            under = None
    return tuple(found), tuple(misnamed)


def _goes_on(written: ChordAt, notes: Sequence[SoundingNote], slot: Slot) -> bool:
    """Whether symbol and bass are those of the slot before, and so is a slip."""
    bass = [n for n in notes if n.voice is Voice.BASS]
    return (
        written.onset < slot.onset
        and bool(bass)
        and all(note.onset < slot.onset for note in bass)
    )


def _meant(
    task: Task, judged: Arrangement, slot: Slot, made: Chord | None
) -> Chord | None:
    """Return the chord of a slot for which no symbol is written."""
    others = dict(task.accepted).get(slot.onset, ())
    accepted = [slot.chord, *others] if slot.chord else []
    # The chord on the natural seventh may be right itself, beside the dominant.
    unraised = any(is_unraised(own, made, slot.key) for own in accepted)
    if unraised and made not in accepted:
        made = None
        accepted = [own for own in accepted if leading_note(own, slot.key)]
    inside = [n for n in judged.notes if slot.onset <= n.onset < slot.end]
    return likeliest(inside, accepted, made)


def _split(model: Arrangement, aligned: AlignedScript) -> Iterator[Slot]:
    """Yield the slots of a model, cut where the pupil changes the chord."""
    cuts = [own.onset for own in aligned.symbols]
    for slot in model.slots:
        inside = [cut for cut in cuts if slot.onset < cut < slot.end]
        edges = [slot.onset, *inside, slot.end]
        for start, end in pairwise(edges):
            place = model.tune.place(start)
            yield slot._replace(onset=start, length=end - start, place=place)


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
    task: Task, judged: Arrangement, aligned: AlignedScript
) -> Iterator[tuple[int, ChordPart]]:
    """Yield what was left blank: a hand with nothing in it."""
    for number, item in enumerate(task.items):
        parts = dict(item.worth)
        if task.tune_only:
            if not _has(aligned.notes, item):
                yield number, ChordPart.NOTES
            continue
        if task.notes_given:
            continue
        inner = [n for n in judged.notes if n.voice is Voice.INNER]
        left = [n for n in judged.notes if n.voice is Voice.BASS]
        if ChordPart.NOTES in parts and not _has(inner, item):
            yield number, ChordPart.NOTES
            yield number, ChordPart.JOINING
        if ChordPart.LEFT in parts and not _has(left, item):
            yield number, ChordPart.LEFT


def _has(notes: Sequence[SoundingNote], item: TaskItem) -> bool:
    return any(n.onset < item.end and n.onset + n.length > item.onset for n in notes)
