"""All 143 files of the MusicXML conformance suite that music21 carries.

Each file either becomes a tune whose notes are those of a second, plain reading that
shares no code with ours (`musicxml_plain`), or is refused in the sentence that the
published table holds. The voices to expect where several share a staff are written
here by hand, from the files.
"""

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from oracles.conformance import files, outcome, table
from oracles.musicxml_plain import Plain, length, load, strikes
from oracles.tune_shape import assert_whole

from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.pitch import LETTERS
from harmonise.theory.tune import Tune

VOICES = {
    "02e-Rests-NoType.xml": "1",
    "03b-Rhythm-Backup.xml": "1",
    "42a-MultiVoice-TwoVoicesOnStaff-Lyrics.xml": "1",
    "46e-PickupMeasure-SecondVoiceStartsLater.xml": "1",
    "71d-ChordsFrets-Multistaff.xml": "1",
}
"""The upper voice of the files in which several share the upper staff."""
FILES = files()
READ = [path for path in FILES if table()[path.name][0].startswith("read: ")]


def plain(tune: Tune) -> list[Plain]:
    """Return the notes of a tune as the plain reading has them."""
    return [
        Plain(
            LETTERS[note.pitch.letter],
            note.pitch.midi,
            note.onset,
            note.length,
            sum(syllable is not None for syllable in note.syllables),
        )
        for note in tune.notes
        if note.pitch
    ]


def first_part(root: ET.Element) -> ET.Element:
    """Return the first part that has notes with pitches."""
    return next(
        part
        for part in root.iterfind("part")
        if part.find("measure/note/pitch") is not None
    )


def test_the_suite_has_143_files_and_the_table_has_them_all() -> None:
    assert len(FILES) == 143
    assert list(table()) == [path.name for path in FILES]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_ends_as_the_table_says(path: Path) -> None:
    assert outcome(path) == table()[path.name]


@pytest.mark.parametrize("path", READ, ids=lambda path: path.name)
def test_a_file_that_is_read_is_read_right(path: Path) -> None:
    tune = parse_musicxml(path.read_bytes())
    part = first_part(load(path))
    assert plain(tune) == strikes(part, voice=VOICES.get(path.name, ""))
    assert tune.end == length(part)
    assert_whole(tune)
