"""Locked chords as a file tells them beside its music, for whoever opens it again.

A printed symbol does not say whether somebody asked for it or the program chose it. In
ABC it stands in a field `N:` (2.1, section 3.1: notes), in MusicXML in a miscellaneous
field; other programs pass over both.
"""

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from harmonise.errors import NotationError
from harmonise.theory.chord import parse_symbol
from harmonise.theory.tune import ChordAt

_TIME = r"(\d{1,6}(?:/[1-9]\d{0,4})?)"
_LOCK = re.compile(rf"(\S{{1,20}}) {_TIME}-{_TIME}(?:, |$)")


def tell_locks(locks: Iterable[ChordAt]) -> str:
    """Return locked chords in a line: from when to when, in crotchets.

    >>> from harmonise.theory.chord import parse_symbol
    >>> tell_locks([ChordAt(Fraction(8), Fraction(19, 2), parse_symbol("Am7"))])
    'Am7 8-19/2'
    """
    return ", ".join(f"{one.chord.symbol} {one.onset}-{one.end}" for one in locks)


def told_locks(line: str, symbols: Sequence[ChordAt]) -> tuple[ChordAt, ...]:
    """Return the locked chords that a line tells, where the music still has them.

    Args:
        line: What `tell_locks` gave.
        symbols: The chords that are printed; where another one stands by now, somebody
            has changed the music since.
    """
    found = []
    for name, onset, end in _LOCK.findall(line):
        begin, stop = Fraction(onset), Fraction(end)
        here = next((one for one in symbols if one.onset <= begin < one.end), None)
        try:
            chord = parse_symbol(name)
        except NotationError:
            continue
        if here and here.chord == chord and begin < stop:
            found.append(ChordAt(begin, stop, chord))
    return tuple(found)
