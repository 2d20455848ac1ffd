"""Which of several voices on a staff is the tune: the upper one of the main voices.

Main voices are written, with notes and printed rests, for at least half the time of the
one that is written longest, so that neither a few divided bars nor a descant of some
bars is taken for the tune, but a tune that often rests is. Of two voices the upper one
is that which lies above the other for the longer time while both sound. In a measure
where it is not written at all, the upper one of the others is taken.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import reduce

from harmonise.notation.reading.musicxml.voices import Group, Voices

_MAIN = Fraction(1, 2)


def main_voice(voices: Sequence[Voices]) -> str:
    """Return the name of the voice that carries the tune.

    Args:
        voices: The voices of each measure; at least one measure has one.
    """
    names = list(dict.fromkeys(name for bar in voices for name in bar))
    for hidden in (False, True):
        times: dict[str, Fraction] = defaultdict(Fraction)
        heard: set[str] = set()
        for bar in voices:
            for name, groups in bar.items():
                times[name] += sum(g.length for g in groups if g.hidden <= hidden)
                if any(sounding(groups, hidden=hidden)):
                    heard.add(name)
        longest = max((times[name] for name in heard), default=Fraction(0))
        main = [n for n in names if n in heard and times[n] >= _MAIN * longest > 0]
        main.sort(key=lambda name: times[name], reverse=True)
        if main:
            return reduce(lambda one, two: _upper(voices, one, two), main)
    return names[0]


def voice_of_measure(voices: Voices, main: str) -> str:
    """Return the voice to take in one measure: the main one if it is printed there."""
    if any(not group.hidden for group in voices.get(main, ())):
        return main
    return main_voice([voices]) if any(visible(voices)) else main


def visible(voices: Voices) -> Iterator[str]:
    """Yield the voices of a measure that have printed notes."""
    for name, groups in voices.items():
        if any(sounding(groups, hidden=False)):
            yield name


def sounding(groups: Sequence[Group], *, hidden: bool) -> Iterator[Group]:
    """Yield the notes with a pitch, those that are not printed only if asked for."""
    for group in groups:
        if group.kind == "note" and group.has_pitch and group.hidden <= hidden:
            yield group


def _upper(voices: Sequence[Voices], one: str, two: str) -> str:
    """Return the voice that lies above the other for the longer time; one if equal."""
    lead = sum(
        (_lead(bar[one], bar[two]) for bar in voices if one in bar and two in bar),
        Fraction(0),
    )
    return one if lead >= 0 else two


def _lead(one: Sequence[Group], two: Sequence[Group]) -> Fraction:
    """Return for how many crotchets more one lies above two than below it."""
    first, second = (list(sounding(groups, hidden=True)) for groups in (one, two))
    lead, here, there = Fraction(0), 0, 0
    while here < len(first) and there < len(second):
        a, b = first[here], second[there]
        common = min(a.end, b.end) - max(a.onset, b.onset)
        if common > 0 and a.height != b.height:
            lead += common if a.height > b.height else -common
        if a.end <= b.end:
            here += 1
        else:
            there += 1
    return lead
