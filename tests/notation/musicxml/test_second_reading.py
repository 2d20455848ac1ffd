"""Every MusicXML file that music21 carries is read by music21 as we read it.

Some 800 files hold 2,800 parts with notes. `second_reading.tsv` has a row for each part
that cannot be compared, with the reason; no part is read in two ways. In CI one part
of every twentieth file is tried, and all that the table has; by night all of them.
"""

from fractions import Fraction
from pathlib import Path

import pytest
from makers.musicxml_files import measures, note, score, start
from makers.profiles import spread
from oracles.second_reading import (
    HOME,
    differences,
    first_difference,
    musicxml_files,
    our_line,
)

from harmonise.notation.musicxml.elements import read_tree

TABLE = Path(__file__).parents[2] / "cases" / "second_reading.tsv"
ROWS = [
    row.split("\t")
    for row in TABLE.read_text("utf-8").splitlines()
    if not row.startswith("#")
]
TABLED = {HOME / name for name, *_ in ROWS}
EVERY = musicxml_files()
FILES = sorted({*spread(EVERY, len(EVERY) // 20), *TABLED})


@pytest.mark.slow
def test_each_part_is_read_alike_but_for_those_of_the_table() -> None:
    found = {
        (path.relative_to(HOME).as_posix(), part, said)
        for turn, path in enumerate(FILES)
        for part, said in differences(
            path.read_bytes(), 100 if path in TABLED else 1, turn
        )
    }
    assert found == {(name, part, said) for name, part, said, _ in ROWS}


def test_the_table_names_files_that_are_there_and_gives_reasons() -> None:
    assert len(EVERY) == 808
    for name, _, said, reason in ROWS:
        assert (HOME / name).is_file()
        assert said.endswith(".")
        assert len(reason) > 20


def test_a_note_that_we_misread_would_be_found() -> None:
    music = measures(start() + note("G4", 2) + note("F#4", 2))
    part = read_tree(score(music)).find("part")
    assert part is not None
    line, page = our_line(part)
    assert not first_difference(part, line, page)
    here = "measure 1: Sound(onset={}, length={}, step='F', alter=1, octave=4), "
    theirs = "Sound(onset=2.0, length=2.0, step='F', alter=1.0, octave=4)"
    late = (line[0], line[1]._replace(onset=Fraction(9, 4)))
    assert first_difference(part, late, page) == here.format(2.25, 2.0) + theirs
    short = (line[0], line[1]._replace(length=Fraction(1)))
    assert first_difference(part, short, page) == here.format(2.0, 1.0) + theirs
