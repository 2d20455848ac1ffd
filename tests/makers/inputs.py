"""Inputs for every door: whole ones, damaged ones, and ones that nobody wrote.

Whole ones are the bundled tunes, cut to two lines and written in every format, and real
files that other programs wrote; of the former the notes are known. Damage is that of
`makers.damage`; what nobody wrote is made by `makers.soups`.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import cycle, islice
from pathlib import Path
from random import Random
from typing import NamedTuple

from oracles.conformance import files as conformance_files

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.marking.task import own_points
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.files import format_mxl
from harmonise.notation.formats import parse_tunes
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_lead_sheet, format_musicxml
from harmonise.notation.solfa.solfa import format_solfa, played_out
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.arrangement import Style
from harmonise.theory.singing import own_table
from harmonise.theory.tune import Tune
from makers.cases import HERE
from makers.corpus import CORPUS, abc_blocks
from makers.damage import (
    Damage,
    damaged_archive,
    damaged_bytes,
    damaged_midi,
    damaged_score,
    damaged_text,
    draw_edits,
)
from makers.outside_layouts import typed as typed_work
from makers.outside_works import PAGES, right_work
from makers.soups import (
    ABC,
    ASKED,
    LETTERS,
    NUMBERS,
    SOLFA,
    TOML,
    WORK,
    XML,
    bytes_made,
    midi_made,
    soup,
    xml_made,
)
from makers.visitor import typed

TUNES = sorted((HERE.parent / "tunes").glob("*.txt"))
_LINES = (1, 1, 2)
"""Lines that are kept of the tunes in turn: what a reader meets, it meets there."""
_LARGEST = 9000
"""Bytes of the largest file of others; reading is what takes the time."""


class Input(NamedTuple):
    """What comes to a door.

    Attributes:
        data: The bytes.
        tune: The tune that they hold if they are whole; None if nobody knows.
    """

    data: bytes
    tune: Tune | None = None

    def __repr__(self) -> str:
        """Return what a failing test shows: the bytes, and whether they are whole."""
        return f"Input({self.data!r}{', whole' if self.tune else ''})"


class Door(NamedTuple):
    """A way in.

    Attributes:
        wholes: Returns inputs to begin with; those with a tune are read without fail.
        damage: What is done to them.
        made: Inputs that nobody wrote.
    """

    wholes: Callable[[], Sequence[Input]]
    damage: Damage
    made: Callable[[Random], bytes]


_DAMAGED, _MADE = 50, 6
"""Of 57 inputs so many are damaged or made of signs; one is whole."""


@cache
def wholes(name: str) -> tuple[Input, ...]:
    """Return what inputs of a door are made from."""
    return tuple(DOORS[name].wholes())


def draw_input(name: str, dice: Random) -> Input:
    """Return an input for a door: mostly damaged, some made of its signs, few whole.

    Args:
        name: The door.
        dice: What decides; under the same dice it is the same input.
    """
    kind = dice.randint(0, _DAMAGED + _MADE)
    if kind > _DAMAGED:
        return Input(DOORS[name].made(dice))
    known = wholes(name)
    given = known[dice.randint(0, len(known) - 1)]
    if not kind:
        return given
    return Input(DOORS[name].damage(given.data, draw_edits(dice)))


@cache
def short_tunes() -> tuple[Tune, ...]:
    """Return the first lines of every bundled tune, as far as these are a tune."""
    return tuple(_short_tunes())


def _short_tunes() -> Iterator[Tune]:
    for path, most in zip(TUNES, cycle(_LINES), strict=False):
        lines, kept, count = path.read_text("utf-8").splitlines(), list[str](), 0
        for line in lines:
            count += "|" in line
            if count > most:
                break
            kept.append(line)
        try:
            (tune,) = parse_tunes("\n".join(kept).encode())
        except HarmoniseError:
            continue  # A repeat may end below the cut.
        yield tune


LABELLED: list[Tune] = []
"""Further tunes to begin with; the night's run fills it from a collection."""


def _tunes() -> tuple[Tune, ...]:
    return (*short_tunes(), *LABELLED)


def _written(write: Callable[[Tune], str | bytes]) -> Iterator[Input]:
    for tune in _tunes():
        try:
            content = write(tune)
        except HarmoniseError:
            continue  # A format that cannot say this tune refuses it.
        yield Input(content if isinstance(content, bytes) else content.encode(), tune)


def _strangers(paths: Sequence[Path]) -> Iterator[Input]:
    """Yield files of others that are not too large."""
    for path in paths:
        if path.stat().st_size < _LARGEST:
            yield Input(path.read_bytes())


def _typed_cases(folder: str) -> Iterator[Input]:
    """Yield what is typed in golden cases, right and wrong."""
    for path in sorted((HERE / folder).rglob("*.case")):
        yield Input(path.read_text("utf-8").split("--- expected\n")[0].encode())


