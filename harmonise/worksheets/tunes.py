"""Tunes made ready for worksheets: cut to whole lines, and the keys to move them to.

A cut tune is a tune by itself: it has its own end, and repeats that would reach past it
are dropped. Words and tempo are left out, so that pupils see notes and boxes alone.
"""

from fractions import Fraction

from harmonise.errors import MelodyError
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.tune import Bar, ChordAt, Tune, TuneNote


def opening(tune: Tune, bars: int) -> Tune:
    """Return the first whole lines of a tune, without words, tempo and repeats.

    Args:
        tune: The tune.
        bars: Full bars at most, if the first line is not longer.

    Raises:
        MelodyError: If no note sounds in it.
    """
    end = _cut(tune, bars)
    notes = tuple(_plain(note, end) for note in tune.notes if note.onset < end)
    if not any(note.pitch for note in notes):
        raise MelodyError(
            f"No note sounds in the first {bars} bars of this tune.",
            None,
            "Ask for more bars.",
        )
    return tune._replace(
        notes=notes,
        bars=tuple(_plain_bar(bar, end) for bar in tune.bars if bar.start < end),
        keys=tuple(change for change in tune.keys if change.onset < end),
        tempos=(),
        phrases=(*(mark for mark in tune.phrases if mark < end), end),
        locks=_within(tune.locks, end),
        symbols=_within(tune.symbols, end),
        verses=0,
        end_text=(),
    )


def _cut(tune: Tune, bars: int) -> Fraction:
    """Return where to stop: at the last end of a line within so many full bars."""
    full = [bar for bar in tune.bars if bar.number > 0 and not bar.offset]
    if len(full) <= bars:
        return tune.end
    limit = full[bars].start
    inside = [end for end in tune.phrases if 0 < end <= limit and _holds(tune, end)]
    return inside[-1] if inside else limit


def _holds(tune: Tune, end: Fraction) -> bool:
    """Whether at least two full bars stand before a place."""
    return sum(bar.number > 0 and bar.start < end for bar in tune.bars) >= 2


def _plain(note: TuneNote, end: Fraction) -> TuneNote:
    length = min(note.end, end) - note.onset
    return TuneNote(note.onset, length, note.pitch, line=note.line)


def _plain_bar(bar: Bar, end: Fraction) -> Bar:
    return Bar(
        bar.number,
        bar.start,
        min(bar.end, end) - bar.start,
        bar.time,
        double=bar.double and bar.end < end,
        offset=bar.offset,
    )


def _within(chords: tuple[ChordAt, ...], end: Fraction) -> tuple[ChordAt, ...]:
    return tuple(
        own._replace(end=min(own.end, end)) for own in chords if own.onset < end
    )


def related_keys(key: Key) -> tuple[Key, ...]:
    """Return the other keys of a mode, those with the most similar signature first.

    >>> from harmonise.theory.key import parse_key
    >>> [str(own.tonic) for own in related_keys(parse_key("G"))[:4]]
    ['F', 'D', 'C', 'Bb']
    """
    count = abs(key.fifths)

    def apart(fifths: int) -> tuple[int, int]:
        return abs(abs(fifths) - count), abs(fifths - key.fifths)

    others = [fifths for fifths in range(-5, 7) if fifths != key.fifths]
    others.sort(key=lambda fifths: (*apart(fifths), -fifths))
    return tuple(key_of_signature(fifths, key.mode) for fifths in others)
