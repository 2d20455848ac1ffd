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

from harmonise.marking.aligned import AlignedScript
from harmonise.marking.script import Script
from harmonise.marking.task import Task
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.tune import Tune, TuneNote

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
        if not script.tune_written:
            span = task.model.style.span
            inner = [note for note in right if note not in played]
            right = [*played, *(_let_go(note, inner, tune, span) for note in inner)]
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


def _let_go(
    note: SoundingNote, inner: Sequence[SoundingNote], tune: Tune, span: int
) -> SoundingNote:
    """Return an inner note of a typed chord, let go where the tune meets the chord.

    Nothing that is typed says how long a chord is held, so it is judged at its place.
    """
    under = [other.pitch.midi for other in inner if other.onset == note.onset]
    met = (
        given.onset
        for given in tune.sounding
        if given.pitch
        and note.onset < given.onset < note.end
        and not max(under) < given.pitch.midi <= min(under) + span
    )
    return note._replace(length=min(met, default=note.end) - note.onset)


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
