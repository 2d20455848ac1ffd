"""What a task file says of itself, so that a marker knows the task that comes back.

An identity is a line such as

    [harmonise task: choose, version B, key G major, bars 8, tune 3f9a1c20]

It stands in three places of a file, for editors keep some and drop others; each is
enough. The tune itself stands beside it in one of them. Where that one is lost the tune
is taken from the work or from another file, and its mark, the letters and figures at
the end, tells whether it is the right one.
"""

import re
from collections.abc import Iterator, Sequence
from enum import Enum
from fractions import Fraction
from hashlib import sha256
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.lessons.drill_makers import DrillWish
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import decode, format_of, parse_tunes
from harmonise.notation.musicxml.elements import read_tree
from harmonise.notation.musicxml.writer import FileIdentity
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.arrangement import (
    HarmonicRhythm,
    Labels,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Key
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import ChordAt, Tune

FIELD = "harmonise-task"
"""Name of the field that holds the identity and the tune."""
_LINE = re.compile(r"\[harmonise task: ([^\],]+)((?:, [a-z]+ [^\],]+)*)\]")
_ENTRY = re.compile(r", ([a-z]+) ([^\],]+)")
_NEW_LINE = "\N{PILCROW SIGN}"
"""Stands for the end of a line in a field, where an editor may join lines."""
PLUS = " + "
"""Stands between the values of one entry."""
_MARK = 8
"""Letters and figures of a tune's mark: one in four thousand million is the same."""
_DRILL = re.compile(r"drill (D\d{1,2}|[^,]*)$")


class TaskIdentity(NamedTuple):
    """Which task a file is.

    Attributes:
        kind: Word of the worksheet, or "drill" and its name or numerals.
        entries: Every choice by its word, in order.
    """

    kind: str
    entries: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        """Return the line that stands in files."""
        entries = "".join(f", {word} {value}" for word, value in self.entries)
        return f"[harmonise task: {self.kind}{entries}]"

    def get(self, word: str, usual: str = "") -> str:
        """Return what an entry says, or what is usual."""
        return dict(self.entries).get(word, usual)

    @property
    def drill(self) -> str:
        """Name or numerals of the drill; "" for a worksheet."""
        match = _DRILL.match(self.kind)
        return match[1] if match else ""


class FoundIdentity(NamedTuple):
    """What a file that came back says of itself.

    Attributes:
        identity: Which task it is.
        tune: The tune as it was given out; None where the file has lost it.
    """

    identity: TaskIdentity
    tune: Tune | None


def parse_identity(text: str) -> TaskIdentity | None:
    """Return the identity that stands in a text; None if there is none.

    >>> line = "Copied by hand. [harmonise task: drill D1, keys Eb  major]"
    >>> str(parse_identity(line))
    '[harmonise task: drill D1, keys Eb major]'
    """
    match = _LINE.search(" ".join(text.split()))
    if not match:
        return None
    return TaskIdentity(match[1].strip(), tuple(_ENTRY.findall(match[2])))


def mark_of(tune: Tune) -> str:
    """Return the mark of a tune: alike for tunes whose worksheets are alike.

    Notes, bar lines, keys, lines and locked chords count; title, rests at the end and
    how notes are written do not.
    """
    last = tune.sounding[-1].end
    bars = [bar for bar in tune.bars if bar.start < last]
    what = [
        [f"{note.onset} {note.length} {note.pitch}" for note in tune.sounding],
        [f"{bar.start} {bar.time}" for bar in bars],
        [f"{change.onset} {change.key}" for change in tune.keys],
        [str(end) for end in tune.phrases if end < last],
        [f"{lock.onset} {lock.chord}" for lock in tune.locks],
    ]
    return sha256(repr(what).encode()).hexdigest()[:_MARK]


def _unusual(choice: Enum, usual: Enum) -> str:
    return str(choice.value) if choice is not usual else ""


def _lock_text(lock: ChordAt) -> str:
    return f"{lock.onset} {lock.end} {lock.chord}"


def locks_in(text: str) -> tuple[ChordAt, ...]:
    """Return the locked chords that an identity tells."""
    rows = [row.split() for row in text.split(PLUS) if row]
    return tuple(
        ChordAt(Fraction(onset), Fraction(end), parse_symbol(chord))
        for onset, end, chord in rows
    )


def identity_of_sheet(sheet: Worksheet) -> TaskIdentity:
    """Return the identity of a worksheet."""
    order, home = sheet.order, sheet.home or sheet.tune
    if sheet.drill:
        return _identity_of_ear_drill(sheet)
    full = sum(not bar.offset and bar.number > 0 for bar in home.bars)
    found = find_lines(home.notes, home.bars)
    choices = {
        "version": sheet.version,
        "key": str(sheet.key),
        "from": str(home.key) if home.key != sheet.key else "",
        "keys": PLUS.join(map(str, order.keys)),
        "bars": str(full),
        "level": str(order.style.level) if order.style.level != 1 else "",
        "chords": _unusual(order.style.harmonic_rhythm, HarmonicRhythm.AUTO),
        "labels": _unusual(order.labels, Labels.WORDS),
        "depth": _unusual(order.depth, Depth.CORE),
        "faults": str(order.faults) if order.kind is SheetKind.FAULTS else "",
        "sheet": str(order.seed) if order.seed != 1 else "",
        **_aural_choices(order),
        "lines": PLUS.join(map(str, home.phrases)) if home.phrases != found else "",
        "locks": PLUS.join(map(_lock_text, home.locks)),
        "tune": mark_of(home),
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(order.kind.value, entries)


def _aural_choices(order: SheetOrder) -> dict[str, str]:
    """Return what an identity tells of questions by ear; "" where it is usual."""
    usual = SheetOrder(order.kind)
    return {
        "step": str(order.step) if order.step != usual.step else "",
        "about": order.about.value if order.about else "",
        "questions": str(order.questions) if order.questions != usual.questions else "",
    }


def _identity_of_ear_drill(sheet: Worksheet) -> TaskIdentity:
    order = sheet.order
    choices = {
        "keys": PLUS.join(map(str, order.keys)),
        **_aural_choices(order),
        "sheet": str(order.seed) if order.seed != 1 else "",
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(f"drill {sheet.drill}", entries)


def identity_of_drill(
    names: Sequence[str], keys: Sequence[Key], wish: DrillWish, numerals: str = ""
) -> TaskIdentity:
    """Return the identity of a drill.

    Args:
        names: Names of the drills; () for a progression of one's own.
        keys: The keys.
        wish: What the user chose.
        numerals: The progression; "" for drills.
    """
    choices = {
        "keys": PLUS.join(map(str, keys)),
        "start": PLUS.join(start.name.lower() for start in wish.starts),
        "pattern": wish.pattern.value if wish.pattern else "",
        "beats": str(wish.beats) if wish.beats != DrillWish().beats else "",
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(f"drill {numerals or PLUS.join(names)}", entries)


def file_identity(identity: TaskIdentity, tune: Tune | None = None) -> FileIdentity:
    """Return what a task file says of itself, in every place that editors may keep.

    Args:
        identity: Which task it is.
        tune: The tune that it is made of, as it was given out.
    """
    lines = [str(identity)]
    if tune:
        lines += _format(tune).splitlines()
    field = FIELD, f" {_NEW_LINE} ".join(lines)
    return FileIdentity(str(identity), str(identity), field)


def _format(tune: Tune) -> str:
    """Return a tune as tune text, or as ABC where that has no sign for it."""
    try:
        return format_tune_text(tune)
    except HarmoniseError:
        return format_abc(tune)


def find_identity(data: bytes) -> FoundIdentity | None:
    """Return what a file says of itself; None if it says nothing.

    Args:
        data: What the file holds: MusicXML or text.

    Raises:
        NotationError: If it is MusicXML that cannot be read.
    """
    found = [(parse_identity(text), text) for text in _texts(data)]
    named = [(identity, text) for identity, text in found if identity]
    if not named:
        return None
    tunes = (_tune_in(text) for _, text in named if _NEW_LINE in text)
    return FoundIdentity(named[0][0], next(filter(None, tunes), None))


def _texts(data: bytes) -> Iterator[str]:
    """Yield the texts of a file in which an identity may stand."""
    if format_of(data).name != "MusicXML":
        text = decode(data)
        # A tune beside an identity ends with its line.
        yield from (line for line in text.splitlines() if _NEW_LINE in line)
        yield text
        return
    for element in read_tree(data).iter():
        if element.text and "harmonise" in element.text:
            yield element.text


def _tune_in(text: str) -> Tune | None:
    """Return the tune that stands behind an identity; None if it is damaged."""
    _, *lines = (line.strip() for line in text.split(_NEW_LINE))
    try:
        return parse_tunes("\n".join(lines).encode())[0]
    except HarmoniseError:
        return None
