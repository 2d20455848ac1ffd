"""The table of input formats: each content goes to its reader, each part has a name."""

import codecs

import pytest
from makers.midi_files import in_a_row, packed, track
from makers.musicxml_files import measure, mxl, note, score, start

from harmonise.errors import NotationError
from harmonise.notation.formats import ENDINGS, FORMATS, format_of, parse_tunes

_BAR = measure(start(), note("C4", 4))
SCORE = score(_BAR, measure(start(), note("E4", 4)), names=("Flute", "Oboe"))
CONTAINER = (
    '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
)
TEXTS = ["C D E F | G - - - |", "Doh: C\ntime: 4/4\n| d : r | m : f |"]


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (SCORE, "MusicXML"),
        (codecs.BOM_UTF8 + SCORE, "MusicXML"),
        (SCORE.decode().replace("UTF-8", "UTF-16").encode("utf-16"), "MusicXML"),
        (mxl({"META-INF/container.xml": CONTAINER, "a.xml": SCORE}), "MusicXML"),
        (packed(track(in_a_row("60 62"))), "MIDI"),
        (b"X: 1\nK: C\nCDEF|", "ABC"),
        ("X: 1\nK: C\nCDEF|".encode("utf-16"), "ABC"),
        (b"K: C\nC D E F |", "tune text"),
        (b"doh: C\nd r m f |", "sol-fa"),
        (b"  Lah : A\nl t d r |", "sol-fa"),
        (b"", "tune text"),
    ],
)
def test_a_content_goes_to_the_reader_of_its_format(content: bytes, name: str) -> None:
    assert format_of(content).name == name


def test_the_endings_of_all_formats_are_those_of_a_folders_tunes() -> None:
    endings = (".txt", ".abc", ".mid", ".midi", ".musicxml", ".xml", ".mxl")
    assert sorted(ENDINGS) == sorted(endings)
    assert {end for row in FORMATS for end in row.endings} == set(endings)
    assert len({row.name for row in FORMATS}) == len(FORMATS)


@pytest.mark.parametrize("text", TEXTS)
def test_a_part_of_a_typed_tune_is_refused(text: str) -> None:
    assert parse_tunes(text.encode(), part=" ")
    with pytest.raises(NotationError) as caught:
        parse_tunes(text.encode(), part="Second  flute")
    assert str(caught.value) == (
        'No part is called "Second flute". The tune has one part without a name; name '
        "none."
    )


@pytest.mark.parametrize(
    "content",
    [
        SCORE,
        packed(track(in_a_row("60"), name="Flute"), track(in_a_row("64"), name="Oboe")),
        b'X: 1\nV: 1 name="Flute"\nV: 2 name="Oboe"\nK: C\nV: 1\nC4|\nV: 2\nE4|\n',
        b"X: 1\nK: C\n[V:Flute] C4|\n[V:Oboe] E4|\n",
    ],
    ids=["MusicXML", "MIDI", "ABC, named voices", "ABC, voices by id"],
)
def test_a_named_part_is_taken_and_an_unknown_one_refused(content: bytes) -> None:
    tune = parse_tunes(content, part="oboe")[0]
    assert [str(n.pitch) for n in tune.sounding] == ["E4"]
    with pytest.raises(NotationError) as caught:
        parse_tunes(content, part="Horn")
    assert str(caught.value) == (
        'No part is called "Horn". The file has "Flute", "Oboe".'
    )


@pytest.mark.parametrize("content", [SCORE, b"MThd", b"C D E F | G - - - |"])
def test_a_file_of_more_than_two_megabytes_is_refused(content: bytes) -> None:
    blanks = b" " * (2_000_000 - len(content))
    with pytest.raises(NotationError) as caught:
        parse_tunes(content + blanks + b" ")
    assert str(caught.value) == (
        "This file is larger than 2 MB. Take one tune out of it."
    )
    if content is SCORE:
        assert len(parse_tunes(content + blanks)[0].sounding) == 1
