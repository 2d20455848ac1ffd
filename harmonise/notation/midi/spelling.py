"""The key of a MIDI file, and how its note numbers are spelled in it.

The key is a fact where the file tells it, else a guess by the notes. Many programs
write C major where they know no key. So a file whose only key signature is C major,
while the notes outside it outweigh four times those outside another signature, is
guessed as well.

Notes of the scale take its letters; in minor the raised sixth and seventh do so too. A
chromatic note that goes up a semitone is a raised degree, one that goes down a semitone
a lowered one; but #4 is never b5, and b7 is #6 only as a neighbour of 7. Others take
the usual name: #1, b3, #4, #5, b7 in major, but #2 beside 7 or #4 (the chord B D# F#
in C) and b6 beside 1 or 4 (F Ab C). All this is common practice.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import groupby

from harmonise.errors import RemarkList
from harmonise.notation.midi.beat_grid import exact_place
from harmonise.notation.midi.placing import Placed
from harmonise.notation.midi.tracks import MidiCode, MidiScore
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.pitch import Pitch, PitchName, parse_name
from harmonise.theory.tune import KeyChange, TuneNote

_ALWAYS = {6: (4, 1), 11: (7, 1)}
"""Semitones above the keynote: degree, and whether it is raised or lowered."""
_USUAL = {1: (1, 1), 3: (3, -1), 4: (3, 1), 8: (5, 1), 9: (6, 1), 10: (7, -1)}
_USUAL_MINOR = {1: (2, -1), 8: (6, -1)}
_UP = {1: (1, 1), 3: (2, 1), 8: (5, 1), 10: (6, 1)}
"""What leads a semitone up."""
_DOWN = {1: (2, -1), 3: (3, -1), 8: (6, -1), 10: (7, -1)}
"""What leads a semitone down."""
_BESIDE = {3: ({11, 6}, (2, 1)), 8: ({0, 5}, (6, -1))}
"""In major: neighbours of a leaping note, and its name beside them."""
_C_MAJOR = key_of_signature(0, Mode.MAJOR)
_FOREIGN = 4


def spell(midis: Sequence[int], keys: Sequence[Key]) -> tuple[Pitch, ...]:
    """Return spelled pitches.

    Args:
        midis: Note numbers in order.
        keys: The key at each of them.

    >>> from harmonise.theory.key import parse_key
    >>> str(spell([68], [parse_key("A minor")])[0])
    'G#4'
    """
    others = _neighbours(midis)
    return tuple(
        _name(midi, around, key).at(midi)
        for midi, around, key in zip(midis, others, keys, strict=True)
    )


def _neighbours(midis: Sequence[int]) -> list[tuple[int | None, int | None]]:
    """Return the other notes before and after each note; repeated ones are one."""
    runs = [(midi, len(list(same))) for midi, same in groupby(midis)]
    found: list[tuple[int | None, int | None]] = []
    for number, (_, count) in enumerate(runs):
        before = runs[number - 1][0] if number else None
        after = runs[number + 1][0] if number + 1 < len(runs) else None
        found += [(before, after)] * count
    return found


@lru_cache(maxsize=4096)
def _name(midi: int, around: tuple[int | None, int | None], key: Key) -> PitchName:
    step = (midi - key.tonic.pitch_class) % 12
    if step in key.scale_semitones:
        return key.scale[key.scale_semitones.index(step)]
    return key.name_at(*_chromatic(step, midi, around, key))


def _chromatic(
    step: int, midi: int, around: tuple[int | None, int | None], key: Key
) -> tuple[int, int]:
    """Return degree and way of a note outside the scale."""
    after = around[1]
    # #4 and the leading note lead up wherever the tune goes.
    if step in _ALWAYS:
        return _ALWAYS[step]
    # In a scale a raised note goes up and a lowered one down.
    if after == midi + 1 and step in _UP and (step != 10 or around[0] == after):
        return _UP[step]
    if after == midi - 1 and step in _DOWN:
        return _DOWN[step]
    if not key.mode.is_minor and step in _BESIDE:
        beside, name = _BESIDE[step]
        tonic = key.tonic.pitch_class
        if any(n is not None and (n - tonic) % 12 in beside for n in around):
            return name
    return (_USUAL_MINOR if key.mode.is_minor else _USUAL).get(step, _USUAL[step])


def read_keys(
    score: MidiScore,
    notes: Sequence[Placed],
    start: Fraction,
    downbeat: Fraction,
    remarks: RemarkList,
) -> tuple[tuple[KeyChange, ...], bool]:
    """Return the keys of the tune, and whether the first is a guess.

    Args:
        score: The file.
        notes: The line on paper.
        start: Crotchets of the file at which the tune begins.
        downbeat: Crotchets of the file of the first full bar.
        remarks: Told of a guess.
    """
    changes = _signatures(score, start, notes[-1].onset)
    if changes and changes[0].onset == 0:
        if not _is_default(changes, notes):
            return tuple(changes), False
        why = "The file says C major, as many programs do where they know no key"
        changes = []
    else:
        why = "The file gives no key that can be read" if score.odd_key else ""
        why = why or "The file gives no key"
    # A later signature is a fact, so the guess rests on the notes before it.
    until = changes[0].onset + start if changes else notes[-1].end
    first = [note for note in notes if note.onset < until] or list(notes)
    key = guess_key(first, downbeat)
    what = f"{why}: read as {key}, which is a guess by the notes."
    remarks.add(MidiCode.KEY, what, None, "Name the key if it is another.")
    later = [change for change in changes if change.key != key or len(changes) > 1]
    return (KeyChange(Fraction(0), key), *later), True


def guess_key(notes: Sequence[Placed], downbeat: Fraction) -> Key:
    """Return the likeliest key of notes whose spelling is not known.

    They are spelled by the signature that holds most of them, and again by the key
    that the spelled notes suggest.
    """
    weights = _weights(notes)
    by_worth = sorted(range(-6, 7), key=lambda f: (_outside(weights, f), abs(f), -f))
    key = key_of_signature(by_worth[0], Mode.MAJOR)
    # The spelling follows the key and the key the spelling: soon both stand still.
    for _ in range(3):
        spelled = spell([n.played.midi for n in notes], [key] * len(notes))
        struck = [
            TuneNote(note.onset, note.end - note.onset or Fraction(1, 64), pitch)
            for note, pitch in zip(notes, spelled, strict=True)
        ]
        likeliest = guess_keys(struck, downbeat)[0]
        if likeliest == key:
            break
        key = likeliest
    return key


def _signatures(score: MidiScore, start: Fraction, last: Fraction) -> list[KeyChange]:
    """Return the key signatures that concern the tune, the first at 0 if there is one.

    Args:
        score: The file.
        start: Crotchets of the file at which the tune begins.
        last: Crotchets of the file at which its last note begins.
    """
    changes: list[KeyChange] = []
    for tick, name in score.keys:
        at = exact_place(tick, score.ticks)
        onset = round(Fraction(tick * 8, score.ticks)) / Fraction(8)
        onset = max((onset if at is None else at) - start, Fraction(0))
        # Programs write signatures behind the last note as well.
        if onset > last - start:
            continue
        if changes and changes[-1].onset == onset:
            changes.pop()
        # mido names keys such as "F#m".
        mode = Mode.MINOR if name.endswith("m") else Mode.MAJOR
        key = Key(parse_name(name.removesuffix("m")), mode)
        if not changes or changes[-1].key != key:
            changes.append(KeyChange(onset, key))
    return changes


def _is_default(changes: Sequence[KeyChange], notes: Sequence[Placed]) -> bool:
    """Whether the only signature is C major and the notes speak for another one."""
    if len(changes) > 1 or changes[0].key != _C_MAJOR:
        return False
    weights = _weights(notes)
    here = _outside(weights, 0)
    return here > 0 and any(
        _outside(weights, fifths) * _FOREIGN <= here for fifths in range(-6, 7)
    )


def _weights(notes: Sequence[Placed]) -> Counter[int]:
    """Return how long each pitch class sounds, in 64ths of a crotchet."""
    weights: Counter[int] = Counter()
    for note in notes:
        weights[note.played.midi % 12] += max(round((note.end - note.onset) * 64), 1)
    return weights


def _outside(weights: Counter[int], fifths: int) -> int:
    """Return the weight outside a signature; its minor's leading note is inside."""
    major = key_of_signature(fifths, Mode.MAJOR)
    inside = {name.pitch_class for name in major.scale}
    raised = major.name_at(5, 1).pitch_class
    outside = sum(weights[p] for p in weights if p not in inside)
    # Three quarters, so that a raised seventh speaks a little for another key still.
    return outside - weights[raised] * (raised not in inside) * 3 // 4
