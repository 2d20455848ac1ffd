"""Directions: tempo marks, jumps such as "D.C. al Fine", and labels of sections.

A tempo needs a number: tempo words alone are told in a remark. A tempo that the file
gives for playback only counts at the beginning and where words stand beside it; other
playback tempos are no marks on the page.
Source: W3C, MusicXML 4.0, `direction`, `metronome`, `sound`; common practice.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    decimal,
    text,
    words,
)
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.notation.musicxml.walk import Measure, note_length
from harmonise.theory.tune import Bar, Tempo

_TEMPO = re.compile(
    r"(grave|largo|larghetto|lent|adag|andant|moderat|allegr|viva|vivo|prest|tempo|animat|"
    r"maesto|cantabile|slow|fast|quick|lively|brisk|steady|broad|gentl|march|waltz)",
    re.IGNORECASE,
)
_JUMP = re.compile(
    r"(fine|d\.?\s*[cs]\.?(\s.*)?|da capo.*|dal segno.*|to coda.*|"
    r".*\bal (fine|coda)\b.*)[.!]?$",
    re.IGNORECASE,
)
_LABEL = re.compile(
    r"(verse|chorus|refrain|bridge|intro|introduction|interlude|ending|solo|tag|trio|"
    r"part|tune|strain)( [0-9A-Z]{1,2})?[:.]?$",
    re.IGNORECASE,
)
_JUMP_SOUNDS = {
    "fine": "Fine",
    "dacapo": "D.C.",
    "dalsegno": "D.S.",
    "tocoda": "To Coda",
}
_NUMBER = re.compile(r"[0-9]{1,4}(\.[0-9]{1,4})?")
_FASTEST = 1000


class Directions(NamedTuple):
    """What stands over the staff.

    Attributes:
        tempos: Tempo marks in order.
        jumps: Jump words, each at the end of its bar, and jump signs at the start.
        labels: Label of a section by the onset of its first bar.
    """

    tempos: tuple[Tempo, ...] = ()
    jumps: tuple[tuple[Fraction, str], ...] = ()
    labels: tuple[tuple[Fraction, str], ...] = ()


class _Sign(NamedTuple):
    """One direction, or a sound that stands by itself."""

    onset: Fraction
    bar: Bar
    element: Element

    @property
    def words(self) -> str:
        found = self.element.iterfind("direction-type/words")
        return words(" ".join(word.text or "" for word in found))[:80]

    def sound(self, name: str) -> str:
        """Return an attribute of the direction's `<sound>`, or of the sound itself."""
        inner = self.element.find("sound")
        carrier = self.element if inner is None else inner
        return carrier.get(name, "")


def read_marks(
    measures: tuple[Measure, ...], page: LaidPart, remarks: XmlRemarks
) -> Directions:
    """Return tempos, jumps and labels.

    Args:
        measures: Measures of the part that carries them.
        page: The tune's part, whose bars they are placed in.
        remarks: Told which tempo marks have no number.
    """
    signs = sorted(_signs(measures, page), key=attrgetter("onset"))
    jumps = dict.fromkeys(jump for sign in signs for jump in _jumps(sign))
    labels: dict[Fraction, str] = {}
    for sign in signs:
        label = words(sign.element.findtext("direction-type/rehearsal"))[:40]
        if not label and _LABEL.match(sign.words):
            label = sign.words.rstrip(":.")
        if label:
            labels.setdefault(sign.bar.start, label)
    tempos = tuple(_tempos(signs, remarks))
    return Directions(tempos, tuple(sorted(jumps)), tuple(labels.items()))


def _signs(measures: tuple[Measure, ...], page: LaidPart) -> Iterator[_Sign]:
    for count, measure in enumerate(measures[: len(page.measures)]):
        start, end = page.starts[count], page.starts[count + 1]
        for item in measure.items:
            if item.element.tag in ("direction", "sound"):
                # What stands behind a bar's last note belongs to that bar.
                onset = min(start + item.onset, end)
                bar = page.bar_before(end) if onset == end else page.bar_at(onset)
                yield _Sign(onset, bar, item.element)


def _jumps(sign: _Sign) -> Iterator[tuple[Fraction, str]]:
    # What is printed goes before what is said for playback.
    if _JUMP.match(sign.words):
        yield sign.bar.end, sign.words
    else:
        for name, said in _JUMP_SOUNDS.items():
            if sign.sound(name) not in ("", "no"):
                yield sign.bar.end, said
    for name in ("segno", "coda"):
        if sign.element.find(f"direction-type/{name}") is not None:
            yield sign.bar.start, name.capitalize()


def _tempos(signs: list[_Sign], remarks: XmlRemarks) -> Iterator[Tempo]:
    """Yield one tempo for each place that has a number or tempo words."""
    for onset, group in groupby(signs, key=attrgetter("onset")):
        here = list(group)
        said = _tempo_words(here)
        printed = [tempo for sign in here for tempo in _metronomes(sign, remarks)]
        # The tempo for playback counts in crotchets a minute; inside the tune it may
        # be a program's ritardando and is a mark only where words say so.
        speeds = [decimal(sign.sound("tempo")) or Fraction(0) for sign in here]
        played = [speed for speed in speeds if 0 < speed <= _FASTEST]
        if printed:
            yield printed[0]._replace(words=said)
        elif played and (said or onset == 0):
            yield Tempo(onset, played[0], words=said)
        elif said:
            yield Tempo(onset, None, words=said)


def _tempo_words(here: list[_Sign]) -> str:
    """Return the words of a tempo mark: those in its direction, or that sound so."""
    for sign in here:
        # Words beside a number are its tempo words, whatever they say.
        numbered = sign.element.find("direction-type/metronome") is not None
        numbered = numbered or bool(sign.sound("tempo"))
        # A directive stands over the time signature, as tempo words do.
        numbered = numbered or sign.element.get("directive") == "yes"
        jumps = _JUMP.match(sign.words) or _LABEL.match(sign.words)
        if sign.words and not jumps and (numbered or _TEMPO.search(sign.words)):
            return sign.words
    return ""


def _metronomes(sign: _Sign, remarks: XmlRemarks) -> Iterator[Tempo]:
    """Yield the marks "note = number" of a direction."""
    for metronome in sign.element.iterfind("direction-type/metronome"):
        number = _NUMBER.search(text(metronome, "per-minute"))
        beat = note_length(text(metronome, "beat-unit"))
        if number is None or beat is None or not 0 < Fraction(number[0]) <= _FASTEST:
            remarks.add(
                XmlCode.TEMPO,
                "a tempo mark here gives no number of beats a minute; it was left out.",
                sign.onset,
            )
            continue
        # More than four dots are a fault of the file, not a note value.
        dots = min(len(metronome.findall("beat-unit-dot")), 4)
        length = beat * (2 - Fraction(1, 2**dots))
        yield Tempo(sign.onset, Fraction(number[0]), length)
