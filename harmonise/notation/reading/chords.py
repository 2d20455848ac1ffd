"""Chords typed for a whole tune, bar by bar, into locks.

The signs are those of a `Chords:` line: one chord holds for its bar, two for half each,
otherwise one a beat; `?` leaves the choice, `-` goes on with the chord before.
"""

from fractions import Fraction

from harmonise.errors import NotationError, Place
from harmonise.notation.reading.tune_text_chords import division
from harmonise.theory.chord import Chord, parse_numeral, parse_symbol
from harmonise.theory.key import Key
from harmonise.theory.tune import Bar, ChordAt, Tune

_SignAt = tuple[Fraction, Fraction, str]


def parse_chords(text: str, tune: Tune) -> tuple[ChordAt, ...]:
    """Return the locks that a line of chords asks for.

    Args:
        text: Bars of chords with `|` between them, from bar 1 on, or from the pickup
            if there is one bar more; fewer bars leave the rest free.
        tune: The tune; Roman numerals are read in its keys.

    Raises:
        NotationError: If a chord is not one of ours, or there are too many.
    """
    groups = [group.split() for group in text.strip().strip("|").split("|")]
    bars = _bars(tune, len(groups))
    found: list[ChordAt] = []
    for bar, signs in zip(bars, groups, strict=False):
        for onset, end, sign in _spread(bar, signs):
            _take(found, (onset, end, sign), tune.key_at(onset), bar)
    return tuple(found)


def _bars(tune: Tune, count: int) -> list[Bar]:
    """Return the bars that the groups stand for; the parts of a split bar as one."""
    whole: list[Bar] = []
    for bar in tune.bars:
        if whole and bar.offset and whole[-1].number == bar.number:
            whole[-1] = whole[-1]._replace(length=whole[-1].length + bar.length)
        else:
            whole.append(bar)
    full = [bar for bar in whole if bar.number > 0]
    if count > len(whole):
        raise NotationError(
            f"--chords has {count} bars, the tune has {len(full)}.",
            None,
            'Type one group a bar, with | between; "?" for a free bar.',
        )
    return whole if count > len(full) else full


def _spread(bar: Bar, signs: list[str]) -> list[_SignAt]:
    """Return where each sign of a bar begins and ends."""
    if not signs:
        return []
    beats = int(bar.length / bar.time.unit)
    starts = division(beats, len(signs), bar.time)
    if starts is None:
        raise NotationError(
            f"{len(signs)} chords stand in a bar of {beats} beats.",
            Place(bar.number),
            f"Type 1, 2 or {beats}; - goes on with the chord before.",
        )
    onsets = [bar.start + bar.time.unit * start for start in starts]
    return list(zip(onsets, [*onsets[1:], bar.end], signs, strict=True))


def _take(found: list[ChordAt], at: _SignAt, key: Key, bar: Bar) -> None:
    onset, end, sign = at
    if sign == "?":
        return
    if sign != "-":
        found.append(ChordAt(onset, end, _chord(sign, key, bar)))
    elif found and found[-1].end == onset:
        found[-1] = found[-1]._replace(end=end)
    else:
        raise NotationError(
            "a hold (-) needs a chord before it.",
            Place(bar.number),
            'Type a chord, or "?" for a free choice.',
        )


def _chord(sign: str, key: Key, bar: Bar) -> Chord:
    try:
        return parse_symbol(sign) if sign[0] in "ABCDEFG" else parse_numeral(sign, key)
    except NotationError as error:
        raise NotationError(error.what, Place(bar.number), error.remedy) from None
