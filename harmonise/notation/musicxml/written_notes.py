"""Notes in MusicXML: one `<note>` for every printed head or rest.

Each has its value, then what MusicXML calls notations (ties, tuplets, slurs, fingers,
fermatas), then words, numeral and label as lyrics. Numerals are lyrics of the bass:
`<numeral>` is not yet read everywhere.

The first note of a chord carries the words: programs that read single notes skip every
`<chord/>`, and some lose a lyric that stands on one. On the tune's stem the tune comes
first, then the notes below it.
"""

from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

from harmonise.notation.musicxml.written_bars import numeral_words
from harmonise.notation.musicxml.written_xml import add, leaf
from harmonise.notation.score.note_marks import Accidental
from harmonise.notation.score.note_values import Value
from harmonise.notation.score.placed_signs import (
    TREBLE_STAFF,
    PlacedSign,
    PrintedGrace,
    PrintedNote,
)
from harmonise.notation.score.printed_labels import clean, format_numeral
from harmonise.notation.score.printed_rhythm import NoteSign
from harmonise.notation.score.printed_voices import INNER, TENOR, TUNE
from harmonise.theory.pitch import LETTERS, Pitch

_STEMLESS = ("maxima", "long", "breve", "whole")
_UNSEEN = {"print-object": "no"}


def write_sign(measure: Element, sign: PlacedSign, verses: int) -> None:
    """Append the notes, rest or silence of one sign to its measure.

    Args:
        measure: The measure.
        sign: The sign.
        verses: How many verses the words have; labels stand in a line below them.
    """
    if sign.numeral and sign.numeral_apart:
        measure.append(numeral_words(format_numeral(sign.numeral)))
    if not sign.notes:
        _write_silence(measure, sign)
        return
    for note in sign.notes:
        for grace in note.graces:
            _write_grace(measure, grace, sign)
    for note in _leader_first(sign):
        _write_head(measure, note, sign, verses)


def _leader_first(sign: PlacedSign) -> tuple[PrintedNote, ...]:
    """Return the heads of a chord, the one that leads it first: tune or bass."""
    return sign.notes[::-1] if sign.voice == TUNE else sign.notes


def _write_head(
    measure: Element, head: PrintedNote, sign: PlacedSign, verses: int
) -> None:
    first = head is _leader_first(sign)[0]
    note = SubElement(measure, "note", _named(head.name, sign))
    if not first:
        note.append(leaf("chord"))
    note.append(_pitch(head.pitch))
    note.append(leaf("duration", str(sign.end - sign.start)))
    for kind in _ties(head):
        add(note, "tie", type=kind)
    _add_value(note, sign, head.accidental)
    if first:
        _add_beams(note, sign.sign.beams)
    _add_notations(note, sign, head)
    for word in head.words:
        lyric = _add_lyric(note, word.verse, clean(word.text), word.syllabic)
        if word.extends:
            SubElement(lyric, "extend")
    if first:
        _add_numeral(note, sign)
        if sign.label:
            lyric = _add_lyric(note, verses + 1, sign.label, name="position")
            lyric[-1].set("font-style", "italic")


def _ties(head: PrintedNote) -> list[str]:
    return ["stop"] * head.tied_back + ["start"] * head.tied_on


def _named(name: str, sign: PlacedSign) -> dict[str, str]:
    return {**(_UNSEEN if sign.hidden else {}), "id": name}


@lru_cache(maxsize=256)
def _pitch(pitch: Pitch) -> Element:
    """Return a pitch, which notes may share."""
    element = Element("pitch")
    add(element, "step", LETTERS[pitch.letter])
    if pitch.alter:
        add(element, "alter", str(pitch.alter))
    add(element, "octave", str(pitch.octave))
    return element


def _add_value(
    note: Element, sign: PlacedSign, accidental: Accidental | None = None
) -> None:
    """Append voice, value, accidental, tuplet ratio, stem and staff, in that order."""
    value, ratio = sign.sign.value, sign.sign.ratio
    note.append(leaf("voice", sign.voice))
    if value:
        _add_type(note, value, accidental)
    if value and ratio:
        change = add(note, "time-modification")
        add(change, "actual-notes", str(ratio.actual))
        add(change, "normal-notes", str(ratio.normal))
        if ratio.kind != value.kind:
            add(change, "normal-type", ratio.kind)
    if sign.stem and value and value.kind not in _STEMLESS:
        note.append(leaf("stem", sign.stem))
    note.append(leaf("staff", sign.staff))


