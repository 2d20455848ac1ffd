"""One pulse of tonic sol-fa, both ways, by the punctuation of the old books.

    d        a whole pulse            d.r      halves
    d.,r     three quarters, a quarter        d,r.m,f  quarters
    d‘r‘m    thirds (the inverted comma, ` or ' between notes)
    -        continued                nothing  silence

A comma or an apostrophe that touches its note and is followed by a blank, a full stop,
a mark of another kind or the end marks the octave; before a note it divides.
"""

import re
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple, NoReturn

from harmonise.errors import NotationError, Remark, shorten
from harmonise.notation.solfa.solfa_names import DOWN_SIGNS, NAME, NAMES, UP_SIGNS

_MODERN = {
    "d": "do doh",
    "r": "ray",
    "m": "mi me",
    "f": "fa fah",
    "s": "so sol soh",
    "l": "lah",
    "t": "ti te si",
}
"""How other books and singers write the names."""
_NAMES = (
    "The names are d r m f s l t; de re fe se le are a semitone higher, ra ma sa la ta "
    "a semitone lower."
)
_APOSTROPHES = "'’ʼ′"
_TOKEN = re.compile(
    rf"(?P<blank>\s+)"
    rf"|(?P<name>{NAME})(?P<sign>[{UP_SIGNS}]+|[{DOWN_SIGNS}]+)?"
    rf"(?P<typed>,+|[{_APOSTROPHES}]+)?"
    rf"|(?P<hold>-)|(?P<dot>\.)|(?P<comma>,)|(?P<third>[‘`´{_APOSTROPHES}])"
)
_HALF, _QUARTER, _THIRD = Fraction(1, 2), Fraction(1, 4), Fraction(1, 3)
_MOST_SIGNS = 60
HOLD, SILENCE = "-", ""
_QUARTERS = tuple(Fraction(number, 4) for number in range(4))
_THIRDS = tuple(Fraction(number, 3) for number in range(3))


def unknown(text: str, at: int) -> NotationError:
    """Return the fault of what is no sign of sol-fa.

    Args:
        text: The pulse.
        at: Where the sign stands in it.
    """
    before = re.search(r"[a-z]*$", text[:at])
    begin = before.start() if before else at
    found = re.match(r"[^\W\d_]+", text[begin:])
    word = found.group() if found else text[at]
    what, remedy = _what(word, text[begin:at], text[at])
    return NotationError(what, None, remedy)


def _what(word: str, before: str, sign: str) -> tuple[str, str]:
    if sign in "#♯b♭" and before in _MODERN:
        return _accidental(before, sharp=sign in "#♯")
    letter = next(
        (name for name, w in _MODERN.items() if word.lower() in w.split()), ""
    )
    if letter:
        return f'"{word}" is written {letter} here.', f"Type {letter}."
    if len(word) == 1 and word.lower() in _MODERN:
        what = f'sol-fa is written in small letters, not "{word}".'
        return what, f"Type {word.lower()}."
    if sign == "0":
        remedy = 'Silence is an empty pulse: ": " and nothing.'
        return '"0" is no sign of sol-fa.', remedy
    remedy = _NAMES
    if len(word) > 3:
        remedy = "The words of a song go on a line that begins with Words:."
    return f'"{shorten(word)}" is not a sol-fa name.', remedy


def _accidental(name: str, *, sharp: bool) -> tuple[str, str]:
    altered = (NAMES[name][0], 1 if sharp else -1)
    letter = next((other for other, meant in NAMES.items() if meant == altered), "")
    kind = "sharp" if sharp else "flat"
    if not letter:
        return f"there is no {kind} {name} in sol-fa.", _NAMES
    return f"{kind}s have names of their own in sol-fa.", f"Type {letter}."


class Cell(NamedTuple):
    """A note, a continuation or a silence.

    Attributes:
        name: A sol-fa name, `HOLD` or `SILENCE`.
        octaves: Octave marks; below are negative.
        length: Parts of a pulse.
    """

    name: str
    octaves: int = 0
    length: Fraction = Fraction(1)


class Pulse(NamedTuple):
    """A pulse as read.

    Attributes:
        cells: What it holds, in order; the lengths add up to 1.
        doubts: Readings that may not be those that were meant; without a place.
    """

    cells: tuple[Cell, ...]
    doubts: tuple[Remark, ...] = ()


