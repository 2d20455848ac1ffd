"""One pulse into tonic sol-fa: which notes begin where, and the signs between them."""

from fractions import Fraction
from typing import NamedTuple

_QUARTERS = tuple(Fraction(number, 4) for number in range(4))
_THIRDS = tuple(Fraction(number, 3) for number in range(3))
_HOLD = "-"


class Sounds(NamedTuple):
    """What happens in a pulse.

    Attributes:
        names: Sol-fa names by the part of the pulse where they begin; "" for silence.
        silent: Whether there is silence when it begins.
    """

    names: dict[Fraction, str]
    silent: bool


class _Cell(NamedTuple):
    """What stands in one part of a pulse: a name, "-" or nothing."""

    text: str
    begins: bool


def format_pulse(sounds: Sounds) -> str | None:
    """Return a pulse as text; None if sol-fa cannot say it.

    >>> format_pulse(Sounds({Fraction(0): "d", Fraction(3, 4): "r"}, silent=False))
    'd.,r'
    """
    places = set(sounds.names)
    if places <= {Fraction(0)}:
        return _cells(sounds, (Fraction(0),))[0].text
    if places <= set(_THIRDS):
        return "‘".join(cell.text for cell in _cells(sounds, _THIRDS))
    if places <= set(_QUARTERS):
        return _quarters(_cells(sounds, _QUARTERS))
    return None


def _cells(sounds: Sounds, places: tuple[Fraction, ...]) -> list[_Cell]:
    found = []
    silent = sounds.silent
    for place in places:
        name = sounds.names.get(place)
        if name is None:
            found.append(_Cell("" if silent else _HOLD, begins=False))
        else:
            # A silence after a silence is one silence.
            found.append(_Cell(name, begins=bool(name) or not silent))
            silent = not name
    return found


def _quarters(cells: list[_Cell]) -> str | None:
    first, second, third, fourth = cells
    front = _pair(first, second) if second.begins else first.text
    if not fourth.begins:
        return f"{front}.{third.text}"
    if third.begins and not third.text:
        return None  # "d.,r" would hold the note before it.
    held = not third.begins and not (second.begins and second.text)
    return f"{front}.,{fourth.text}" if held else f"{front}.{_pair(third, fourth)}"


def _pair(first: _Cell, second: _Cell) -> str:
    """Return two quarters; a blank keeps a comma from marking a low octave."""
    blank = " " if first.text and not second.text else ""
    return f"{first.text}{blank},{second.text}"
