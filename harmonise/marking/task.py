"""What is asked for: a model, and what each chord of it is worth.

What chords are worth and what faults cost is a table of points, the usual one being
written out of the table of rules. Teachers edit a copy, which need hold only what they
want otherwise.
"""

import tomllib
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import NotationError, Place, shorten, table_fault
from harmonise.rules.table import BY_KEY, KINDS, ChordPart, Price
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord


class Ask(Enum):
    """What a pupil writes beside the notes."""

    SYMBOL = "symbols"
    NUMERAL = "numerals"
    SHAPE = "shapes"
    FIGURES = "figures"


Worth = tuple[tuple[ChordPart, Fraction], ...]


class TaskItem(NamedTuple):
    """One chord to be marked.

    Attributes:
        onset: Crotchets from the start.
        end: Where the next one begins.
        place: Bar and beat.
        worth: What its parts are worth; () for one that is given.
    """

    onset: Fraction
    end: Fraction
    place: Place
    worth: Worth

    @property
    def marks(self) -> Fraction:
        """What it is worth in all."""
        return sum((marks for _, marks in self.worth), Fraction(0))


class Task(NamedTuple):
    """What a pupil was asked for.

    Attributes:
        title: What it is called on the slip.
        model: The model answer.
        items: What is marked, in score order.
        chosen: Whether the pupil chooses the chords.
        free: Whether the top of the right hand is the pupil's own, not a given tune.
        asks: What is written beside the notes.
        notes_given: Whether all notes are given and only labels are asked for.
        tune_only: Whether a tune is written and nothing else.
        accepted: By onset of a slot, the chords that are right there, inversions aside.
        contrary: Whether it is about contrary motion, so that parallels always cost.
    """

    title: str
    model: Arrangement
    items: tuple[TaskItem, ...]
    chosen: bool = False
    free: bool = False
    asks: tuple[Ask, ...] = ()
    notes_given: bool = False
    tune_only: bool = False
    accepted: tuple[tuple[Fraction, tuple[Chord, ...]], ...] = ()
    contrary: bool = False

    @property
    def marks(self) -> Fraction:
        """What it is worth in all."""
        return sum((item.marks for item in self.items), Fraction(0))


class Finding(NamedTuple):
    """A fault in a pupil's work.

    Attributes:
        key: Key of its kind, such as "M03.third".
        onset: Crotchets from the start.
        what: What is there, with the notes named, as one sentence.
        remedy: What is right, as an instruction.
    """

    key: str
    onset: Fraction
    what: str
    remedy: str


class Blank(NamedTuple):
    """Something that was left blank: it earns nothing and is no fault.

    Attributes:
        item: Number of the item.
        place: Bar and beat.
        what: What is blank, in a few words: "right hand".
        points: What it would have earned.
    """

    item: int
    place: Place
    what: str
    points: Fraction


_HOW = "Write one to edit with: harmonise mark --write-points points.toml"
_WHEN = ("always", "strict", "comment", "off")
_PARTS = {
    "notes": ChordPart.NOTES,
    "left": ChordPart.LEFT,
    "joining": ChordPart.JOINING,
    "label": ChordPart.LABEL,
}
_MOST = 100
_WORTH = {"notes": 2, "left": 1, "joining": 1, "label": 1}
"""What each part of a chord is worth (common practice in schools)."""
_HEAD = """\
# What a pupil's work is worth and what faults cost. Edit a copy to suit your class:
#
#     harmonise mark --write-points points.toml
#     harmonise mark work.musicxml --against tune.txt --points points.toml
#
# A chord is worth its parts, as far as the task asks for them, and never loses more
# than that. "deduct" is what a fault costs. "when" says in which style it costs:
#     "always"   in keyboard style and in strict style
#     "strict"   in strict style; in keyboard style it is a comment that costs nothing
#     "comment"  never, but it is told
#     "off"      it is not even told
# Values are those of the trade: each chord 5 in all (common practice in schools).

[chord]"""


class MarkingStyle(Enum):
    """How strictly work is marked.

    In keyboard style the melody may override smoothness: parallels and doubled leading
    notes are commented on. Strict style deducts for them, as harmony examinations do.
    """

    KEYBOARD = "keyboard"
    STRICT = "strict"


class Points(NamedTuple):
    """A table of points.

    Attributes:
        parts: What each part of a chord is worth.
        prices: By key of the fault, such as "M03.third".
    """

    parts: dict[ChordPart, Fraction]
    prices: dict[str, Price]


