"""Bars in MusicXML: numbers, signatures, bar lines, endings, new lines.

Numbering follows MusicXML 4.0 and TRADE N09: a pickup is number 0 and implicit; the
second part of a split bar is implicit with a number of its own, X1, X2 and so on.

Directions above the music: tempo, section labels, jumps, and how often to play.
"""

import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

from harmonise.notation.musicxml.written_xml import add, clean
from harmonise.notation.score.note_values import value_of
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tempo, Tune

_LONG_LINE = 20
"""Crotchets that fit on one line of print; a longer phrase is broken every 4 bars."""


class Number(NamedTuple):
    """What stands at the head of a bar.

    Attributes:
        text: MusicXML's number.
        implicit: Whether it is never printed.
    """

    text: str
    implicit: bool


def number_bars(bars: Sequence[Bar]) -> list[Number]:
    """Return the numbers of all bars."""
    numbers: list[Number] = []
    parts = 0
    before: int | None = None
    for bar in bars:
        if bar.number == before:
            parts += 1
            numbers.append(Number(f"X{parts}", implicit=True))
        else:
            numbers.append(Number(str(bar.number), implicit=bar.number == 0))
        before = bar.number
    return numbers


def new_lines(tune: Tune) -> set[int]:
    """Return the numbers, from 0, of the bars that begin a new line of print.

    Lines end where phrases end, or after the bar in which they end (TRADE N12), if they
    hold two full bars; phrases too long for one line are broken every four bars.
    """
    ends = _phrase_ends(tune)
    lines: set[int] = set()
    first = 0
    for end in ends:
        full = _full_bars(tune.bars, first, end)
        if len(full) < 2 and end < len(tune.bars):
            continue
        length = tune.bars[end - 1].end - tune.bars[first].start
        if length > _LONG_LINE:
            lines.update(full[at] for at in range(4, len(full) - 1, 4))
        lines.add(end)
        first = end
    lines.discard(len(tune.bars))
    return lines


def _phrase_ends(tune: Tune) -> list[int]:
    """Return the numbers of the bars after each phrase's last; the end comes last."""
    ends = []
    at = 0
    for onset in sorted(tune.phrases):
        while at < len(tune.bars) and tune.bars[at].start < onset:
            at += 1
        ends.append(at)
    return [*(end for end in ends if 0 < end < len(tune.bars)), len(tune.bars)]


def _full_bars(bars: Sequence[Bar], first: int, end: int) -> list[int]:
    """Return the bars of a line that count: neither pickups nor second parts."""
    return [at for at in range(first, end) if not bars[at].offset]


def attributes(bar: Bar, before: Bar | None, key: Key | None) -> Element | None:
    """Return the signatures that change at a bar; None if none do.

    Args:
        bar: The bar.
        before: The bar before it; None at the start.
        key: The key, if it changes here.
    """
    time = bar.time if before is None or before.time != bar.time else None
    if time is None and key is None:
        return None
    element = Element("attributes")
    if key is not None:
        add_key(element, key)
    if time is not None:
        _add_time(element, time)
    return element


def add_key(parent: Element, key: Key) -> None:
    """Append a key signature, which holds for all staves."""
    signature = add(parent, "key")
    add(signature, "fifths", str(key.fifths))
    add(signature, "mode", key.mode.value)


def _add_time(parent: Element, time: TimeSignature) -> None:
    signature = add(parent, "time")
    upper, _, lower = str(time).partition("/")
    add(signature, "beats", upper)
    add(signature, "beat-type", lower)


_CLEFS = (("G", "2"), ("F", "4"))
"""Sign and line of the clefs: treble, bass."""


def first_attributes(
    signatures: Element | None, divisions: int, staves: int
) -> Element:
    """Return the attributes of the first bar: signatures, divisions and staves.

    Args:
        signatures: Key and time.
        divisions: Ticks in a crotchet.
        staves: 1 or 2.
    """
    parent = Element("attributes") if signatures is None else signatures
    parent.insert(0, Element("divisions"))
    parent[0].text = str(divisions)
    add(parent, "staves", str(staves))
    for number, (sign, line) in enumerate(_CLEFS[:staves], 1):
        clef = add(parent, "clef")
        clef.set("number", str(number))
        add(clef, "sign", sign)
        add(clef, "line", line)
    return parent


class Fences(NamedTuple):
    """What the bar lines around a bar say.

    Attributes:
        opens: Whether an ending begins with the bar.
        closes: Whether an ending stops with the bar.
        last: Whether it is the last bar.
    """

    opens: bool
    closes: bool
    last: bool


def fences_of(bars: Sequence[Bar]) -> list[Fences]:
    """Return what the bar lines around every bar say."""
    endings = [(), *(bar.ending for bar in bars), ()]
    changes = [left != right for left, right in pairwise(endings)]
    last = len(bars) - 1
    return [
        Fences(
            bool(bar.ending) and changes[at],
            bool(bar.ending) and changes[at + 1],
            at == last,
        )
        for at, bar in enumerate(bars)
    ]


def left_line(bar: Bar, fences: Fences) -> Element | None:
    """Return the bar line before a bar; None for a plain one."""
    if not (bar.repeat_start or fences.opens):
        return None
    line = Element("barline", {"location": "left"})
    if bar.repeat_start:
        add(line, "bar-style", "heavy-light")
    if fences.opens:
        _add_ending(line, bar, "start")
    if bar.repeat_start:
        add(line, "repeat").set("direction", "forward")
    return line


def right_line(bar: Bar, fences: Fences) -> Element | None:
    """Return the bar line after a bar; None for a plain one."""
    repeats = bar.repeat_end > 1
    heavy = repeats or fences.last
    if not (heavy or bar.double or fences.closes):
        return None
    line = Element("barline", {"location": "right"})
    if heavy or bar.double:
        add(line, "bar-style", "light-heavy" if heavy else "light-light")
    if fences.closes:
        _add_ending(line, bar, "stop" if repeats else "discontinue")
    if repeats:
        repeat = add(line, "repeat")
        repeat.set("direction", "backward")
        if bar.repeat_end > 2:
            repeat.set("times", str(bar.repeat_end))
    return line


def _add_ending(line: Element, bar: Bar, kind: str) -> None:
    text = ", ".join(f"{number}." for number in bar.ending) if kind == "start" else ""
    ending = add(line, "ending", text)
    ending.set("number", ",".join(map(str, bar.ending)))
    ending.set("type", kind)


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
