"""Lists of faults that a pupil found on the sheet of planted faults.

    # bar and beat: what is wrong | what is right
    3.1: wrong root in the left hand | C3 in the left hand
    5:   M11 | G#4

Every fault is worth its place, its name (or code), and the notes that are right.
"""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.lessons.worksheet import Planted, Worksheet
from harmonise.rules.table import KINDS

_LINE = re.compile(
    r"(?:bar\s+)?(\d{1,4})(?:(?:\.|,?\s*beat\s+)(\d{1,2}(?:\s+\d/\d|\.5)?))?\s*:(.*)$",
    re.IGNORECASE,
)
_NOTE = re.compile(r"\b[A-G][#b]*(?:maj|m|dim|aug)?\d?(?![a-z])")
PLACE, NAME, RIGHT = Fraction(1), Fraction(1), Fraction(1)


class Named(NamedTuple):
    """One line of a pupil's list.

    Attributes:
        place: Bar and beat.
        name: What is said to be wrong.
        right: What is said to be right.
    """

    place: Place
    name: str
    right: str


class FoundFault(NamedTuple):
    """One planted fault, and what a pupil earned for it.

    Attributes:
        planted: The fault.
        marks: 0 to 3.
        missing: What was not earned, in words.
    """

    planted: Planted
    marks: Fraction
    missing: tuple[str, ...]


def parse_list(text: str) -> tuple[Named, ...]:
    """Return the lines of a pupil's list.

    Raises:
        NotationError: If a line has no place.
    """
    return tuple(_named(line.strip()) for line in text.splitlines() if _counts(line))


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _named(line: str) -> Named:
    found = _LINE.match(line)
    if not found:
        raise NotationError(
            f'"{line}" has no bar.',
            None,
            "Write lines such as: 3.1: third missing | E4",
        )
    beat = (found[2] or "1").replace(".5", " 1/2").split()
    name, _, right = found[3].partition("|")
    at = sum(map(Fraction, beat), Fraction(0))
    return Named(Place(int(found[1]), at), name.strip(), right.strip())


def mark_list(named: tuple[Named, ...], sheet: Worksheet) -> tuple[FoundFault, ...]:
    """Return what a list earns for each planted fault but the example."""
    rows = zip(sheet.planted, sheet.items, strict=True)
    return tuple(_judged(fault, named) for fault, item in rows if item.marks)


def _judged(fault: Planted, named: tuple[Named, ...]) -> FoundFault:
    here = [own for own in named if own.place.bar == fault.place.bar]
    if not here:
        return FoundFault(fault, Fraction(0), ("place", "name", "what is right"))
    earned = {
        "place": any(own.place == fault.place for own in here),
        "name": any(_names(own.name, fault) for own in here),
        "what is right": any(_rights(own.right, fault) for own in here),
    }
    marks = [PLACE, NAME, RIGHT]
    got = sum(
        (mark for mark, fine in zip(marks, earned.values(), strict=True) if fine),
        Fraction(0),
    )
    return FoundFault(
        fault, got, tuple(name for name, fine in earned.items() if not fine)
    )


def _names(name: str, fault: Planted) -> bool:
    """Whether a name, or a code, is that of a fault."""
    plain = name.casefold()
    names = {fault.name, *(own.name for own in KINDS if own.code == fault.code)}
    return fault.code.casefold() in plain or any(n.casefold() in plain for n in names)


def _rights(right: str, fault: Planted) -> bool:
    """Whether the notes or chords named as right are those of the key."""
    wanted = _right_names(fault)
    return bool(wanted) and set(wanted) <= set(_NOTE.findall(right))


def _right_names(fault: Planted) -> list[str]:
    """Return what must be named: the first note or chord of the key's remedy."""
    return _NOTE.findall(fault.remedy)[:1]


def format_found(found: tuple[FoundFault, ...], sheet: Worksheet) -> str:
    """Return the slip of a list: each planted fault, what it earned, and the sum."""
    lines = []
    for number, own in enumerate(found, 1):
        where = str(own.planted.place)
        missing = f" Missing: {', '.join(own.missing)}." if own.missing else ""
        answer = f" {own.planted.what} {own.planted.remedy}" if own.missing else ""
        lines.append(
            f"{number}. {where[:1].upper()}{where[1:]}: {own.planted.name}."
            f"{missing}{answer}  [{own.marks}]"
        )
    terms = " + ".join(str(own.marks) for own in found)
    got = sum((own.marks for own in found), Fraction(0))
    return "\n".join([*lines, "", f"Sum: {terms} = {got} of {sheet.marks}"]) + "\n"