def own_points() -> str:
    """Return the table that comes along, as text."""
    rows = [_HEAD, *(f"{name} = {marks}" for name, marks in _WORTH.items())]
    for kind in sorted(KINDS, key=lambda kind: kind.code):
        price, note = kind.price, f"# {kind.price_note}" if kind.price_note else ""
        costs = [f"deduct = {_decimal(price.deduct)}"]
        if price.beside is not None:
            costs.append(f"beside = {_decimal(price.beside)}")
        costs[-1] = f"{costs[-1]:17}{note}".rstrip()
        when = [f'when = "{price.when}"'] if price.when != "always" else []
        rows += ["", f"[{kind.key}]", *costs, *when]
    return "\n".join(rows) + "\n"


def _decimal(marks: Fraction) -> str:
    return f"{float(marks):g}"


def read_points(path: Path | None = None) -> Points:
    """Return a table of points.

    Args:
        path: A table of the teacher's; None for the one that comes along.

    Raises:
        NotationError: If it cannot be read, with the entry at fault.
    """
    parts = {_PARTS[name]: Fraction(marks) for name, marks in _WORTH.items()}
    usual = Points(parts, {kind.key: kind.price for kind in KINDS})
    if path is None:
        return usual
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise NotationError(
            f"The table of points {path} cannot be read.", None, _HOW
        ) from error
    edited = parse_points(text)
    return Points({**usual.parts, **edited.parts}, {**usual.prices, **edited.prices})


def parse_points(text: str) -> Points:
    r"""Return the table of points that a text holds; it need not be whole.

    Raises:
        NotationError: If it is none, with the entry at fault.

    >>> parse_points("[M06]\ndeduct = 0.5").prices["M06"].deduct
    Fraction(1, 2)
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise NotationError(
            f"The table of points cannot be read: {table_fault(error)}.", None, _HOW
        ) from error
    parts: dict[ChordPart, Fraction] = {}
    prices: dict[str, Price] = {}
    for name, row in table.items():
        if not isinstance(row, dict):
            raise _unknown(name)
        if name == "chord":
            parts = {_part(part): _marks(part, value) for part, value in row.items()}
        else:
            prices |= _prices(name, row)
    return Points(parts, prices)


def _part(name: str) -> ChordPart:
    if name not in _PARTS:
        raise NotationError(
            f'A chord has no part "{name}".', None, f"Choose from: {', '.join(_PARTS)}."
        )
    return _PARTS[name]


def _prices(name: str, row: dict[str, object]) -> dict[str, Price]:
    """Return the prices under a heading: its own, and those of its kinds."""
    inner = {key: value for key, value in row.items() if isinstance(value, dict)}
    prices = {
        f"{name}.{key}": _price(f"{name}.{key}", value) for key, value in inner.items()
    }
    plain = {key: value for key, value in row.items() if key not in inner}
    if plain:
        prices[name] = _price(name, plain)
    return prices


def _price(key: str, row: dict[str, object]) -> Price:
    if key not in BY_KEY:
        raise _unknown(key)
    strange = set(row) - {"deduct", "when", "beside"}
    if strange or "deduct" not in row:
        raise NotationError(
            f"[{key}] in the table of points has no deduct, or more than it should.",
            None,
            f"Write under [{key}]: deduct = 1",
        )
    when = str(row.get("when", "always"))
    if when not in _WHEN:
        raise NotationError(
            f'[{key}] in the table of points has when = "{when}".',
            None,
            f"Choose from: {', '.join(_WHEN)}.",
        )
    beside = _marks(key, row["beside"]) if "beside" in row else None
    return Price(_marks(key, row["deduct"]), when, beside)


def _unknown(name: str) -> NotationError:
    return NotationError(
        f'The table of points has "{shorten(name)}", which is no fault.',
        None,
        f"Choose from: {', '.join(BY_KEY)}.",
    )


def _marks(name: str, value: object) -> Fraction:
    # True and false are numbers to Python, and nothing to whoever gives points.
    given = value if isinstance(value, int | float) else -1
    if isinstance(value, bool) or not 0 <= given <= _MOST:
        raise NotationError(
            f'"{name}" in the table of points is worth {value}.',
            None,
            f"Write a number from 0 to {_MOST}, such as 0.5.",
        )
    return Fraction(str(value))