def _add_type(note: Element, value: Value, accidental: Accidental | None) -> None:
    note.append(leaf("type", value.kind))
    note.extend([leaf("dot")] * value.dots)
    if accidental:
        reminder = {"cautionary": "yes"} if accidental.courtesy else {}
        add(note, "accidental", accidental.name, **reminder)


def _add_beams(note: Element, beams: tuple[str, ...]) -> None:
    for number, value in enumerate(beams, 1):
        add(note, "beam", value, number=str(number))


def _add_lyric(
    note: Element, verse: int, text: str, syllabic: str = "single", **name: str
) -> Element:
    lyric = add(note, "lyric", number=str(verse), **name)
    lyric.append(leaf("syllabic", syllabic))
    add(lyric, "text", text)
    return lyric


def _add_numeral(note: Element, sign: PlacedSign) -> None:
    if sign.numeral and not sign.numeral_apart:
        _add_lyric(note, 1, format_numeral(sign.numeral), name="numeral")


def _write_silence(measure: Element, sign: PlacedSign) -> None:
    """Append a rest; inner voices keep silent, by unseen rests in tuplets."""
    length = str(sign.end - sign.start)
    silent = sign.voice in (INNER, TENOR)
    if silent and sign.sign.ratio is None:
        forward = add(measure, "forward")
        add(forward, "duration", length)
        add(forward, "voice", sign.voice)
        add(forward, "staff", sign.staff)
        return
    note = SubElement(measure, "note", _named(f"r{sign.voice}-{sign.start}", sign))
    if silent:
        note.attrib.update(_UNSEEN)
    add(note, "rest", **({} if sign.sign.value else {"measure": "yes"}))
    add(note, "duration", length)
    _add_value(note, sign)
    _add_notations(note, sign)
    _add_numeral(note, sign)


def _write_grace(measure: Element, grace: PrintedGrace, sign: PlacedSign) -> None:
    note = SubElement(measure, "note", _named(grace.name, sign))
    add(note, "grace", slash="yes" if grace.slashed else "no")
    note.append(_pitch(grace.pitch))
    note.append(leaf("voice", sign.voice))
    _add_type(note, grace.value, grace.accidental)
    note.append(leaf("stem", "up"))
    note.append(leaf("staff", sign.staff))
    _add_beams(note, grace.beams)


def _add_notations(
    note: Element, sign: PlacedSign, head: PrintedNote | None = None
) -> None:
    """Append what hangs on a head of a note or chord, or on a rest.

    The head that leads its chord bears the tuplet and the fermata: upright above the
    treble staff, inverted below the bass.
    """
    made = Element("notations")
    leads = head is None or head is _leader_first(sign)[0]
    if head:
        for kind in _ties(head):
            add(made, "tied", type=kind)
    if leads:
        _add_tuplets(made, sign.sign)
    if head:
        _add_slurs_and_finger(made, head, sign)
    if sign.fermata and leads and sign.voice not in (INNER, TENOR):
        kind = "upright" if sign.staff == TREBLE_STAFF else "inverted"
        add(made, "fermata", type=kind)
    if len(made):
        note.append(made)


def _add_slurs_and_finger(made: Element, head: PrintedNote, sign: PlacedSign) -> None:
    for kind, numbers in (("stop", head.slur_stops), ("start", head.slur_starts)):
        for number in numbers:
            add(made, "slur", type=kind, number=str(number))
    if head.finger:
        # Fingers stand above the right hand and below the left (TRADE N07).
        place = "above" if sign.staff == TREBLE_STAFF else "below"
        technical = add(made, "technical")
        add(technical, "fingering", str(head.finger), placement=place)


def _add_tuplets(made: Element, sign: NoteSign) -> None:
    if sign.starts:
        bracket = "yes" if sign.bracket else "no"
        add(made, "tuplet", type="start", number="1", bracket=bracket)
    if sign.stops:
        add(made, "tuplet", type="stop", number="1")