_SIGN = str | Cell


def parse_pulse(text: str) -> Pulse:
    """Return the notes of a pulse.

    Args:
        text: What stands between two accents.

    Raises:
        NotationError: If it cannot be read; without a place.

    >>> [(cell.name, str(cell.length)) for cell in parse_pulse("d.,r").cells]
    [('d', '1/2'), ('-', '1/4'), ('r', '1/4')]
    """
    doubts: list[Remark] = []
    signs = _signs(text.strip(), doubts)
    for before, after in pairwise(signs):
        if isinstance(before, Cell) and isinstance(after, Cell):
            _refuse_neighbours(before.name, after.name)
    # Thirds and halves cannot be mixed in one pulse of the old books.
    cells = _thirds(signs, text) if "‘" in signs else _halves(signs, text, doubts)
    once = {doubt.code: doubt for doubt in reversed(doubts)}
    return Pulse(cells, tuple(once.values()))


def _refuse_neighbours(before: str, after: str) -> NoReturn:
    """Refuse two notes without a sign between them."""
    remedy = 'Put ":" between pulses, or "." between halves '
    # "d-" is how other notations hold a note.
    if "-" in (before, after):
        what = f'"{before}{after}": nothing stands between a note and a continuation '
        raise NotationError(f"{what}(-).", None, f"{remedy}of a pulse.")
    remedy += f'("{before}.{after}"). For a bridge note put Doh: with the new key on '
    what = f"{before} and {after} run together."
    raise NotationError(what, None, f"{remedy}a line of its own.")


def _signs(text: str, doubts: list[Remark]) -> list[_SIGN]:
    """Return cells and the signs between them."""
    signs: list[_SIGN] = []
    at = 0
    while at < len(text):
        token = _TOKEN.match(text, at)
        if not token or len(signs) > _MOST_SIGNS:
            raise unknown(text, at)
        at = token.end()
        if token["name"]:
            signs += _note(token, text[at : at + 1], text, doubts)
        elif not token["blank"]:
            kind = token.lastgroup or ""
            signs.append({"dot": ".", "comma": ",", "third": "‘"}.get(kind, Cell(HOLD)))
    return signs


def _note(
    token: re.Match[str], following: str, text: str, doubts: list[Remark]
) -> list[_SIGN]:
    """Return a note with its octave, and the sign after it that divides, if one does.

    Args:
        token: The note with the marks that touch it.
        following: The character after it; "" at the end.
        text: The pulse.
        doubts: Grows by what may have been meant otherwise.
    """
    name, sign, typed = token["name"], token["sign"] or "", token["typed"] or ""
    # A comma or an apostrophe right before a note divides; else it marks an octave.
    divides = bool(typed) and (bool(sign) or following == "-" or following.isalpha())
    marks = len(typed) - divides
    # "d¹'" tells the octave twice.
    if sign and marks:
        raise unknown(text, token.start())
    low = typed.startswith(",")
    octaves = -marks if low else marks
    for up in sign:
        octaves += UP_SIGNS.find(up) + 1 or -DOWN_SIGNS.find(up) - 1
    if not divides:
        return [Cell(name, octaves)]
    if not low and not sign:
        doubts.append(_doubtful_thirds(text, name))
    elif marks:
        doubts.append(_doubtful_commas(text, name, marks))
    return [Cell(name, octaves), "," if low else "‘"]


def _doubtful_thirds(text: str, name: str) -> Remark:
    remedy = f'"{text}" is read as thirds of a pulse.'
    return Remark(
        "S02", remedy, None, f"Type ` between thirds; for high {name} type {name}¹."
    )


def _doubtful_commas(text: str, name: str, marks: int) -> Remark:
    return Remark(
        "S01",
        f'"{text}" is read as {name}{DOWN_SIGNS[min(marks, 4) - 1]} and a comma that '
        f"divides the pulse.",
        None,
        f"Type {name}{DOWN_SIGNS[0]} for low {name}, or a space after the comma.",
    )


def _thirds(signs: list[_SIGN], text: str) -> tuple[Cell, ...]:
    parts = _split(signs, "‘")
    if len(parts) != 3 or any(
        len(part) > 1 or set(part) & {".", ","} for part in parts
    ):
        what = f'"{shorten(text)}" is no pulse in thirds.'
        remedy = 'Three notes with two marks between make one: "d`r`m".'
        raise NotationError(what, None, remedy)
    return tuple(_cell(part, _THIRD) for part in parts)


