"""The ABC reader against a second one: music21 hears the same notes, or we say why not.

Of the 12,762 tunes in the four collections we refuse 66. Of the other 12,696 music21
hears 12,078 as we do, note for note; 618 differ (`python -m oracles.abc_reading` from
tests/ lists them). They differ first at

    319  a decoration: the note or rest behind it is lost (mostly behind H), `>` before
         it does nothing, or its accidental ends with the note
    106  a slur that stands between `>` and a note: `>` does nothing
     58  an annotation or words in quotes: the note behind them is lost
     32  a rest that is not printed (x), or one under a fermata: it is lost
     25  a tie over a bar line whose second note has no accidental of its own
     22  grace notes: `>` before them does nothing, or a tuplet counts them
     18  a tie to another pitch at `>`, which does nothing then
     16  a note before `::`, which is lost as if it named a field
      8  inline voices, which are read one after the other
      6  several of these at once
      8  others

In all of them the standard agrees with us or leaves the matter open. Written without
such signs, 605 of the 618 agree as well. What remains in 13 tunes: tied chords that
are struck again (3), `A>B>A`, which section 4.4 leaves open (3), voices that the header
names (2), inline `[K:]` and `[L:]` passed over (2), an accidental within a chord (1),
the length `3//` (1), a sharp that goes when its grace note is taken away (1).

Of each collection every n-th tune is read here; where to begin is chosen so that the
sample meets most kinds of difference. Each difference stands in the table with the
section of ABC 2.1 that decides it, and the tests show that it goes away as soon as the
same music is written without the signs that the table names.
"""

import re
from pathlib import Path
from typing import NamedTuple

import pytest
from makers.profiles import spread
from oracles.abc_reading import (
    PLAINER,
    Song,
    cause,
    difference,
    our_notes,
    our_tune,
    plainer,
    songs,
    their_notes,
)

from harmonise.notation.abc.abc_tune import parse_abc

TABLE = Path(__file__).parents[2] / "cases" / "abc_differences.tsv"
SAMPLES = {
    # Collection: number of its first tune, step to the next.
    "essenFolksong": (16, 141),
    "airdsAirs": (7, 19),
    "oneills1850": (2, 33),
    "ryansMammoth": (11, 17),
}
COMPARED = [
    # Collection, how many of its 60 tunes in the sample we do not refuse.
    ("essenFolksong", 60),
    ("airdsAirs", 60),
    ("oneills1850", 60),
    ("ryansMammoth", 60),
]


class Row(NamedTuple):
    """One difference.

    Attributes:
        name: Collection, file, number and title of the tune.
        first: Place of the first difference, our note, music21's.
        right: Who is right.
        section: Section of ABC 2.1 that says so.
        cause: Signs that mislead music21.
        why: The reason in a sentence.
    """

    name: tuple[str, ...]
    first: tuple[str, ...]
    right: str
    section: str
    cause: str
    why: str


def table() -> list[Row]:
    lines = TABLE.read_text("utf-8").splitlines()[1:]
    cells = [line.split("\t") for line in lines]
    return [Row(tuple(row[:4]), tuple(row[4:7]), *row[7:]) for row in cells]


def sample(collection: str) -> list[Song]:
    first, step = SAMPLES[collection]
    return songs(collection)[first::step][:60]


@pytest.mark.slow
@pytest.mark.parametrize(("collection", "compared"), COMPARED)
def test_music21_hears_the_same_notes_but_for_the_tabled_differences(
    collection: str, compared: int
) -> None:
    both = [(song, tune) for song in sample(collection) if (tune := our_tune(song))]
    assert len(both) == compared
    tabled = {row.name: row.first for row in table() if row.name[0] == collection}
    pairs = {
        song.name: difference(song, tune)
        for song, tune in both
        if song.name in tabled or song in spread([song for song, _ in both], 20)
    }
    assert {name: first for name, first in pairs.items() if first} == tabled


@pytest.mark.slow
@pytest.mark.parametrize("row", table(), ids=lambda row: row.name[3])
def test_the_difference_goes_away_when_the_music_is_written_plainly(row: Row) -> None:
    song = next(song for song in sample(row.name[0]) if song.name == row.name)
    tune = our_tune(song)
    assert tune is not None
    assert cause(song, tune) == row.cause
    plain = plainer(song.text, *PLAINER)
    assert our_notes(parse_abc(plain)[0]) == our_notes(tune) == their_notes(plain)


@pytest.mark.slow
def test_the_sample_has_many_metres_and_keys() -> None:
    lines = [
        (line.letter, line.value)
        for collection in SAMPLES
        for song in sample(collection)
        for line in song.source.lines
    ]
    assert len({value for letter, value in lines if letter == "M"}) >= 12
    assert len({value for letter, value in lines if letter == "K"}) >= 20


def test_every_difference_is_decided_by_a_section_of_the_standard() -> None:
    for row in table():
        assert row.right == "ours"
        assert re.fullmatch(r"\d+\.\d+(\.\d+)?", row.section)
        assert row.why.endswith(".")
