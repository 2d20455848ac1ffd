"""What is tapped where the caret stands in a typed tune, and where its notes stand.

A word of the text is a beat, so what is put in takes whole beats: a rest behind the
caret gives way to it, and where there is none and the bar is full, its last beats go
on into the next bar, and so on until one has room. What a repeat, a double bar or a
line of headers parts from the caret stays as it is: the bar before that is the last.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate
from math import ceil
from typing import NamedTuple

from harmonise.notation.tune_text.typed_lines import is_tune_line
from harmonise.page.beats import (
    HOLD,
    REST,
    Part,
    length_of,
    parts_of,
    words_of,
)
from harmonise.page.requests import Stretch

_TOKEN = re.compile(r"\[\d[\d,.-]*|[|:\[\]]+|[^\s|:\[\]]+")
"""The number of an ending, a bar line, or a word of a line of the tune."""
_BETWEEN = re.compile(r"\s*(%.*|(words|chords)\s*:.*)?\s*", re.IGNORECASE)
"""A line that may stand between two lines of the tune and parts nothing."""
_SILENT = frozenset({"", REST, HOLD, "_"})


def letters(text: str, place: int) -> int:
    """Return the number of letters that some of a browser's units of text hold."""
    return len(text.encode("utf-16-le")[: 2 * place].decode("utf-16-le", "ignore"))


def units(text: str) -> int:
    """Return the number of letters of a text as browsers count them."""
    return len(text.encode("utf-16-le")) // 2


def typed_notes(text: str) -> Iterator[Stretch]:
    """Yield from where to where each note stands in a text, as browsers count."""
    at, counted = 0, 0
    for word in (word for bar in _bars(text) for word in bar.words):
        at += units(text[counted : word.start])
        counted = word.start
        begin = at
        for sign in word.text.split("."):
            if sign not in _SILENT:
                yield begin, begin + units(sign)
            begin += units(sign) + 1


class _Word(NamedTuple):
    """A beat as typed, and where it stands."""

    text: str
    start: int
    end: int


class _BarBeats(NamedTuple):
    """The beats of a bar on one line.

    Attributes:
        words: The beats, one at least.
        parted: Whether anything but a bar line stands before it.
        closed: Whether it ends at a bar line, not at the end of its line.
    """

    words: list[_Word]
    parted: bool
    closed: bool

    @property
    def end(self) -> int:
        """Where its last beat ends."""
        return self.words[-1].end


def _bars(text: str) -> Iterator[_BarBeats]:
    """Yield the bars of a typed text."""
    begin, parted = 0, True
    for line in text.splitlines(keepends=True):
        words = list[_Word]()
        is_tune = is_tune_line(line)
        parted = parted or not (is_tune or _BETWEEN.fullmatch(line))
        for found in _TOKEN.finditer(line.partition("%")[0]) if is_tune else ():
            if found[0][0] not in "[|:]":
                words.append(
                    _Word(found[0], begin + found.start(), begin + found.end())
                )
                continue
            if words:
                yield _BarBeats(words, parted, closed=True)
                words, parted = [], False
            parted = parted or found[0] != "|"
        if words:
            yield _BarBeats(words, parted, closed=False)
            parted = False
        begin += len(line)


def is_in_tune(text: str, place: int) -> bool:
    """Whether a caret stands in a line of the tune, and not behind all of it."""
    begin = text.rfind("\n", 0, place) + 1
    line = text[begin:].partition("\n")[0]
    is_remark = "%" in text[begin:place]
    return bool(text[place:].strip()) and is_tune_line(line) and not is_remark


def put_in(text: str, place: int, part: Part, beats: int) -> tuple[str, int]:
    r"""Return a text with something put in, and the place behind that.

    Args:
        text: The text.
        place: How many letters stand before the caret, which is in a line of the tune.
        part: What is put in, and how many beats it lasts.
        beats: How many a bar has there.

    >>> put_in("Key: C\nC D E F | G A B -", 10, ("G", Fraction(1)), 4)
    ('Key: C\nC D G E | F G A B | - 0 0 0', 12)
    """
    bars = _around(text, place)
    put = _put(bars[0].words, place, part)
    rooms = _rooms(bars, beats if "|" in text else len(text))
    moved = _moved_on(
        [put.words, *([w.text for w in bar.words] for bar in bars[1:])], rooms
    )
    return _written(text, bars, moved, put)


