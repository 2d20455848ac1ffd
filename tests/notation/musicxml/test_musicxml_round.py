"""What our own writer writes, the MusicXML door reads back as the same tune."""

from pathlib import Path

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes
from oracles.conformance import files, table
from oracles.tune_shape import assert_whole

from harmonise.arranging.job import arrange
from harmonise.errors import NoHarmonyError
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Style, Texture
from harmonise.theory.tune import Tune

READ = [path for path in files() if table()[path.name][0].startswith("read: ")]
STYLES = st.tuples(st.integers(1, 4), st.sampled_from(Texture), st.booleans()).map(
    lambda row: Style(level=row[0], texture=row[1], numerals=row[2])
)


def written(tune: Tune, style: Style) -> bytes:
    """Return the score that we write of a tune."""
    try:
        return format_musicxml(arrange(tune, style))
    except NoHarmonyError:
        reject()


def assert_same(again: Tune, tune: Tune) -> None:
    """Do nothing if a tune came back as it went out."""
    assert_whole(again)
    assert [n._replace(line=0) for n in again.sounding] == [
        n._replace(line=0) for n in tune.sounding
    ]
    assert [b.number for b in again.bars] == [b.number for b in tune.bars]
    assert again.bars == tune.bars
    assert (again.keys, again.tempos) == (tune.keys, tune.tempos)
    assert again.title == tune.title


@given(tunes(most_notes=40, lowest=3), STYLES)
@settings(max_examples=examples(60), deadline=None, derandomize=True)
def test_a_tune_comes_back_out_of_our_own_score(tune: Tune, style: Style) -> None:
    assert_same(parse_musicxml(written(tune, style)), tune)


@pytest.mark.parametrize("path", READ, ids=lambda path: path.name)
def test_a_file_of_the_suite_comes_back_out_of_our_own_score(path: Path) -> None:
    tune = parse_musicxml(path.read_bytes())
    assert_same(parse_musicxml(written(tune, Style(level=2))), tune)
