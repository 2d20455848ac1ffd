"""Measures of tonic sol-fa: accents of a bar, and the time signatures they stand for.

`|` stands before the strong pulse, `!` before a medium one, `:` before a weak one. Two,
three and four pulses are crotchets, six, nine and twelve are the quavers of 6/8, 9/8
and 12/8 (common practice), unless a `Time:` line tells another note for the pulse.
"""

from harmonise.theory.metre import TimeSignature

_USUAL = {
    2: (2,),
    3: (3,),
    4: (2, 2),
    5: (3, 2),
    6: (3, 3),
    7: (2, 2, 3),
    9: (3, 3, 3),
    12: (3, 3, 3, 3),
}
"""Pulses of a bar, in the groups that a strong or medium accent begins."""

_GROUPS = {(2, 3), (2, 3, 2), (3, 2, 2), *_USUAL.values()}
UNTOLD = TimeSignature(0, 4)
"""Stands for the time signature while no line tells one: the accents are counted."""


def pattern_of(time: TimeSignature) -> str:
    """Return the accents of a full bar, "" where the old books have none.

    >>> pattern_of(TimeSignature(6, 8))
    '|::!::'
    """
    groups = time.groups or _USUAL.get(time.beats, ())
    if groups not in _GROUPS or sum(groups) != time.beats:
        return ""
    bar = "".join("!" + ":" * (size - 1) for size in groups)
    return f"|{bar[1:]}"


def time_of(accents: str) -> TimeSignature | None:
    """Return the time signature of a full bar's accents; None if they make none.

    A bar without a medium accent is read by its number of pulses.

    >>> str(time_of("|:!:")), str(time_of("|:!::"))
    ('4/4', '2+3/4')
    """
    groups = groups_of(accents)
    beats = len(accents)
    if len(groups) == 1:
        groups = _USUAL.get(beats, ())
    if groups not in _GROUPS:
        return None
    told = groups if beats in (5, 7) else ()
    return TimeSignature(beats, 8 if beats in (6, 9, 12) else 4, told)


def groups_of(accents: str) -> tuple[int, ...]:
    """Return how many pulses each strong or medium accent holds."""
    return tuple(len(part) + 1 for part in accents[1:].split("!"))


def spaced(accents: str) -> str:
    """Return accents as a sentence shows them: | : ! :."""
    return " ".join(accents)
