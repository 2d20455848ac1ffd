"""What the MusicXML door refuses before it looks at the music, sentence by sentence."""

import io
import zipfile

import pytest
from makers.musicxml_files import (
    C_MAJOR,
    CONTAINER,
    attributes,
    measure,
    measures,
    mxl,
    note,
    score,
    start,
    tune,
)

from harmonise.errors import HarmoniseError, MelodyError, NotationError
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.tune import Tune

SCALE = note("C4", 1) + note("D4", 1) + note("E4", 1) + note("F4", 1)
PLAIN = tune(SCALE)
TEXT = PLAIN.decode()
LINE = TEXT.split("\n")[1]


def names(read: Tune) -> str:
    return " ".join(str(note.pitch) for note in read.sounding)


def refusal(data: bytes) -> str:
    with pytest.raises(NotationError) as caught:
        parse_musicxml(data)
    return str(caught.value)


def bomb(unpacked: int) -> bytes:
    """Return a small archive that unpacks to so many bytes."""
    return mxl(
        {"META-INF/container.xml": CONTAINER.format("s.xml"), "s.xml": b" " * unpacked}
    )


def test_an_entity_bomb_is_refused() -> None:
    doctype = (
        '<!DOCTYPE score-partwise [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>\n'
        "<score-partwise"
    )
    bad = TEXT.replace("<score-partwise", doctype, 1)
    said = (
        "The file defines entities of its own (<!ENTITY>), which MusicXML does not "
        "need and which can be used to attack. Export it as MusicXML again."
    )
    assert refusal(bad.encode()) == said
    bad = bad.replace("UTF-8", "UTF-16")
    assert refusal(bad.encode("utf-16")) == said
    assert refusal(bad.encode("utf-16-le")) == said
    packed: dict[str, bytes | str] = {
        "META-INF/container.xml": CONTAINER.format("s.xml"),
        "s.xml": bad.encode("utf-16"),
    }
    assert refusal(mxl(packed)) == said


def test_a_zip_bomb_is_refused() -> None:
    small = bomb(10_000_001)
    assert len(small) < 20_000
    assert refusal(small) == (
        "The .mxl file unpacks to more than 10 MB. Export the tune's part alone."
    )


def test_a_zip_that_lies_about_its_size_is_refused() -> None:
    small = bytearray(bomb(10_000_001))
    place = small.rfind((10_000_001).to_bytes(4, "little"))
    small[place : place + 4] = (100).to_bytes(4, "little")
    assert refusal(bytes(small)) == (
        "The .mxl file is damaged: it cannot be unpacked. Export it as MusicXML again."
    )


def test_an_mxl_file_needs_its_container() -> None:
    assert refusal(mxl({"score.xml": PLAIN})) == (
        "The .mxl file has no META-INF/container.xml, which must say where its score "
        "is. Export it as MusicXML again."
    )


@pytest.mark.parametrize(
    ("container", "said"),
    [
        pytest.param(
            "<container><rootfiles/></container>",
            "META-INF/container.xml in the .mxl file names no score. Export it as "
            "MusicXML again.",
            id="no root file",
        ),
        pytest.param(
            '<container><rootfiles><rootfile full-path="a.pdf" '
            'media-type="application/pdf"/></rootfiles></container>',
            "META-INF/container.xml in the .mxl file names no score. Export it as "
            "MusicXML again.",
            id="only another kind",
        ),
        pytest.param(
            CONTAINER.format("lost.xml"),
            'The .mxl file names "lost.xml" as its score but does not hold it. '
            "Export it "
            "as MusicXML again.",
            id="lost file",
        ),
    ],
)
def test_the_container_must_lead_to_the_score(container: str, said: str) -> None:
    assert refusal(mxl({"META-INF/container.xml": container, "a.pdf": b"%PDF"})) == said


