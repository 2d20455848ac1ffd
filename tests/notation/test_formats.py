"""The table of input formats: each content goes to its reader, each part has a name."""

import ast
import codecs
import io
import subprocess
import sys
import wave
import zipfile
from importlib import import_module
from inspect import signature
from pathlib import Path

import pytest
from makers.midi_files import in_a_row, packed, track
from makers.musicxml_files import measure, mxl, note, score, start

from harmonise.errors import MelodyError, NotationError
from harmonise.notation import outputs
from harmonise.notation.formats import ENDINGS, FORMATS, Format, format_of, parse_tunes

_BAR = measure(start(), note("C4", 4))
SCORE = score(_BAR, measure(start(), note("E4", 4)), names=("Flute", "Oboe"))
CONTAINER = (
    '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
)
TEXTS = ["C D E F | G - - - |", "Doh: C\ntime: 4/4\n| d : r | m : f |"]


def silence() -> bytes:
    sound = io.BytesIO()
    with wave.open(sound, "wb") as made:
        made.setparams((1, 2, 8000, 0, "NONE", ""))
        made.writeframes(bytes(200))
    return sound.getvalue()


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
        (silence(), "recorded sound"),
        (b"FORM\0\0\x10\0AIFFCOMM", "recorded sound"),
        (b"ID3\x04\0\0", "recorded sound"),
        (b"\xff\xfb\x90\x64", "recorded sound"),
        (b"OggS\0\x02", "recorded sound"),
        (b"fLaC\0\0\0\x22", "recorded sound"),
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


def archive(*names: str) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as made:
        for name in names:
            made.writestr(name, "application/vnd.oasis.opendocument.text")
    return packed.getvalue()


PICTURE = (
    "a picture",
    "Type the tune that is on it, or export MusicXML where it was made.",
)
PRINTED = ("a PDF", PICTURE[1])
DOCUMENT = ("a document of a word processor", "Save the tune as plain text.")
SOUND = ("a sound of a kind that is not read", "Save it as WAV or FLAC.")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", PICTURE),
        (b"\xff\xd8\xff\xe0\0\x10JFIF\0", PICTURE),
        (b"GIF89a\x01\0\x01\0", PICTURE),
        (b"BM\x46\0\0\0\0\0\0\0\x36\0\0\0", PICTURE),
        (b"II*\0\x08\0\0\0", PICTURE),
        (b"MM\0*\0\0\0\x08", PICTURE),
        (b"RIFF\x24\0\0\0WEBPVP8 ", PICTURE),
        (b"\0\0\0\x18ftypheic\0\0\0\0", PICTURE),
        (b"%PDF-1.7\n%\xe2\xe3", PRINTED),
        (rb"{\rtf1\ansi C D E F}", DOCUMENT),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", DOCUMENT),
        (archive("[Content_Types].xml", "word/document.xml"), DOCUMENT),
        (archive("mimetype"), DOCUMENT),
        (b"\0\0\0\x20ftypM4A \0\0\0\0", SOUND),
    ],
)
def test_what_is_no_music_is_named_as_what_it_is(
    content: bytes, told: tuple[str, str]
) -> None:
    kind, remedy = told
    with pytest.raises(NotationError) as caught:
        parse_tunes(content)
    assert str(caught.value) == f"This is {kind}, not notation. {remedy}"


@pytest.mark.parametrize("text", ["B A G F |", "BM", "II", "MM", "ID", "F O R M"])
def test_a_text_that_begins_like_another_file_is_a_text(text: str) -> None:
    assert format_of(text.encode()).name == "tune text"
    assert format_of(text.encode("utf-16")).name == "tune text"


