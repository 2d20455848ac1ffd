"""How long ABC notes last, both ways: multipliers, broken rhythm, tuplets.

All lengths are exact, in crotchets. Source: ABC 2.1, sections 3.1.7, 4.3, 4.4, 4.13.
"""

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.notation.abc.abc_text import UnreadableError
from harmonise.theory.metre import TimeSignature

_LENGTH = r"(\d*)(/*)(\d*)"
_UNIT = r"(\d+)(?:/(\d+))?"
_DIGITS = 4
_SHORTEST = 512
_DEFAULTS = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
"""How many notes' time p notes take; for 5, 7 and 9 the metre decides."""


_PLAIN = Fraction(1)


@lru_cache(maxsize=1024)
def parse_multiplier(text: str) -> Fraction:
    """Return how many units a length stands for: "" is 1, "3/2", "/" is 1/2.

    Raises:
        UnreadableError: If it is no length, or nothing.

    >>> [str(parse_multiplier(text)) for text in ("", "3", "/", "//", "3/", "3/4")]
    ['1', '3', '1/2', '1/4', '3/2', '3/4']
    """
    match = re.fullmatch(_LENGTH, text)
    upper, slashes, lower = match.groups() if match else ("", "", "")
    too_long = max(len(upper), len(slashes), len(lower)) > _DIGITS
    # "3/2", "/" and "//" are lengths; "3//2" is none (4.3).
    if not match or too_long or (lower and len(slashes) != 1):
        what = f'"{text}" is no length.'
        raise UnreadableError(what, "Write a number, a fraction such as 3/2, or /.")
    bottom = int(lower) if lower else 2 ** len(slashes)
    top = int(upper) if upper else 1
    if not top or not bottom:
        raise UnreadableError(f'"{text}" is no length: a note must last some time.')
    return Fraction(top, bottom)


def multiply(inner: str, outer: str) -> str:
    """Return the product of two multipliers, as written: those in and at a chord.

    >>> multiply("3", "/"), multiply("", "2")
    ('3/2', '2')
    """
    if not (inner and outer):
        return inner or outer
    product = parse_multiplier(inner) * parse_multiplier(outer)
    return f"{product.numerator}/{product.denominator}"


def parse_unit(text: str) -> Fraction:
    """Return the length in crotchets that an `L:` field gives: "1/8" is 1/2.

    Raises:
        UnreadableError: If it is not 1 or one over a power of two down to 1/512.
    """
    match = re.fullmatch(_UNIT, text.replace(" ", ""))
    lower = int((match.group(2) or "1")[:_DIGITS]) if match else 0
    is_power = 0 < lower <= _SHORTEST and lower & (lower - 1) == 0
    if not match or match.group(1) != "1" or not is_power:
        what = f'L: "{text}" is no length of a note.'
        raise UnreadableError(what, "Write one such as L:1/8.")
    return Fraction(4, lower)


def default_unit(time: TimeSignature | None) -> Fraction:
    """Return the unit that holds without an `L:` field, in crotchets.

    A semiquaver where the metre as a fraction is less than 3/4, else a quaver.

    >>> str(default_unit(TimeSignature(2, 4))), str(default_unit(None))
    ('1/4', '1/2')
    """
    # The metre decides: below 3/4 a bare letter is a semiquaver (3.1.7).
    short = time is not None and time.bar_length < 3
    return Fraction(1, 4) if short else Fraction(1, 2)


class TupletSign(NamedTuple):
    """A tuplet sign: put p notes into the time of q for the next r notes.

    Attributes:
        ratio: q over p.
        notes: r.
    """

    ratio: Fraction
    notes: int


def parse_tuplet(text: str, time: TimeSignature | None) -> TupletSign:
    """Return what a sign such as "(3", "(3:2" or "(5::6" says in a metre.

    Args:
        text: The sign.
        time: Metre in force; compound ones put 5, 7 or 9 into the time of 3, not 2.

    Raises:
        UnreadableError: If a number is missing where no rule gives it, or 0.

    >>> parse_tuplet("(3::2", TimeSignature(4, 4))
    TupletSign(ratio=Fraction(2, 3), notes=2)
    """
    numbers = [int(n) if n else 0 for n in text[1:].split(":")]
    given, *rest = numbers
    into, count = (*rest, 0, 0)[:2]
    # 5, 7 and 9 notes take the time of 3 in compound metres, else of 2 (4.13).
    odd = 3 if time is not None and time.is_compound else 2
    known = _DEFAULTS.get(given, odd if given in (5, 7, 9) else 0)
    into = into or known
    if not given or not into:
        what = f'"{text}" does not say how many notes share which time.'
        remedy = "Write (p:q:r, such as (11:8 for eleven in the time of eight."
        raise UnreadableError(what, remedy)
    return TupletSign(Fraction(into, given), count or given)