def test_the_container_is_followed_not_the_first_file() -> None:
    other = tune(note("G4", 4))
    container = (
        '<container><rootfiles><rootfile full-path="a.pdf" '
        'media-type="application/pdf"/><rootfile full-path="deep/b.xml" '
        'media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>'
    )
    files: dict[str, bytes | str]
    files = {"a.xml": other, "META-INF/container.xml": container, "deep/b.xml": PLAIN}
    assert names(parse_musicxml(mxl(files))) == "C4 D4 E4 F4"


def test_a_damaged_zip_is_refused_in_one_sentence() -> None:
    whole = mxl({"META-INF/container.xml": CONTAINER.format("s.xml"), "s.xml": PLAIN})
    assert refusal(whole[: len(whole) // 2]) == (
        "The .mxl file is damaged: it cannot be unpacked. Export it as MusicXML again."
    )
    torn = bytearray(whole)
    torn[whole.find(b"s.xml") + 30] ^= 0xFF
    assert refusal(bytes(torn)) == (
        "The .mxl file is damaged: it cannot be unpacked. Export it as MusicXML again."
    )


def test_an_encrypted_zip_is_refused_in_one_sentence() -> None:
    stored = io.BytesIO()
    with zipfile.ZipFile(stored, "w") as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format("s.xml"))
    locked = bytearray(stored.getvalue())
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[locked.find(mark) + place] |= 1
    assert refusal(bytes(locked)) == (
        "The .mxl file is locked with a password. Export it as MusicXML again."
    )


@pytest.mark.parametrize("encoding", ["utf-8", "iso-8859-1", "utf-16", "utf-8-sig"])
def test_the_usual_encodings_are_read(encoding: str) -> None:
    said = {"utf-8-sig": "UTF-8"}.get(encoding, encoding)
    title = "<movement-title>Über die Brücke</movement-title><part-list>"
    written = TEXT.replace("UTF-8", said).replace("<part-list>", title)
    assert parse_musicxml(written.encode(encoding)).title == "Über die Brücke"


def test_utf_16_without_its_mark_is_read() -> None:
    for encoding in ("utf-16-le", "utf-16-be"):
        written = TEXT.replace("UTF-8", "UTF-16").encode(encoding)
        assert names(parse_musicxml(written)) == "C4 D4 E4 F4"


def test_a_file_without_an_xml_line_and_with_blanks_in_front_is_read() -> None:
    bare = b"\n  " + PLAIN.split(b"\n", 1)[1]
    assert names(parse_musicxml(bare)) == "C4 D4 E4 F4"
    assert names(parse_musicxml(b"\r\n " + PLAIN)) == "C4 D4 E4 F4"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        pytest.param(
            TEXT.replace("UTF-8", "EBCDIC-CP-US").encode(),
            "The file says that it is written in EBCDIC-CP-US, which is not read. "
            "Export it in UTF-8.",
            id="strange encoding",
        ),
        pytest.param(
            TEXT.replace("Part 1", "\u00fcber").encode("latin-1"),
            f"Byte {TEXT.index('Part 1') + 1} of the file is no text in its "
            "encoding, utf-8. Export it in UTF-8.",
            id="wrong encoding",
        ),
        pytest.param(
            b"hello world",
            "The file is no MusicXML: it does not begin with <. Export it as MusicXML "
            "again.",
            id="text",
        ),
        pytest.param(
            b"<html><body/></html>",
            "The file is XML but no MusicXML: its outermost element is <html>. "
            "Export it as MusicXML again.",
            id="another language",
        ),
        pytest.param(
            b"<opus/>",
            "The file is a list of scores (an opus) and holds no notes itself. Name "
            "one of its scores.",
            id="opus",
        ),
        pytest.param(
            PLAIN.removesuffix(b"</score-partwise>"),
            "The XML breaks off or breaks its own rules in line 2, column "
            f"{len(LINE) - len('</score-partwise>') + 1} (no element found). Export it "
            "as MusicXML again.",
            id="cut off",
        ),
        pytest.param(
            TEXT.replace("Part 1", "Part&nbsp;1").encode(),
            "The XML breaks off or breaks its own rules in line 2, column "
            f"{LINE.index(' 1</part-name>') + 1} (undefined entity). Export it as "
            "MusicXML again.",
            id="undefined entity",
        ),
        pytest.param(
            b'<score-partwise version="4.0"><part-list/></score-partwise>',
            "The file has no part with music in it. Export it again.",
            id="no part",
        ),
    ],
)
def test_what_is_no_score_is_refused(data: bytes, said: str) -> None:
    assert refusal(data) == said


