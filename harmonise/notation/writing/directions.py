"""Directions above the music: tempo, section labels, jumps, and how often to play."""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element

from harmonise.notation.writing.durations import value_of
from harmonise.notation.writing.xml_text import add, clean
from harmonise.theory.tune import Tempo

_BOLD = {"font-weight": "bold"}
_JUMPS = (
    (re.compile(r"fine\.?$", re.IGNORECASE), "fine", "yes"),
    (re.compile(r"(d\. ?c\.?|da ?capo)(?!\w)", re.IGNORECASE), "dacapo", "yes"),
    (re.compile(r"(d\. ?s\.?|dal ?segno)(?!\w)", re.IGNORECASE), "dalsegno", "segno"),
    (re.compile(r"to ?coda$", re.IGNORECASE), "tocoda", "coda"),
    (re.compile(r"segno$", re.IGNORECASE), "segno", "segno"),
    (re.compile(r"coda$", re.IGNORECASE), "coda", "coda"),
)
"""Jump words, the attribute of MusicXML's <sound> that plays them, and its value."""


_RELATIVE = re.compile(r"(rit|rall|a tempo)\b", re.IGNORECASE)
"""Tempo words that say nothing of crotchets a minute."""


class Floating(NamedTuple):
    """Something printed above a place that may fall between two notes.

    Attributes:
        tick: Its place, in ticks from the start.
        make: Makes the element, given ticks from the note that it is written before.
    """

    tick: int
    make: Callable[[int], Element]


def tempo(mark: Tempo, offset: int) -> Element:
    """Return tempo words and metronome mark in one direction; "rit." stands alone."""
    direction = _direction()
    if mark.words:
        _words(direction, mark.words)
    if not _RELATIVE.match(mark.words):
        _metronome(direction, mark)
    _finish(direction, offset, sounds=True)
    speed = format_decimal(mark.per_minute * mark.beat)
    add(direction, "sound").set("tempo", speed)
    return direction


def _metronome(direction: Element, mark: Tempo) -> None:
    metronome = add(add(direction, "direction-type"), "metronome")
    value = value_of(mark.beat)
    add(metronome, "beat-unit", value.kind if value else "quarter")
    for _ in range(value.dots if value else 0):
        add(metronome, "beat-unit-dot")
    per_minute = mark.per_minute if value else mark.per_minute * mark.beat
    add(metronome, "per-minute", format_decimal(per_minute))


def format_decimal(number: Fraction) -> str:
    """Return a number in decimals, to the nearest hundredth.

    >>> format_decimal(Fraction(96)), format_decimal(Fraction(185, 2))
    ('96', '92.5')
    """
    whole, hundredths = divmod(round(number * 100), 100)
    return f"{whole}.{hundredths:02}".rstrip("0").rstrip(".")


def section(label: str, offset: int) -> Element:
    """Return the label of a section, such as "Chorus"; a letter is a rehearsal mark."""
    direction = _direction()
    if len(label) > 2:
        _words(direction, label)
    else:
        kind = add(direction, "direction-type")
        add(kind, "rehearsal", clean(label))
    _finish(direction, offset)
    return direction


def times_played(times: int, offset: int) -> Element:
    """Return the words that tell how often a repeat is played."""
    direction = _direction()
    _words(direction, f"play {times} times").set("justify", "right")
    _finish(direction, offset)
    return direction


def jump(text: str, offset: int) -> Element:
    """Return jump words, such as "D.C. al Fine", with the sound that plays them."""
    direction = _direction()
    found = [jump for jump in _JUMPS if jump[0].match(text.strip())]
    name, value = found[0][1:] if found else ("", "")
    if name in ("segno", "coda"):
        add(add(direction, "direction-type"), name)
    else:
        _words(direction, text).set("justify", "right")
    _finish(direction, offset)
    if name:
        add(direction, "sound").set(name, value)
    return direction


def is_sign(text: str) -> bool:
    """Whether jump words are a sign that opens a bar: segno or coda."""
    return text.strip().lower() in ("segno", "coda")


def _direction() -> Element:
    return Element("direction", {"placement": "above"})


def _words(direction: Element, text: str) -> Element:
    words = add(add(direction, "direction-type"), "words", clean(text))
    words.attrib.update(_BOLD)
    return words


def _finish(direction: Element, offset: int, *, sounds: bool = False) -> None:
    """Append offset and staff; the offset moves the sound too only if it `sounds`."""
    if offset:
        moved = add(direction, "offset", str(offset))
        if sounds:
            moved.set("sound", "yes")
    add(direction, "staff", "1")
