"""A second, plain reading of MusicXML files: the oracle of the reader's tests.

It shares no code with the reader. It takes one part, staff and voice by name and says
what is struck there: spelled pitch, onset and length, ties joined, and the syllables.
It knows nothing of tuplets, because `<duration>` already does.
Source: W3C, MusicXML 4.0, `note`, `duration`, `backup`, `forward`, `tie`, `transpose`.
"""

import zipfile
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree as ET


class Plain(NamedTuple):
    """One struck note.

    Attributes:
        step: Letter of the sounding pitch.
        midi: MIDI number of the sounding pitch.
        onset: Crotchets from the start.
        length: Crotchets, with all that is tied to it.
        words: Number of syllables under it.
    """

    step: str
    midi: int
    onset: Fraction
    length: Fraction
    words: int


def load(path: Path) -> ET.Element:
    """Return the root of a plain or compressed file."""
    if path.suffix != ".mxl":
        return ET.parse(path).getroot()  # noqa: S314 (files of a known package)
    with zipfile.ZipFile(path) as archive:
        container = ET.fromstring(archive.read("META-INF/container.xml"))  # noqa: S314 (files of a known package)
        name = container.find(".//rootfile").get("full-path")  # type: ignore[union-attr]
        return ET.fromstring(archive.read(str(name)))  # noqa: S314 (files of a known package)


class _Chord(NamedTuple):
    """Notes that begin together, with what was in force there."""

    onset: Fraction
    notes: list[ET.Element]
    divisions: Fraction
    shift: tuple[int, int]


def strikes(part: ET.Element, staff: int = 1, voice: str = "") -> list[Plain]:
    """Return what is struck in one voice of one staff, the top note of each chord.

    Args:
        part: The part.
        staff: Number of the staff; notes without one are on staff 1.
        voice: Its number; "" where the staff must have no more than one.
    """
    found: list[tuple[Plain, set[str]]] = []
    voices = set()
    for chord in _walk(part)[0]:
        own = _text(chord.notes[0], "voice", "1")
        here = [n for n in chord.notes if _is_struck(n, staff)]
        if here and voice in ("", own):
            voices.add(own)
            top = max(here, key=_midi)
            ties = {str(tie.get("type")) for tie in top.iterfind("tie")}
            found.append((_plain(chord, top, here), ties))
    assert len(voices) <= 1, f"the staff has voices {voices}"
    return _joined(found)


def length(part: ET.Element) -> Fraction:
    """Return the crotchets of a part: each measure up to its furthest point."""
    return _walk(part)[1]


def _walk(part: ET.Element) -> tuple[list[_Chord], Fraction]:
    """Return every chord of the part, and the length of the part."""
    chords: list[_Chord] = []
    divisions, shift, bar = Fraction(1), (0, 0), Fraction(0)
    for measure in part.iterfind("measure"):
        now = furthest = bar
        for child in measure:
            if child.tag == "attributes":
                divisions = Fraction(_text(child, "divisions", str(divisions)))
                shift = _shift(child, shift)
            step = Fraction(_text(child, "duration", "0")) / divisions
            if child.tag == "note" and child.find("chord") is not None:
                chords[-1].notes.append(child)
            elif child.tag == "note":
                chords.append(_Chord(now, [child], divisions, shift))
                now += step
            elif child.tag == "forward":
                now += step
            elif child.tag == "backup":
                now = max(now - step, bar)
            furthest = max(now, furthest)
        bar = furthest
    return chords, bar


def _text(element: ET.Element, path: str, otherwise: str) -> str:
    return (element.findtext(path) or otherwise).strip()


def _shift(attributes: ET.Element, now: tuple[int, int]) -> tuple[int, int]:
    """Return letters and semitones from written to sounding pitch."""
    transpose = attributes.find("transpose")
    if transpose is None:
        return now
    octaves = int(_text(transpose, "octave-change", "0"))
    diatonic = int(_text(transpose, "diatonic", "0"))
    chromatic = int(_text(transpose, "chromatic", "0"))
    return diatonic + 7 * octaves, chromatic + 12 * octaves


def _is_struck(note: ET.Element, staff: int) -> bool:
    silent = any(note.find(kind) is not None for kind in ("rest", "grace", "cue"))
    return not silent and int(_text(note, "staff", "1")) == staff


def _midi(note: ET.Element) -> int:
    semitones = "C D EF G A B".index(_text(note, "pitch/step", ""))
    alter = int(_text(note, "pitch/alter", "0"))
    return 12 * (int(_text(note, "pitch/octave", "")) + 1) + semitones + alter


def _plain(chord: _Chord, top: ET.Element, here: list[ET.Element]) -> Plain:
    letters, semitones = chord.shift
    step = "CDEFGAB"["CDEFGAB".index(_text(top, "pitch/step", "")) + letters % 7 - 7]
    size = Fraction(_text(top, "duration", "")) / chord.divisions
    words = sum(bool(_text(ly, "text", "")) for n in here for ly in n.iterfind("lyric"))
    return Plain(step, _midi(top) + semitones, chord.onset, size, words)


def _joined(found: list[tuple[Plain, set[str]]]) -> list[Plain]:
    joined: list[Plain] = []
    before: set[str] = set()
    for plain, ties in found:
        last = joined[-1] if joined else None
        bound = "start" in before and "stop" in ties
        if (
            last
            and bound
            and (last.midi, last.onset + last.length)
            == (
                plain.midi,
                plain.onset,
            )
        ):
            joined[-1] = last._replace(length=last.length + plain.length)
        else:
            joined.append(plain)
        before = ties
    return joined
