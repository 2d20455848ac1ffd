"""The promise that every arrangement keeps, checked before anything is written.

At every instant the tune sounds above all else, the right hand lies above the left and
reaches no further than asked, and the tune is note for note the one that came in. Two
notes that sound together do so already where the later one begins, so it is enough to
look at the onsets. This runs on every arrangement, so times are scaled to whole ticks
first and one pass over plain integers does the rest.
"""

from collections.abc import Sequence
from itertools import groupby, zip_longest
from math import lcm

from harmonise.errors import BrokenPromiseError
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice

_OUR_FAULT = "This is a fault in harmonise, not in your tune: please report it."
_TOO_HIGH, _TOO_LOW = 999, -999

_Row = tuple[int, int, int, SoundingNote]
"""Onset and end in ticks, MIDI number, and the note itself."""


def assert_tune_on_top(arrangement: Arrangement) -> None:
    """Guard our promise about an arrangement.

    Raises:
        BrokenPromiseError: If the tune was changed; if at any instant an inner note is
            not below the tune or a left-hand note not below the right hand; if the
            right hand reaches further than the style allows.
    """
    _assert_tune_kept(arrangement)
    active: list[_Row] = []
    for onset, struck in groupby(_rows(arrangement.notes), key=lambda row: row[0]):
        active = [row for row in active if row[1] > onset]
        active.extend(struck)
        fault = _disorder(active, arrangement.style.span)
        if fault:
            place = arrangement.tune.place(active[-1][3].onset)
            raise BrokenPromiseError(fault, place, _OUR_FAULT)


def _rows(notes: Sequence[SoundingNote]) -> list[_Row]:
    """Return the notes with their times in ticks, by onset."""
    denominators = {note.onset.denominator for note in notes}
    denominators |= {note.length.denominator for note in notes}
    # Whole ticks are added and compared faster than fractions.
    ticks = lcm(*denominators)
    scale = {denominator: ticks // denominator for denominator in denominators}
    rows = []
    for note in notes:
        above, below = note.onset.as_integer_ratio()
        onset = above * scale[below]
        above, below = note.length.as_integer_ratio()
        rows.append((onset, onset + above * scale[below], note.pitch.midi, note))
    rows.sort(key=lambda row: row[0])
    return rows


def _disorder(active: Sequence[_Row], span: int) -> str:
    """Return what is wrong among notes that sound together; "" if nothing is."""
    left = inner = top = _TOO_LOW
    right = tune = _TOO_HIGH
    for _, _, midi, note in active:
        if note.hand is Hand.LEFT:
            left = max(left, midi)
            continue
        right, top = min(right, midi), max(top, midi)
        if note.voice is Voice.TUNE:
            tune = min(tune, midi)
        else:
            inner = max(inner, midi)
    if inner >= tune:
        return f"the tune does not lie above {_names(active)}."
    if left >= right:
        return f"the hands cross or meet in {_names(active)}."
    if top - right > span:
        return f"the right hand spans {top - right} semitones in {_names(active)}."
    return ""


def _names(active: Sequence[_Row]) -> str:
    """Return the notes with their voices: "C3 (bass), G4 (inner), E5 (tune)"."""
    rows = sorted(active, key=lambda row: row[2])
    return ", ".join(f"{note.pitch} ({note.voice.value})" for *_, note in rows)


def _assert_tune_kept(arrangement: Arrangement) -> None:
    """Guard that the tune's notes are those that came in, spelling and times too."""
    wanted = [(n.onset, n.length, n.pitch) for n in arrangement.tune.sounding]
    kept = [
        (note.onset, note.length, note.pitch)
        for note in arrangement.notes
        if note.voice is Voice.TUNE
    ]
    if kept == wanted:
        return
    pairs = zip_longest(wanted, kept)
    old, new = next((old, new) for old, new in pairs if old != new)
    onset = min(row[0] for row in (old, new) if row)
    was, now = (
        f"{row[2]} (crotchets {row[0]} to {row[0] + row[1]})" if row else "nothing"
        for row in (old, new)
    )
    raise BrokenPromiseError(
        f"the tune was changed from {was} to {now}.",
        arrangement.tune.place(onset),
        _OUR_FAULT,
    )