@pytest.mark.parametrize(
    ("many", "said"),
    [
        pytest.param(measure() * 2001, "2001 bars; at most 2000", id="bars"),
        pytest.param(
            measure(start() + "<note/>" * 20_001),
            "20001 notes and rests; at most 20000",
            id="notes",
        ),
        pytest.param(
            measure(start() + "<sound/>" * 50_000),
            "50001 notes and signs; at most 50000",
            id="signs",
        ),
        pytest.param(
            measure(start() + attributes(C_MAJOR) * 200),
            "201 key signatures; at most 200",
            id="keys",
        ),
    ],
)
def test_more_than_a_tune_can_have_is_refused(many: str, said: str) -> None:
    assert refusal(score(many)) == (
        f"One part has {said} are read. Export the tune alone, or cut it into shorter "
        "files."
    )


@pytest.mark.parametrize(
    ("time", "said"),
    [
        (
            "<beats>1000000</beats><beat-type>4</beat-type>",
            (
                'Bar 1: the time signature "1000000/4" is not read. Both numbers '
                "must be "
                "whole, the lower one 1, 2, 4, 8 and so on."
            ),
        ),
        (
            "<beats>33</beats><beat-type>4</beat-type>",
            (
                "Bar 1: the time signature 33/4 has 33 beats in a bar. From 1 to 32 "
                "are read."
            ),
        ),
        (
            "<beats>0</beats><beat-type>4</beat-type>",
            (
                "Bar 1: the time signature 0/4 has 0 beats in a bar. From 1 to 32 are "
                "read."
            ),
        ),
        (
            "<beats>4</beats><beat-type>3</beat-type>",
            (
                'Bar 1: the time signature "4/3" is not read. Both numbers must be '
                "whole, the "
                "lower one 1, 2, 4, 8 and so on."
            ),
        ),
        (
            "<beats>4</beats>",
            (
                'Bar 1: the time signature "without beats" is not read. Both numbers '
                "must be "
                "whole, the lower one 1, 2, 4, 8 and so on."
            ),
        ),
    ],
)
def test_a_time_signature_that_cannot_be_is_refused(time: str, said: str) -> None:
    assert refusal(tune(SCALE, time=f"<time>{time}</time>")) == said


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "<divisions>60<",
            "<divisions>0<",
            'Bar 1, beat 1: <divisions> is "0". It must be a number above 0.',
        ),
        (
            "<divisions>60<",
            "<divisions>1e400<",
            'Bar 1, beat 1: <divisions> is "1e400". It must be a number above 0.',
        ),
        (
            "<duration>60<",
            "<duration>-60<",
            (
                'Bar 1, beat 1: <duration> of a <note> is "-60". It must be a number '
                "of "
                "divisions."
            ),
        ),
        (
            "<duration>60<",
            "<duration>0<",
            "Bar 1, beat 1: a note lasts no time at all. Check <duration>.",
        ),
        (
            "<duration>60</duration>",
            "",
            (
                'Bar 1, beat 1: <duration> of a <note> is "". It must be a number of '
                "divisions."
            ),
        ),
        (
            "<divisions>60<",
            "<divisions>100003<",
            (
                "Bar 1, beat 1: a note lasts 0.000599982 crotchets, which no note "
                "value is. Check <divisions> and <duration>."
            ),
        ),
        (
            "<duration>60<",
            "<duration>999999<",
            (
                "Bar 1: the bar lasts 16669.7 crotchets; at most 256 are read. Check "
                "<divisions> and <duration>."
            ),
        ),
        (
            "<octave>4<",
            "<octave>10<",
            "Bar 1, beat 1: C stands in octave 10. Octaves go from 0 to 9.",
        ),
        (
            "<step>D<",
            "<step>H<",
            (
                "Bar 1, beat 2: a note has neither a proper pitch nor a rest. Give "
                "it a step (A to G) and an octave (0 to 9)."
            ),
        ),
        (
            "<step>E</step>",
            "<step>E</step><alter>-0.5</alter>",
            (
                "Bar 1, beat 3: E is altered by -0.5 semitones, which lies between the "
                "keys of the piano. Write E or a neighbour with a sharp or a flat."
            ),
        ),
        (
            "<step>F</step>",
            "<step>F</step><alter>3</alter>",
            (
                "Bar 1, beat 4: F### has more than two sharps or flats. Write the same "
                "sound with fewer."
            ),
        ),
        (
            "<step>F</step>",
            "<step>F</step><alter>sharp</alter>",
            (
                'Bar 1, beat 4: the alteration "sharp" of F is not a number. Give the '
                "semitones, such as -1 for a flat."
            ),
        ),
        (
            "<fifths>0<",
            "<fifths>9<",
            (
                "Bar 1: the key signature (9 sharps) is none of the usual ones. Take "
                "one of up to seven sharps or flats and write other accidentals beside "
                "the notes."
            ),
        ),
    ],
)
def test_a_number_that_cannot_be_is_refused_with_its_place(
    old: str, new: str, said: str
) -> None:
    assert old in TEXT
    assert refusal(TEXT.replace(old, new, 1).encode()) == said