def _letters() -> list[Input]:
    cases = [*_typed_cases("broken"), *_typed_cases("cases/remarked")]
    return [*_written(format_tune_text), *cases]


def _numbers() -> list[Input]:
    return list(_written(lambda tune: format_tune_text(tune, numbers=True)))


def _solfa() -> list[Input]:
    repeated = [
        tune for tune in _tunes() if any(bar.repeat_end > 1 for bar in tune.bars)
    ]
    made = [own for own in _written(format_solfa) if own.tune not in repeated]
    played = [Input(format_solfa(played_out(tune)).encode()) for tune in repeated]
    return [*made, *played, *_typed_cases("cases/solfa"), *_typed_cases("broken/solfa")]


_BOOKS = ("airdsAirs/book1.abc", "airdsAirs/book2.abc")
_OF_A_BOOK = 60


def _first_line(block: str) -> str:
    """Return a tune of an old book as far as its first line of music."""
    head, key, music = block.partition("\nK:")
    return head + key + "\n".join(music.split("\n")[:2]) + "\n"


def _abc() -> list[Input]:
    real = [
        Input(_first_line(block).encode())
        for book in _BOOKS
        for block in abc_blocks(book)[:_OF_A_BOOK]
    ]
    return [*_written(format_abc), *real]


def in_lead_sheet(tune: Tune) -> bytes:
    """Return the lead sheet of a tune."""
    return format_lead_sheet(arrange(tune, Style(1), explained=False))


def _in_score(tune: Tune) -> bytes:
    return format_musicxml(arrange(tune, Style(3), explained=False))


def _scores() -> list[Input]:
    demos = sorted((CORPUS / "demos").glob("*.xml"))
    ours = list(_written(in_lead_sheet)), list(_written(_in_score))
    real = (own for own in conformance_files() if own.suffix == ".xml")
    return [*ours[0], *ours[1][::3], *_strangers([*real, *demos])]


def _archives() -> list[Input]:
    packed = (Input(format_mxl(own.data), own.tune) for own in _written(in_lead_sheet))
    real = (own for own in conformance_files() if own.suffix == ".mxl")
    return [*packed, *_strangers(sorted(real))]


def _in_midi(tune: Tune) -> bytes:
    return format_midi(arrange(tune, Style(1), explained=False))


def _midi() -> list[Input]:
    # What MIDI plays out is not the tune as it is printed.
    plain = [own for own in _written(_in_midi) if own.tune]
    return [
        own if own.tune and played_out(own.tune) == own.tune else Input(own.data)
        for own in plain
    ]


def _requests() -> list[Input]:
    """Return questions of the page: a path, a line end, and JSON."""
    texts = [own.data.decode() for own in _letters()]
    asked: list[tuple[str, object]] = [("/read", typed(text)) for text in texts]
    asked += [
        ("/tap", {"text": text, "put": put, "length": "1/2"})
        for text, put in zip(
            texts, (60, "-", "|", "3/4", "\n", 71, 0) * 40, strict=False
        )
    ]
    return [Input(f"{path}\n{json.dumps(value)}".encode()) for path, value in asked]


def _works() -> list[Input]:
    return [Input(typed_work(right_work(page))) for page in PAGES.values()]


def _voices() -> list[Input]:
    return [Input(own_table().encode()), Input(b'[choir]\ncomfortable = "C4-C5"\n')]


def _points() -> list[Input]:
    return [Input(own_points().encode()), Input(b"[M06]\ndeduct = 0.5\n")]


DOORS = {
    "letters": Door(_letters, damaged_text(LETTERS), soup(LETTERS, "Key: C\n", " ")),
    "numbers": Door(_numbers, damaged_text(NUMBERS), soup(NUMBERS, "Key: F\n", " ")),
    "sol-fa": Door(_solfa, damaged_text(SOLFA), soup(SOLFA, "Doh: G\n")),
    "ABC": Door(_abc, damaged_text(ABC), soup(ABC, "X:1\nL:1/4\nK:C\n")),
    "MusicXML": Door(_scores, damaged_score(XML), xml_made),
    "MXL": Door(_archives, damaged_archive(XML), bytes_made),
    "MIDI": Door(_midi, damaged_midi, midi_made),
    "any bytes": Door(
        lambda: [*islice(_midi(), 3), *islice(_archives(), 3), *islice(_scores(), 3)],
        damaged_bytes,
        bytes_made,
    ),
    "page": Door(_requests, damaged_text(ASKED), soup(ASKED, "/read\n{")),
    "work": Door(_works, damaged_text(WORK), soup(WORK, "", " ")),
    "voices": Door(_voices, damaged_text(TOML), soup(TOML, "[choir]\n")),
    "points": Door(_points, damaged_text(TOML), soup(TOML, "[M06]\n")),
}
"""Every door, by the name of what comes in."""
