"""The same tune through every door has the same lines and sections, so equal chords."""

from collections.abc import Callable
from pathlib import Path

import pytest

from harmonise.arranging.job import arrange
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import parse_tunes
from harmonise.notation.solfa.solfa_writing import format_solfa, played_out
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))


def in_numbers(tune: Tune) -> str:
    return format_tune_text(tune, numbers=True)


DOORS: dict[str, Callable[[Tune], str | bytes]] = {
    "letters": format_tune_text,
    "numbers": in_numbers,
    "sol-fa": format_solfa,
    "ABC": format_abc,
}


def through(tune: Tune, door: str) -> Tune:
    """Return what is read of a tune as it is written in a format."""
    written = DOORS[door](tune)
    data = written.encode() if isinstance(written, str) else written
    (read,) = parse_tunes(data)
    return read


def sections(tune: Tune) -> list[object]:
    """Return where sections begin and end; the end of the tune is none."""
    return [
        (
            (bar.start, bar.repeat_start, bar.repeat_end, bar.ending, bar.section),
            bar.double and bar.end < tune.end,
        )
        for bar in tune.bars
    ]


def notes(tune: Tune) -> list[object]:
    return [(own.onset, own.length, own.pitch, own.syllables) for own in tune.notes]


def chords(tune: Tune) -> list[object]:
    return [
        (slot.onset, slot.end, slot.chord)
        for slot in arrange(tune, Style(level=3), explained=False).slots
    ]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("door", DOORS)
def test_a_tune_is_the_same_through_every_door(path: Path, door: str) -> None:
    (tune,) = parse_tunes(path.read_bytes())
    repeated = any(bar.repeat_end > 1 for bar in tune.bars)
    if door == "sol-fa" and repeated:
        tune = played_out(tune)  # Sol-fa has no repeat signs.
    read = through(tune, door)
    assert notes(read) == notes(tune)
    assert read.phrases == tune.phrases
    assert sections(read) == sections(tune)
    assert chords(read) == chords(tune)


# A line and a half, a section that ends inside a line, and no line end but the last.
ONE_LINE = "Key: G\nTime: 3/4\n|: G A B | A - D :| B A G || A - F# | G - -\n"
MID_LINE = "Key: G\nTime: 3/4\nG A B | A - D |\n|: B A G :| A - F# | G - -\n"


@pytest.mark.parametrize("text", [ONE_LINE, MID_LINE])
@pytest.mark.parametrize("door", ["letters", "numbers", "ABC"])
def test_lines_are_those_typed_wherever_sections_end(text: str, door: str) -> None:
    (tune,) = parse_tunes(text.encode())
    read = through(tune, door)
    assert read.phrases == tune.phrases
    assert sections(read) == sections(tune)
