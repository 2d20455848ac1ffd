"""Which notes of a script are the tune, which lie under it, which are the left hand's.

A tune note is the one of the right hand that begins where the given one does and has
its pitch, or else the highest that begins there. A right hand that lies whole octaves
off is one slip, so it is judged where it belongs.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.marks.aligned import Aligned
from harmonise.marks.task import Task
from harmonise.notation.reading.scripts import Script
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.tune import Tune, TuneNote

_LEAST = 3
"""Fewer notes an octave off are slips of their own."""
_MOST_OF = Fraction(3, 4)


class Hands(NamedTuple):
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


def hands_of(aligned: Aligned, script: Script, task: Task) -> Hands:
    """Return the notes of a script by what they are for."""
    tune = task.model.tune
    right = [note for note in aligned.notes if note.hand is Hand.RIGHT]
    left = tuple(
        note._replace(voice=Voice.BASS)
        for note in aligned.notes
        if note.hand is Hand.LEFT
    )
    if task.free:
        right = list(_cut(right, [item.onset for item in task.items]))
        return _sorted(right, list(_tops(right)), left)
    octaves = _octaves_off(right, tune)
    right = [_moved(note, -octaves) for note in right]
    if not script.tune_written:
        right = [note for note in right if not _is_held_tune(note, tune)]
    pairs = tuple(_pairs(right, tune))
    found = _sorted(right, [note for _, note in pairs if note], left)
    return found._replace(pairs=pairs, octaves=octaves)


def _sorted(
    right: Sequence[SoundingNote],
    played: Sequence[SoundingNote],
    left: tuple[SoundingNote, ...],
) -> Hands:
    inner = [note for note in right if note not in played]
    return Hands(
        tuple(note._replace(voice=Voice.TUNE) for note in played),
        tuple(note._replace(voice=Voice.INNER) for note in inner),
        left,
    )


def as_written(notes: Sequence[SoundingNote], octaves: int) -> Iterator[SoundingNote]:
    """Yield notes with the right hand where the pupil has it."""
    for note in notes:
        yield _moved(note, octaves) if note.hand is Hand.RIGHT else note


def _moved(note: SoundingNote, octaves: int) -> SoundingNote:
    pitch = note.pitch._replace(octave=note.pitch.octave + octaves)
    return note._replace(pitch=pitch)


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
        own.pitch and own.pitch.midi == note.pitch.midi
        for own in tune.sounding
        if own.onset < note.onset < own.end
    )


def _pairs(
    right: Sequence[SoundingNote], tune: Tune
) -> Iterator[tuple[TuneNote, SoundingNote | None]]:
    """Yield each given tune note with the one that the pupil has there."""
    struck: dict[Fraction, list[SoundingNote]] = defaultdict(list)
    for note in right:
        struck[note.onset].append(note)
    for given in tune.sounding:
        here = struck.get(given.onset, [])
        height = given.pitch.midi if given.pitch else -1
        same = [own for own in here if own.pitch.midi == height]
        exact = [own for own in same if own.pitch == given.pitch] or same
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


def _tops(right: Sequence[SoundingNote]) -> Iterator[SoundingNote]:
    """Yield the highest right-hand note of all that begin together."""
    struck = {note.onset: note for note in sorted(right, key=lambda n: n.pitch.midi)}
    yield from (struck[onset] for onset in sorted(struck))
