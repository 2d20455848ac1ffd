"""The order line: what is sung and played, one after the other."""

import re

from harmonise.form.marks import repeats_whole
from harmonise.form.plan import PLAIN_FORM, Form, Introduction, verse_count
from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import Tune

_REFRAIN = re.compile(r"(refrain|chorus|burden)\b", re.IGNORECASE)
VERSE = re.compile(r"(verse|stanza)\b", re.IGNORECASE)
"""Begins the label of a part that is the verse itself."""
_BETWEEN = " \u2013 "


def order_line(tune: Tune, form: Form = PLAIN_FORM) -> str:
    """Return the order in which everything is sung and played.

    A verse of the page with a refrain is told in its parts; parts that are called
    otherwise (A, B) are told only where there is a refrain too.

    Args:
        tune: The tune; its sections tell verse and refrain apart.
        form: The form.

    Raises:
        HarmoniseError: If the form asks for too few verses, or too many.

    >>> from fractions import Fraction
    >>> from harmonise.theory.metre import TimeSignature
    >>> from harmonise.theory.tune import Bar
    >>> four, time = Fraction(4), TimeSignature(4, 4)
    >>> bars = (
    ...     Bar(1, 0 * four, four, time, section="Verse"),
    ...     Bar(2, four, four, time, section="Refrain"),
    ... )
    >>> order_line(Tune("", (), bars, ()), Form(verses=2, amen=True))
    'verse 1 – refrain – verse 2 – refrain – Amen'
    """
    count = verse_count(form, tune)
    parts = _parts(tune)
    found = []
    if form.introduction is not Introduction.NONE:
        found.append("Introduction")
    for number in range(1, count + 1):
        last = number == count and form.last_verse
        name = "last verse" if last else f"verse {number}"
        found += [part or name for part in parts]
    if form.amen:
        found.append("Amen")
    return _BETWEEN.join(found)


def _parts(tune: Tune) -> list[str]:
    """Return the parts of one verse in the order in which they are played.

    "" stands for the verse itself; a part played twice running is told once.
    """
    labels = _labels(tune)
    if not any(map(_REFRAIN.match, labels)):
        return [""]
    found: list[str] = []
    once = range(len(tune.bars)) if repeats_whole(tune) else played_bars(tune)
    for at in once:
        label = "" if VERSE.match(labels[at]) else _told(labels[at])
        if not found or found[-1] != label:
            found.append(label)
    return found


def _labels(tune: Tune) -> list[str]:
    """Return the label in force in each bar; "" before the first."""
    found = []
    label = ""
    for bar in tune.bars:
        label = bar.section or label
        found.append(label)
    return found


def _told(label: str) -> str:
    return label.lower() if _REFRAIN.match(label) else label
