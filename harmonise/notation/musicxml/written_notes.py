"""Notes in MusicXML: one `<note>` for every printed head or rest.

Each has its value, then what MusicXML calls notations (ties, tuplets, slurs, fingers,
fermatas), then words, numeral and label as lyrics. Numerals are lyrics of the bass:
`<numeral>` is not yet read everywhere.
"""

from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

from harmonise.notation.musicxml.written_bars import numeral_words
from harmonise.notation.musicxml.written_xml import add, leaf
from harmonise.notation.score.note_marks import Accidental, PrintedSyllable
from harmonise.notation.score.note_values import Value
from harmonise.notation.score.placed_signs import (
    TREBLE_STAFF,
    PlacedSign,
    PrintedGrace,
    PrintedNote,
)
from harmonise.notation.score.printed_labels import clean, format_numeral
from harmonise.notation.score.printed_rhythm import NoteSign, Ratio
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
    for note in sign.notes:
        _write_head(measure, note, sign, verses)


def _write_head(
    measure: Element, head: PrintedNote, sign: PlacedSign, verses: int
) -> None:
    first = head is sign.notes[0]
    note = SubElement(measure, "note", _named(head.name, sign))
    if not first:
        note.append(leaf("chord"))
    note.append(_pitch(head.pitch))
    note.append(leaf("duration", str(sign.end - sign.start)))
    if head.tied_back:
        SubElement(note, "tie", {"type": "stop"})
    if head.tied_on:
        SubElement(note, "tie", {"type": "start"})
    _add_value(note, sign, head.accidental)
    if first:
        _add_beams(note, sign.sign.beams)
    _add_notations(note, _head_notations(head, sign))
    for word in head.words:
        _add_word(note, word)
    if first:
        _add_numeral(note, sign)
        _add_label(note, sign, verses)


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
        _add_type(note, value)
    if accidental:
        _add_accidental(note, accidental)
    if value and ratio:
        _add_ratio(note, ratio, value)
    if sign.stem and value and value.kind not in _STEMLESS:
        note.append(leaf("stem", sign.stem))
    note.append(leaf("staff", sign.staff))


def _add_type(note: Element, value: Value) -> None:
    note.append(leaf("type", value.kind))
    note.extend([leaf("dot")] * value.dots)


def _add_ratio(note: Element, ratio: Ratio, value: Value) -> None:
    change = SubElement(note, "time-modification")
    add(change, "actual-notes", str(ratio.actual))
    add(change, "normal-notes", str(ratio.normal))
    if ratio.kind != value.kind:
        add(change, "normal-type", ratio.kind)


def _add_accidental(note: Element, accidental: Accidental) -> None:
    sign = add(note, "accidental", accidental.name)
    if accidental.courtesy:
        sign.set("cautionary", "yes")


def _add_beams(note: Element, beams: tuple[str, ...]) -> None:
    for number, value in enumerate(beams, 1):
        add(note, "beam", value).set("number", str(number))


def _add_word(note: Element, word: PrintedSyllable) -> None:
    lyric = SubElement(note, "lyric", {"number": str(word.verse)})
    lyric.append(leaf("syllabic", word.syllabic))
    add(lyric, "text", clean(word.text))
    if word.extends:
        SubElement(lyric, "extend")


def _add_numeral(note: Element, sign: PlacedSign) -> None:
    if not sign.numeral or sign.numeral_apart:
        return
    lyric = SubElement(note, "lyric", {"number": "1", "name": "numeral"})
    add(lyric, "syllabic", "single")
    add(lyric, "text", format_numeral(sign.numeral))


def _add_label(note: Element, sign: PlacedSign, verses: int) -> None:
    if not sign.label:
        return
    lyric = SubElement(note, "lyric", {"number": str(verses + 1), "name": "position"})
    add(lyric, "syllabic", "single")
    add(lyric, "text", sign.label).set("font-style", "italic")


def _write_silence(measure: Element, sign: PlacedSign) -> None:
    """Append a rest; inner voices keep silent, by unseen rests in tuplets."""
    length = str(sign.end - sign.start)
    silent = sign.voice in (INNER, TENOR)
    if silent and sign.sign.ratio is None:
        forward = SubElement(measure, "forward")
        add(forward, "duration", length)
        add(forward, "voice", sign.voice)
        add(forward, "staff", sign.staff)
        return
    name = f"r{sign.voice}-{sign.start}"
    note = SubElement(measure, "note", _named(name, sign))
    if silent:
        note.attrib.update(_UNSEEN)
    rest = SubElement(note, "rest")
    if sign.sign.value is None:
        rest.set("measure", "yes")
    add(note, "duration", length)
    _add_value(note, sign)
    _add_notations(note, [*_tuplets(sign.sign), *_fermata(sign)])
    _add_numeral(note, sign)


def _write_grace(measure: Element, grace: PrintedGrace, sign: PlacedSign) -> None:
    note = SubElement(measure, "note", _named(grace.name, sign))
    SubElement(note, "grace", {"slash": "yes" if grace.slashed else "no"})
    note.append(_pitch(grace.pitch))
    note.append(leaf("voice", sign.voice))
    _add_type(note, grace.value)
    if grace.accidental:
        _add_accidental(note, grace.accidental)
    note.append(leaf("stem", "up"))
    note.append(leaf("staff", sign.staff))
    _add_beams(note, grace.beams)


def _add_notations(note: Element, made: list[Element]) -> None:
    if made:
        SubElement(note, "notations").extend(made)


def _head_notations(head: PrintedNote, sign: PlacedSign) -> list[Element]:
    """Return the notations of one head of a note or chord."""
    made: list[Element] = []
    if head.tied_back:
        made.append(Element("tied", {"type": "stop"}))
    if head.tied_on:
        made.append(Element("tied", {"type": "start"}))
    if head is sign.notes[0]:
        made += _tuplets(sign.sign)
    made += [_slur(number, "stop") for number in head.slur_stops]
    made += [_slur(number, "start") for number in head.slur_starts]
    if head.finger:
        made.append(_fingering(head, sign))
    # The tune speaks for its chord, or else the lowest note does.
    if head is sign.notes[-1 if sign.voice == TUNE else 0]:
        made += _fermata(sign)
    return made


def _tuplets(sign: NoteSign) -> list[Element]:
    made = []
    if sign.starts:
        bracket = "yes" if sign.bracket else "no"
        marks = {"type": "start", "number": "1", "bracket": bracket}
        made.append(Element("tuplet", marks))
    if sign.stops:
        made.append(Element("tuplet", {"type": "stop", "number": "1"}))
    return made


def _slur(number: int, kind: str) -> Element:
    return Element("slur", {"type": kind, "number": str(number)})


def _fingering(head: PrintedNote, sign: PlacedSign) -> Element:
    """Return a finger: above the right hand, below the left (TRADE N07)."""
    technical = Element("technical")
    finger = add(technical, "fingering", str(head.finger))
    finger.set("placement", "above" if sign.staff == TREBLE_STAFF else "below")
    return technical


def _fermata(sign: PlacedSign) -> list[Element]:
    """Return a fermata: upright above the treble staff, inverted below the bass."""
    if not sign.fermata or sign.voice in (INNER, TENOR):
        return []
    kind = "upright" if sign.staff == TREBLE_STAFF else "inverted"
    return [Element("fermata", {"type": kind})]
