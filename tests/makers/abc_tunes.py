"""Small ABC tunes for tests: read one, and write down what was read in one line."""

from collections.abc import Sequence

from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.theory.tune import Bar, Tune, TuneNote

HEADER = "M:4/4\nL:1/4\nK:C"
QUAVERS = "M:none\nL:1/8\nK:C"
SEMIQUAVERS = "M:none\nL:1/16\nK:C"


def read(body: str, header: str = HEADER, first: str = "") -> Tune:
    """Return the one tune of a body under a header; `first` goes above it."""
    return parse_abc(f"{first}X:1\nT:Test\n{header}\n{body}\n")[0]


def shown(notes: Sequence[TuneNote]) -> str:
    """Return notes with their lengths in crotchets: "C4 1, rest 1/2"."""
    return ", ".join(f"{note.pitch or 'rest'} {note.length}" for note in notes)


def heard(body: str, header: str = HEADER) -> str:
    """Return the notes of a body with their lengths in crotchets."""
    return shown(read(body, header).notes)


def pitches(body: str, header: str = HEADER) -> str:
    """Return the pitches of a body."""
    return " ".join(str(note.pitch) for note in read(body, header).sounding)


def lengths(body: str, header: str = HEADER) -> str:
    """Return the lengths of a body in crotchets."""
    return " ".join(str(note.length) for note in read(body, header).notes)


def numbers(tune: Tune) -> str:
    """Return bar numbers with length in crotchets: "0:1 1:4"; +n for an offset."""
    return " ".join(_bar(bar) for bar in tune.bars)


def _bar(bar: Bar) -> str:
    return f"{bar.number}:{bar.length}{f'+{bar.offset}' if bar.offset else ''}"


def said(tune: Tune) -> list[str]:
    """Return the remarks as users see them."""
    return [str(remark) for remark in tune.remarks]
