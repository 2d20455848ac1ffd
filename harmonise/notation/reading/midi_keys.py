"""The key of a MIDI file: a fact where the file tells it, else a guess by the notes.

Many programs write C major where they know no key. So a file whose only key signature
is C major, while the notes outside it outweigh four times those outside another
signature, is guessed as well.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from harmonise.notation.reading.midi_file import MidiScore
from harmonise.notation.reading.midi_grid import exact_place
from harmonise.notation.reading.midi_lengths import Placed
from harmonise.notation.reading.midi_remarks import Code
from harmonise.notation.reading.midi_spelling import spell
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.pitch import parse_name
from harmonise.theory.tune import KeyChange, TuneNote

_C_MAJOR = key_of_signature(0, Mode.MAJOR)
_FOREIGN = 4


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
    until = changes[0].onset + start if changes else notes[-1].end
    first = [note for note in notes if note.onset < until] or list(notes)
    key = guess_key(first, downbeat)
    remarks.add(
        Code.KEY,
        f"{why}: read as {key}, which is a guess by the notes.",
        None,
        "Name the key if it is another.",
    )
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
    for _ in range(3):
        spelled = spell([n.played.midi for n in notes], [key] * len(notes))
        struck = [
            TuneNote(note.onset, note.end - note.onset or Fraction(1, 64), pitch)
            for note, pitch in zip(notes, spelled, strict=True)
        ]
        found = guess_keys(struck, downbeat)[0]
        if found == key:
            break
        key = found
    return key


def _signatures(score: MidiScore, start: Fraction, last: Fraction) -> list[KeyChange]:
    """Return the key signatures that concern the tune, the first at 0 if there is one.

    Args:
        score: The file.
        start: Crotchets of the file at which the tune begins.
        last: Crotchets of the file at which its last note begins.
    """
    found: list[KeyChange] = []
    for tick, name in score.keys:
        at = exact_place(tick, score.ticks)
        onset = round(Fraction(tick * 8, score.ticks)) / Fraction(8)
        onset = max((onset if at is None else at) - start, Fraction(0))
        if onset > last - start:
            continue
        if found and found[-1].onset == onset:
            found.pop()
        key = _key(name)
        if not found or found[-1].key != key:
            found.append(KeyChange(onset, key))
    return found


def _key(name: str) -> Key:
    """Return the key that mido names: "F#m"."""
    mode = Mode.MINOR if name.endswith("m") else Mode.MAJOR
    return Key(parse_name(name.removesuffix("m")), mode)


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
    return outside - weights[raised] * (raised not in inside) * 3 // 4
