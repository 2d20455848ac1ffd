"""Sheets of names filled in as a pupil would, with one wrong shape, by plain counting.

The sheet comes as the bytes that pupils get. Which notes stand over each box, and what
root, third and lowest note they have, is counted here by letters and semitones.
"""

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.etree import ElementTree as ET

from makers.outside_slips import Slip
from makers.outside_works import LETTERS, Note, Page, Work, height, tune_of

TO_FILL = "?"
SHAPES = ("root", "second", "first")
"""By letters from the root to the lowest note of the right hand: none, four, two."""
FIGURES = {"root": "5/3", "first": "6/3", "second": "6/4"}
NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")


class NamesSheet(NamedTuple):
    """What a pupil sees: all notes, and at which places how many boxes are empty."""

    notes: tuple[tuple[int, Note], ...]
    boxes: dict[Fraction, int]


def seen(data: bytes) -> NamesSheet:
    """Return the notes of a sheet, each with its staff, and its empty boxes."""
    root = ET.fromstring(data)  # noqa: S314 (a file of our own)
    divisions, start, notes, boxes = 1, Fraction(0), [], Counter[Fraction]()
    for measure in root.iterfind("part/measure"):
        now = last = longest = Fraction(0)
        divisions = int(measure.findtext("attributes/divisions") or divisions)
        for item in measure:
            size = Fraction(int(item.findtext("duration") or 0), divisions)
            if item.tag == "direction":
                texts = [word.text for word in item.iterfind("direction-type/words")]
                boxes[start + now] += texts.count(TO_FILL)
            elif item.tag in ("backup", "forward"):
                now += size if item.tag == "forward" else -size
            elif item.tag == "note":
                at = last if item.find("chord") is not None else now
                last, now = at, at + size
                pitch = item.find("pitch")
                if pitch is not None:
                    staff = int(item.findtext("staff") or 1)
                    notes.append((staff, Note(start + at, size, named(pitch))))
            longest = max(longest, now)
        start += longest
    return NamesSheet(tuple(notes), {at: n for at, n in sorted(boxes.items()) if n})


def named(pitch: ET.Element) -> str:
    signs = int(pitch.findtext("alter") or 0)
    sign = "#" * signs if signs > 0 else "b" * -signs
    return f"{pitch.findtext('step')}{sign}{pitch.findtext('octave')}"


def answers(sheet: NamesSheet, tonic: str, at: Fraction) -> tuple[str, str, str]:
    """Return chord, numeral and shape of what sounds over a box.

    The third may come in the tune before the next box.
    """
    stop = next((box for box in sheet.boxes if box > at), at + 2)
    here = [(s, n.name) for s, n in sheet.notes if n.at <= at < n.end]
    until = [n.name for _, n in sheet.notes if n.at < stop and n.end > at]
    bass = min((name for staff, name in here if staff > 1), key=height)
    lowest = min((name for staff, name in here if staff == 1), key=height)
    third = next(name for name in until if letters(bass, name) == 2)
    minor = (height(third) - height(bass)) % 12 == 3
    degree = NUMERALS[letters(f"{tonic}4", bass)]
    shape = SHAPES[letters(bass, lowest) % 3]
    return f"{bass[:-1]}{'m' * minor}", degree.lower() if minor else degree, shape


def letters(low: str, high: str) -> int:
    """Return how many letters one note stands above another, octaves aside."""
    return (LETTERS.index(high[0]) - LETTERS.index(low[0])) % 7


def names_work(page: Page, data: bytes) -> Work:
    """Return a sheet with every box rightly filled in."""
    sheet, (tune, bars, beats, unit) = seen(data), tune_of(page)
    tonic = page.tune.split("\n")[0].removeprefix("Key: ").removesuffix(" minor")
    given = {(note.at, note.name) for note in tune}
    inner = [n for s, n in sheet.notes if s == 1 and (n.at, n.name) not in given]
    left = [note for staff, note in sheet.notes if staff > 1]
    symbols, words = [], []
    for at, boxes in sheet.boxes.items():
        chord, degree, shape = answers(sheet, tonic, at)
        symbols.append((at, chord))
        # An open shape has no box for figures.
        below = (degree, shape, FIGURES[shape])[: boxes - 1]
        words += [(at, text) for text in below]
    return Work(page.fifths, beats, unit, bars, tune, tuple(sorted(inner)),
                tuple(sorted(left)), tuple(symbols), tuple(words))  # fmt: skip


def misnamed_slips(name: str, page: Page, data: bytes) -> Iterator[Slip]:
    """Yield a sheet with one shape named wrongly, in words or in figures."""
    work = names_work(page, data)
    for number, (at, text) in enumerate(work.words):
        row: tuple[str, ...] = SHAPES
        kind = "wrong shape"
        if text in FIGURES.values():
            row, kind = tuple(FIGURES.values()), "wrong figures"
        if text in row:
            wrong = row[(row.index(text) + 1) % len(row)]
            words = (*work.words[:number], (at, wrong), *work.words[number + 1 :])
            bar = next(b for b in work.bars if b.at <= at < b.at + b.length)
            yield Slip(name, kind, bar.number, "M09", work._replace(words=words))