HIGH = score(measure(start(), note("C4", 3), note("C#8", 1)))
OFF = "Bar 1, beat 4: C#8 is above the top of the piano. Put the tune an octave lower."


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        pytest.param(HIGH, OFF, id="MusicXML"),
        pytest.param(packed(track(in_a_row("60 62 64 109"))), OFF, id="MIDI"),
        pytest.param(
            b"Doh: C\n| d : r | m : de'''' |",
            "Bar 2: C#8 is above the top of the piano's usual tune range. The highest "
            "key is C8. (line 2: \"de''''\")",
            id="sol-fa",
        ),
        pytest.param(
            b"C D E C#8 |",
            "Bar 1: C#8 is above the top of the piano's usual tune range. The highest "
            'key is C8. (line 1: "C#8")',
            id="tune text",
        ),
        pytest.param(
            b"X: 1\nL: 1/4\nK: C\nC D E ^c''' |",
            "Bar 1, beat 4: C#8 is above the top of the piano. Put the tune into "
            "another octave, such as with K:… octave=-1. (line 4: \"^c'''\")",
            id="ABC",
        ),
    ],
)
def test_a_note_above_the_piano_is_refused_by_every_door(
    content: bytes, sentence: str
) -> None:
    with pytest.raises((MelodyError, NotationError)) as caught:
        parse_tunes(content)
    assert str(caught.value) == sentence


def test_the_ends_of_the_piano_are_inside() -> None:
    ends = parse_tunes(packed(track(in_a_row("21 108 21 108"))))[0]
    assert {str(note.pitch) for note in ends.sounding} == {"A0", "C8"}
    with pytest.raises(MelodyError) as caught:
        parse_tunes(packed(track(in_a_row("60 20"))))
    assert str(caught.value) == (
        "Bar 1, beat 2: Ab0 is below the bottom of the piano. Put the tune an octave "
        "higher."
    )


FILLED = {
    "tune text": ("C D E F |", "\n", "G A B C5 |"),
    "blank lines": ("C D E F |", " \t\n", "G A B C5 |"),
    "line ends of two signs": ("C D E F |", "\r\n", "G A B C5 |"),
    "sol-fa": ("Doh: C\n| d : r | m : f |", "\n", "| s : l | t : d' |"),
    "ABC": ("X: 1\nK: C\nCDEF|", "\n", ""),
    "directives of ABC": ("X: 1\nK: C\nCDEF|", "\n%%x", "\nGABc|"),
}


@pytest.mark.parametrize("name", FILLED)
def test_hundreds_of_thousands_of_blank_lines_are_no_work(
    name: str, tmp_path: Path
) -> None:
    before, line, after = FILLED[name]
    text = before + line * (1_500_000 // len(line)) + after
    source = tmp_path / "long.txt"
    source.write_bytes(text.encode())
    # A search that goes over the lines once for each line would take hours.
    subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-m", "harmonise", "explain", str(source)],
        check=True,
        timeout=120,
        stdout=subprocess.DEVNULL,
    )


@pytest.mark.parametrize("row", FORMATS, ids=lambda row: row.name)
def test_every_reader_is_where_its_row_says(row: Format) -> None:
    reader = getattr(import_module(row.home), row.reader)
    needed = [p for p in signature(reader).parameters.values() if p.default is p.empty]
    assert len(needed) == 1
    assert len(signature(reader).parameters) >= 1 + bool(row.lister)


def test_every_writer_is_where_the_table_of_outputs_says() -> None:
    """The addresses are texts, so that types cannot tell of a wrong one."""
    asked = []
    for node in ast.walk(ast.parse(Path(outputs.__file__).read_text("utf-8"))):
        match node:
            case ast.Call(ast.Name("_whole" | "_alone"), [room, ast.Constant(name)]):
                asked.append((named(room), str(name)))
            case ast.Attribute(ast.Call(ast.Name("_room"), [ast.Constant(room)]), name):
                asked.append((str(room), name))
            case _:
                pass
    assert len(asked) >= 10
    for room, name in asked:
        assert callable(getattr(import_module(f"harmonise.notation.{room}"), name))


def named(room: ast.expr) -> str:
    """Return a text that is written out, or that a constant of the module holds."""
    if isinstance(room, ast.Name):
        return str(getattr(outputs, room.id))
    return str(ast.literal_eval(room))