def _halves(signs: list[_SIGN], text: str, doubts: list[Remark]) -> tuple[Cell, ...]:
    halves = _split(signs, ".")
    if len(halves) > 2:
        what = f'"{shorten(text)}" has more than two halves of a pulse.'
        remedy = 'Type thirds "d`r`m", quarters "d,r.m,f", and a colon between pulses.'
        raise NotationError(what, None, remedy)
    quarters = [_split(half, ",") for half in halves]
    if any(len(half) > 2 for half in quarters):
        what = f'"{shorten(text)}" has more than two quarters in half a pulse.'
        raise NotationError(what, None, 'A full stop parts the halves: "d,r.m,f".')
    # A comma without a full stop leaves the second half of the pulse silent.
    if len(halves) == 1:
        if len(quarters[0]) == 1:
            return (_cell(signs, Fraction(1)),)
        doubts.append(_doubtful_pair(text, quarters[0]))
        return (*_half(quarters[0]), Cell(SILENCE, 0, _HALF))
    first, second = quarters
    if len(second) == 2 and not second[0]:
        second = [[Cell(HOLD)], second[1]]  # d.,r: the note before fills the gap.
    return (*_half(first), *_half(second))


def _doubtful_pair(text: str, parts: list[list[_SIGN]]) -> Remark:
    names = [part[0].name for part in parts if part and isinstance(part[0], Cell)]
    shown = [name for name in names if name not in (HOLD, SILENCE)]
    first = shown[0] if shown else "d"
    halves = ".".join(names) if len(names) == 2 else "d.r"
    return Remark(
        "S01",
        f'"{text}" is read as two quarters of a pulse, then silence.',
        None,
        f"For low {first} type {first}{DOWN_SIGNS[0]} or a space after the comma; for "
        f"halves type {halves}.",
    )


def _half(parts: list[list[_SIGN]]) -> tuple[Cell, ...]:
    length = _HALF if len(parts) == 1 else _QUARTER
    return tuple(_cell(part, length) for part in parts)


def _split(signs: list[_SIGN], sign: str) -> list[list[_SIGN]]:
    parts: list[list[_SIGN]] = [[]]
    for mark in signs:
        if mark == sign:
            parts.append([])
        else:
            parts[-1].append(mark)
    return parts


def _cell(part: list[_SIGN], length: Fraction) -> Cell:
    found = part[0] if part else Cell(SILENCE)
    if not isinstance(found, Cell):
        raise TypeError(found)
    return found._replace(length=length)


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
    # The plainest division that has all onsets is written.
    if places <= {Fraction(0)}:
        return _cells(sounds, (Fraction(0),))[0].text
    if places <= set(_THIRDS):
        return "‘".join(cell.text for cell in _cells(sounds, _THIRDS))
    if places <= set(_QUARTERS):
        return _quarters(_cells(sounds, _QUARTERS))
    return None


def _cells(sounds: Sounds, places: tuple[Fraction, ...]) -> list[_Cell]:
    cells = []
    silent = sounds.silent
    for place in places:
        name = sounds.names.get(place)
        if name is None:
            cells.append(_Cell("" if silent else HOLD, begins=False))
        else:
            # A silence after a silence is one silence.
            cells.append(_Cell(name, begins=bool(name) or not silent))
            silent = not name
    return cells


def _quarters(cells: list[_Cell]) -> str | None:
    first, second, third, fourth = cells
    front = _pair(first, second) if second.begins else first.text
    if not fourth.begins:
        return f"{front}.{third.text}"
    if third.begins and not third.text:
        return None  # "d.,r" would hold the note before it.
    # Only a note that sounds on into the third quarter may fill the gap of "d.,r".
    held = not third.begins and not (second.begins and second.text)
    return f"{front}.,{fourth.text}" if held else f"{front}.{_pair(third, fourth)}"


def _pair(first: _Cell, second: _Cell) -> str:
    """Return two quarters; a blank keeps a comma from marking a low octave."""
    blank = " " if first.text and not second.text else ""
    return f"{first.text}{blank},{second.text}"