def test_a_note_without_pitch_in_the_tune_is_refused_with_its_place() -> None:
    drum = "<unpitched><display-step>E</display-step></unpitched>"
    pitch = "<pitch><step>D</step><octave>4</octave></pitch>"
    assert refusal(TEXT.replace(pitch, drum).encode()) == (
        "Bar 1, beat 2: a note without pitch, as drums have them, stands in the tune. "
        "Name a part that has pitches."
    )


def test_a_file_of_rests_holds_no_tune() -> None:
    with pytest.raises(MelodyError) as caught:
        parse_musicxml(tune(note("r", 4), note("r", 4)))
    assert str(caught.value) == (
        "The file holds rests only in its 2 bars: there is no tune. Add the notes of "
        "the tune."
    )


def test_a_score_by_bars_reads_as_the_same_score_by_parts() -> None:
    first, second = start() + SCALE, note("G4", 4)
    low = start() + note("C3", 4)
    by_parts = score(measures(first, second), measures(low, note("G2", 4)))
    head = by_parts.decode().split("<part id", 1)[0].replace("partwise", "timewise")
    by_bars = (
        f'{head}<measure number="1"><part id="P1">{first}</part><part id="P2">{low}'
        f'</part></measure><measure number="2"><part id="P1">{second}</part>'
        f'<part id="P2">{note("G2", 4)}</part></measure></score-timewise>'
    )
    for part in ("", "P2"):
        assert parse_musicxml(by_bars.encode(), part) == parse_musicxml(by_parts, part)


def test_elements_in_a_namespace_are_read() -> None:
    spaced = TEXT.replace("<score-partwise", '<score-partwise xmlns="http://x.org/y"')
    assert parse_musicxml(spaced.encode()) == parse_musicxml(PLAIN)


def test_very_deep_nesting_does_no_harm() -> None:
    deep = TEXT.replace(
        "<step>C</step>", "<step>C</step>" + "<a>" * 100_000 + "</a>" * 100_000
    )
    assert names(parse_musicxml(deep.encode())) == "C4 D4 E4 F4"


def test_only_errors_of_ours_tell_of_a_refusal() -> None:
    assert issubclass(NotationError, HarmoniseError)
    assert issubclass(MelodyError, HarmoniseError)
