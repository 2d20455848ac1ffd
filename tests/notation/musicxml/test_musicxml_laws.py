"""Laws of the MusicXML door: broken files, real files, and music21 beside it."""

import random
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.musicxml_files import (
    CONTAINER,
    barline,
    direction,
    grace,
    harmony,
    lyric,
    measures,
    move,
    mxl,
    notations,
    note,
    score,
    start,
    tie,
)
from makers.profiles import examples
from music21.musicxml.xmlToM21 import MusicXMLImporter  # noqa: TID251 (the oracle of the tests)
from oracles.musicxml_plain import load, strikes
from oracles.tune_shape import assert_whole

from harmonise.errors import HarmoniseError
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.pitch import LETTERS
from harmonise.theory.tune import Tune

CORPUS = Path(music21.__file__).parent / "corpus"
SMALL = score(
    measures(
        start()
        + direction(
            "<words>Allegro</words>",
            "<metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute>"
            "</metronome>",
            sound='<sound tempo="96"/>',
        )
        + harmony("C", "major")
        + note("G4", 1, lyric("La", "begin"), notations('<slur type="start"/>'))
        + grace("A4")
        + note(
            "F#4", 2, lyric("la", "end"), notations('<slur type="stop"/>', "<fermata/>")
        )
        + note("C4", 1, tie("start"), "<voice>1</voice>"),
        barline('<repeat direction="forward"/>', location="left")
        + note("C4", 2, tie("stop"))
        + note("E4", 2, "chord")
        + move("forward", 1)
        + note("r", 1)
        + move("backup", 4)
        + harmony("G", "dominant", "<inversion>1</inversion>")
        + note("C3", 4, "<voice>2</voice>")
        + barline('<ending number="1" type="stop"/>', '<repeat direction="backward"/>'),
        note("D4", 4),
    ),
    head="<work><work-title>Small</work-title></work>",
)
VALUES = [
    "",
    "0",
    "-1",
    "1",
    "2",
    "7",
    "999999999",
    "1e9",
    "0.5",
    "x",
    "yes",
    "C",
    "\u00bd",
]


def parsed(data: bytes) -> Tune | None:
    """Return the tune of a file, well shaped, or None for a refusal of ours."""
    try:
        tune = parse_musicxml(data)
    except HarmoniseError as error:
        if not str(error).endswith("."):
            raise
        return None
    assert_whole(tune)
    return tune


def test_the_small_file_is_read_to_begin_with() -> None:
    tune = parsed(SMALL)
    assert tune is not None
    assert [str(n.pitch) for n in tune.sounding] == ["G4", "F#4", "C4", "E4", "D4"]


@given(
    st.lists(
        st.tuples(st.integers(0, len(SMALL) - 1), st.integers(0, 255)),
        min_size=1,
        max_size=6,
    )
)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_changed_bytes_never_raise_anything_but_our_errors(
    changes: list[tuple[int, int]],
) -> None:
    data = bytearray(SMALL)
    for place, value in changes:
        data[place] = value
    parsed(bytes(data))


@given(
    st.lists(st.tuples(st.integers(0), st.integers(0, 5), st.integers(0)), max_size=5)
)
@settings(max_examples=examples(300), deadline=None, derandomize=True)
def test_changed_elements_never_raise_anything_but_our_errors(
    changes: list[tuple[int, int, int]],
) -> None:
    root = ET.fromstring(SMALL)  # noqa: S314 (files of a known package)
    for place, kind, other in changes:
        change(root, place, kind, other)
    parsed(ET.tostring(root))


def change(root: ET.Element, place: int, kind: int, other: int) -> None:
    """Break one element: its text, an attribute, its name, its place, its number."""
    elements = list(root.iter())
    element = elements[place % len(elements)]
    donor = elements[other % len(elements)]
    if kind == 0:
        element.text = VALUES[other % len(VALUES)]
    elif kind == 1:
        names = sorted(element.attrib) or ["number"]
        element.set(names[other % len(names)], VALUES[place % len(VALUES)])
    elif kind == 2 and len(element):
        del element[other % len(element)]
    elif kind == 3 and element not in donor.iter():
        element.append(donor)
    elif kind == 4 and element is not root:
        element.tag = donor.tag
    elif kind == 5:
        element[:] = list(element)[::-1]