def _around(text: str, place: int) -> list[_BarBeats]:
    """Return the bar of a caret and those that follow it with nothing between."""
    bars = [*_bars(text)]
    at = max((n for n, bar in enumerate(bars) if bar.words[0].start < place), default=0)
    follows = bars[at + 1 : at + 2]
    if "|" in text[bars[at].end : place] and follows and not follows[0].parted:
        at += 1  # Behind a bar line the next bar begins.
    end = next((n for n in range(at + 1, len(bars)) if bars[n].parted), len(bars))
    return bars[at:end]


def mark_put_in(text: str, place: int, mark: str) -> tuple[str, int]:
    r"""Return a text with a bar line or the end of a line put in, and where that ends.

    >>> mark_put_in("Key: C\nC D E F", 10, "|")
    ('Key: C\nC D | E F', 12)
    """
    here = re.compile(r"[^\s|:\[\]]*").match(text, place)
    place = here.end() if here else place
    before, after = text[:place].rstrip(" "), text[place:].lstrip(" ")
    if before[-1:] in ("|", "\n", ":") or after[:1] in ("|", "\n", ":"):
        return text, place
    put = f" {mark}" if mark == "|" else mark
    space = " " if mark == "|" else ""
    return f"{before}{put}{space}{after}", len(before) + len(put)


class _Put(NamedTuple):
    """A bar with something put into it.

    Attributes:
        words: Its beats; they may be too many.
        beats: Where what was put in ends, in beats of the bar.
    """

    words: list[str]
    beats: Fraction


def _put(words: list[_Word], place: int, part: Part) -> _Put:
    before = [word.text for word in words if word.end <= place]
    after = [word.text for word in words if word.start >= place]
    head, tail = list[Part](), list[Part]()
    for word in words:
        if word.start < place < word.end:
            head, tail = _split(word, place)
    needed = part[1] if part[0] != REST else Fraction(0)
    while needed and (tail or after):
        tail = tail or parts_of(after.pop(0))
        sign, length = tail.pop(0)
        given = min(needed, length) if sign == REST else Fraction(0)
        if given < length:
            tail.insert(0, (sign, length - given))
        if not given:
            break
        needed -= given
    ends = length_of(head) + part[1]
    spare = -(ends + length_of(tail)) % 1
    filled = [*head, part, *([(REST, spare)] if spare else []), *tail]
    return _Put([*before, *words_of(filled), *after], len(before) + ends)


def _split(word: _Word, place: int) -> tuple[list[Part], list[Part]]:
    """Return the parts of a beat before a caret in it, and those behind."""
    parts = parts_of(word.text)
    starts = accumulate((len(sign) + 1 for sign, _ in parts), initial=word.start)
    count = sum(start < place for start in [*starts][:-1])
    return parts[:count], parts[count:]


def _rooms(bars: list[_BarBeats], beats: int) -> list[int]:
    """Return how many beats there is room for in each bar."""
    sizes = [len(bar.words) for bar in bars]
    rooms = [max(beats, size) for size in sizes]
    for at, size in enumerate(sizes[:-1]):
        # A bar may go on in the next line: its two parts stay as long as they are.
        if not bars[at].closed and size + sizes[at + 1] == beats:
            rooms[at], rooms[at + 1] = size, sizes[at + 1]
    return rooms


def _moved_on(bars: list[list[str]], rooms: list[int]) -> list[list[str]]:
    """Return bars with no more than there is room for: the rest goes on, bar by bar."""
    made, over = list[list[str]](), list[str]()
    for words, room in zip(bars, rooms, strict=True):
        whole = [*over, *words]
        is_last = len(made) == len(bars) - 1
        while is_last and len(whole) > room and whole[-1] == REST:
            whole.pop()  # Rests at the end are there to be filled.
        made.append(whole[:room])
        over = whole[room:]
        if not over:
            return made
    room = max(rooms)
    while over:
        new, over = over[:room], over[room:]
        made.append([*new, *[REST] * (room - len(new))])
    return made


def _written(
    text: str, bars: list[_BarBeats], moved: list[list[str]], put: _Put
) -> tuple[str, int]:
    """Return a text with bars written anew, and the place behind what was put in."""
    made, end = "", 0
    words = list[tuple[int, str]]()  # each beat, and where it stands
    for number, beats in enumerate(moved):
        if number < len(bars):
            made += text[end : bars[number].words[0].start]
            end = bars[number].end
        else:
            made += " | "
        for beat in beats:
            words.append((len(made), beat))
            made += f"{beat} "
        made = made[:-1]
    # Rests that were put in at the end may have given way again.
    put = put._replace(beats=min(put.beats, Fraction(len(words))))
    place, word = words[ceil(put.beats) - 1]
    signs = word.split(".")
    inside = put.beats % 1 or 1
    return made + text[end:], place + len(".".join(signs[: int(inside * len(signs))]))