class Lengths:
    """The lengths of notes as they follow each other.

    Attributes:
        unit: Length of a bare letter, in crotchets.
        in_tuplet: How many notes the tuplet still wants.
        broken: What a broken rhythm does to the next note; 1 for nothing.
    """

    def __init__(self, unit: Fraction) -> None:
        """Begin with a unit, in crotchets, and no tuplet."""
        self.unit = unit
        self.in_tuplet = 0
        self.broken = _PLAIN
        self._ratio = Fraction(1)
        self._tuplet: TupletSign | None = None
        # Books repeat a few lengths over and over: each is worked out once.
        self._tables: dict[Fraction, dict[str, Fraction]] = {}
        self._table = self._tables.setdefault(unit, {})

    @property
    def is_broken(self) -> bool:
        """Whether a note must follow that a broken rhythm changes."""
        return self.broken is not _PLAIN

    def take(self, text: str) -> Fraction:
        """Return the length of the next note or rest, in crotchets.

        Args:
            text: Its multiplier as written.

        Raises:
            UnreadableError: If the multiplier is no length.
        """
        length = self._table.get(text)
        if length is None:
            scale = self.unit * self._ratio * self.broken
            length = self._table[text] = parse_multiplier(text) * scale
        if self.in_tuplet or self.is_broken:
            self._pass_note()
        return length

    def _pass_note(self) -> None:
        self.broken = _PLAIN
        if self.in_tuplet:
            self.in_tuplet -= 1
            if not self.in_tuplet:
                self._ratio = Fraction(1)
        self._choose_table()

    def set_unit(self, unit: Fraction) -> None:
        """Change the length of a bare letter, in crotchets."""
        self.unit = unit
        self._choose_table()

    def is_repeated(self, tuplet: TupletSign) -> bool:
        """Whether a tuplet has just begun with the same sign, and has no note yet."""
        return self._tuplet == tuplet and self.in_tuplet == tuplet.notes

    def set_tuplet(self, tuplet: TupletSign) -> None:
        """Begin a tuplet."""
        self._tuplet = tuplet
        self._ratio, self.in_tuplet = tuplet
        self._choose_table()

    def end_tuplet(self) -> None:
        """Forget what a tuplet or a broken rhythm still wants."""
        self._ratio, self.in_tuplet, self.broken = Fraction(1), 0, _PLAIN
        self._choose_table()

    def set_broken(self, factor: Fraction) -> None:
        """Let a broken rhythm change the next note."""
        self.broken = factor
        self._choose_table()

    def _choose_table(self) -> None:
        scale = self.unit * self._ratio * self.broken
        self._table = self._tables.setdefault(scale, {})


def parse_broken(text: str) -> tuple[Fraction, Fraction]:
    """Return what ">", "<<" and so on do to the note before and the note after.

    Raises:
        UnreadableError: If there are more than three signs.

    >>> [str(factor) for factor in parse_broken("<<")]
    ['1/4', '7/4']
    """
    if len(text) > 3:
        what = f'"{text}" is no broken rhythm.'
        raise UnreadableError(what, "At most three signs stand together.")
    short = Fraction(1, 2 ** len(text))
    long = 2 - short
    return (long, short) if text[0] == ">" else (short, long)


def format_multiplier(units: Fraction) -> str:
    """Return a length in units: "" for one, "2", "/2", "3/2".

    >>> [format_multiplier(Fraction(n, 2)) for n in (1, 2, 3, 4)]
    ['/2', '', '3/2', '2']
    """
    upper = "" if units.numerator == 1 else str(units.numerator)
    return upper if units.denominator == 1 else f"{upper}/{units.denominator}"