@given(st.lists(st.tuples(st.integers(0), st.integers(0, 255)), min_size=1, max_size=4))
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_a_changed_zip_never_raises_anything_but_our_errors(
    changes: list[tuple[int, int]],
) -> None:
    whole = mxl({"META-INF/container.xml": CONTAINER.format("s.xml"), "s.xml": SMALL})
    data = bytearray(whole)
    for place, value in changes:
        data[place % len(data)] = value
    parsed(bytes(data))


@given(st.binary(max_size=300))
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    parsed(data)
    parsed(b"<" + data)
    parsed(b"PK" + data)


def test_the_same_file_gives_the_same_tune() -> None:
    assert parse_musicxml(SMALL) == parse_musicxml(SMALL)


def test_reading_the_package_does_not_import_music21() -> None:
    code = (
        "import sys; from harmonise.notation.musicxml.reader import parse_musicxml; "
        "sys.exit('music21' in sys.modules)"
    )
    assert not subprocess.run([sys.executable, "-c", code], check=False).returncode  # noqa: S603 (our own command)


def chorales() -> list[Path]:
    """Return thirty of Bach's chorales out of music21's corpus."""
    found = sorted((CORPUS / "bach").glob("bwv[1-4]*.mxl"))
    return random.Random(1).sample(found, 30)  # noqa: S311 (a fixed choice)


def through_music21(path: Path, part: int) -> list[tuple[str, Fraction, Fraction]]:
    """Return name, onset and length of each note as music21 alone reads a file."""
    importer = MusicXMLImporter()
    whole = importer.xmlRootToScore(load(path))
    notes = whole.parts[part].stripTies().flatten().notes
    found = []
    for heard in notes:
        name = heard.pitch.nameWithOctave.replace("-", "b")
        onset, size = Fraction(heard.offset), Fraction(heard.quarterLength)
        found.append((name, onset, size))
    return found


@pytest.mark.filterwarnings("ignore::music21.musicxml.xmlObjects.MusicXMLWarning")
@pytest.mark.parametrize("path", chorales(), ids=lambda path: path.stem)
def test_the_sopranos_of_bach_are_what_music21_alone_reads(path: Path) -> None:
    tune = parse_musicxml(path.read_bytes())
    assert_whole(tune)
    ours = [(str(n.pitch), n.onset, n.length) for n in tune.sounding]
    assert ours == through_music21(path, 0)


@pytest.mark.parametrize("name", ["Soprano", "Alto", "Tenor", "Bass"])
def test_each_named_part_of_a_chorale_is_the_plain_one(name: str) -> None:
    path = CORPUS / "bach" / "bwv66.6.mxl"
    tune = parse_musicxml(path.read_bytes(), name)
    number = ["Soprano", "Alto", "Tenor", "Bass"].index(name)
    part = list(load(path).iterfind("part"))[number]
    plain = strikes(part)
    assert [
        (LETTERS[n.pitch.letter], n.pitch.midi, n.onset, n.length)
        for n in tune.sounding
        if n.pitch
    ] == [note[:4] for note in plain]


@pytest.mark.slow
@pytest.mark.parametrize(
    "path", sorted((CORPUS / "bach").glob("bwv*.mxl")), ids=lambda p: p.stem
)
def test_every_chorale_of_the_corpus_reads_like_the_plain_reading(path: Path) -> None:
    tune = parse_musicxml(path.read_bytes())
    assert_whole(tune)
    part = next(
        p
        for p in load(path).iterfind("part")
        if p.find("measure/note/pitch") is not None
    )
    assert [(n.pitch.midi, n.onset, n.length) for n in tune.sounding if n.pitch] == [
        (note.midi, note.onset, note.length) for note in strikes(part)
    ]
