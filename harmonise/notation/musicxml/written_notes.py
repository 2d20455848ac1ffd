"""What MusicXML calls notations: ties, tuplets, slurs, fingers and fermatas.

Notes in MusicXML: one `<note>` for every printed head or rest.
"""

from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

from harmonise.notation.musicxml.written_xml import add, clean, leaf
from harmonise.notation.score.ink import (
    BASS,
    INNER,
    TENOR,
    TREBLE_STAFF,
    Accidental,
    Ink,
    PlacedSign,
)
from harmonise.notation.score.note_values import Value, value_of
from harmonise.notation.score.printed_labels import format_numeral
from harmonise.notation.score.printed_rhythm import NoteSign, Ratio
from harmonise.notation.score.printed_voices import NoteHead, VoiceSpan
from harmonise.theory.pitch import LETTERS, Pitch
from harmonise.theory.tune import Grace


def add_head_notations(
    note: Element, head: NoteHead, spot: PlacedSign, ink: Ink
) -> None:
    """Append the notations of one head of a note or chord."""
    made: list[Element] = []
    if head.start < spot.start:
        made.append(Element("tied", {"type": "stop"}))
    if head.end > spot.end:
        made.append(Element("tied", {"type": "start"}))
    if head is spot.span.heads[0]:
        made += _tuplets(spot.sign)
    if head.tune is not None:
        made += _slurs(head, spot, ink)
    if ink.fingering and head.finger and head.start == spot.start:
        made.append(_fingering(head, spot))
    if spot.start in ink.fermatas and _leads(head, spot.span):
        made += _fermata(spot)
    if made:
        SubElement(note, "notations").extend(made)


def add_rest_notations(note: Element, spot: PlacedSign, ink: Ink) -> None:
    """Append the notations of a rest."""
    made = _tuplets(spot.sign)
    if spot.start in ink.fermatas:
        made += _fermata(spot)
    if made:
        SubElement(note, "notations").extend(made)


def _leads(head: NoteHead, span: VoiceSpan) -> bool:
    """Whether a head speaks for its chord: the tune, or else the lowest note."""
    return head is (span.heads[0] if span.tune is None else span.heads[-1])


def _tuplets(sign: NoteSign) -> list[Element]:
    made = []
    if sign.starts:
        bracket = "yes" if sign.bracket else "no"
        marks = {"type": "start", "number": "1", "bracket": bracket}
        made.append(Element("tuplet", marks))
    if sign.stops:
        made.append(Element("tuplet", {"type": "stop", "number": "1"}))
    return made


def _slurs(head: NoteHead, spot: PlacedSign, ink: Ink) -> list[Element]:
    """Return slurs: from the first part of a tied note to the last part of another."""
    marks = ink.marks[head.tune or 0]
    made = []
    if head.end == spot.end:
        made += [_slur(number, "stop") for number in marks.slur_stops]
    if head.start == spot.start:
        made += [_slur(number, "start") for number in marks.slur_starts]
    return made


def _slur(number: int, kind: str) -> Element:
    return Element("slur", {"type": kind, "number": str(number)})


def _fingering(head: NoteHead, spot: PlacedSign) -> Element:
    """Return a finger: above the right hand, below the left (TRADE N07)."""
    technical = Element("technical")
    finger = add(technical, "fingering", str(head.finger))
    finger.set("placement", "above" if spot.staff == TREBLE_STAFF else "below")
    return technical


def _fermata(spot: PlacedSign) -> list[Element]:
    """Return a fermata: upright above the treble staff, inverted below the bass."""
    if spot.voice in (INNER, TENOR):
        return []
    kind = "upright" if spot.staff == TREBLE_STAFF else "inverted"
    return [Element("fermata", {"type": kind})]


_STEMLESS = ("maxima", "long", "breve", "whole")


def write_spot(measure: Element, spot: PlacedSign, ink: Ink) -> None:
    """Append the notes, rest or silence of one sign to its measure."""
    heads = spot.span.heads
    if not heads:
        _write_silence(measure, spot, ink)
        return
    top = heads[-1]
    if top.tune is not None and top.start == spot.start:
        _write_graces(measure, top, spot, ink)
    for head in heads:
        _write_head(measure, head, spot, ink)


def _write_head(measure: Element, head: NoteHead, spot: PlacedSign, ink: Ink) -> None:
    ink.parts[head.name] += 1
    part = ink.parts[head.name]
    name = head.name if part == 1 else f"{head.name}-{part}"
    note = SubElement(measure, "note", {"id": name})
    first = head is spot.span.heads[0]
    if not first:
        note.append(leaf("chord"))
    note.append(_pitch(head.pitch))
    note.append(leaf("duration", str(spot.end - spot.start)))
    struck = head.start == spot.start
    if not struck:
        SubElement(note, "tie", {"type": "stop"})
    if head.end > spot.end:
        SubElement(note, "tie", {"type": "start"})
    _add_value(note, spot, ink.accidentals.get(head.name) if struck else None)
    if first:
        _add_beams(note, spot.sign.beams)
    add_head_notations(note, head, spot, ink)
    if struck and head.tune is not None:
        _add_words(note, head.tune, ink)
    if first:
        _add_numeral(note, spot, ink)
        _add_label(note, spot, ink)


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
    note: Element, spot: PlacedSign, accidental: Accidental | None = None
) -> None:
    """Append voice, value, accidental, tuplet ratio, stem and staff, in that order."""
    value, ratio = spot.sign.value, spot.sign.ratio
    note.append(leaf("voice", spot.voice))
    if value:
        _add_type(note, value)
    if accidental:
        _add_accidental(note, accidental)
    if value and ratio:
        _add_ratio(note, ratio, value)
    if spot.stem and value and value.kind not in _STEMLESS:
        note.append(leaf("stem", spot.stem))
    note.append(leaf("staff", spot.staff))


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


def _add_words(note: Element, tune: int, ink: Ink) -> None:
    for word in ink.marks[tune].words:
        lyric = SubElement(note, "lyric", {"number": str(word.verse)})
        lyric.append(leaf("syllabic", word.syllabic))
        add(lyric, "text", clean(word.text))
        if word.extends:
            SubElement(lyric, "extend")


def _add_numeral(note: Element, spot: PlacedSign, ink: Ink) -> None:
    if spot.voice != BASS or spot.start not in ink.numerals:
        return
    lyric = SubElement(note, "lyric", {"number": "1", "name": "numeral"})
    add(lyric, "syllabic", "single")
    add(lyric, "text", format_numeral(ink.numerals[spot.start]))


def _add_label(note: Element, spot: PlacedSign, ink: Ink) -> None:
    """Append the label of the right hand's shape: once, at the first treble note."""
    if spot.staff != TREBLE_STAFF or spot.start not in ink.labels:
        return
    lyric = SubElement(
        note, "lyric", {"number": str(ink.labels_verse), "name": "position"}
    )
    add(lyric, "syllabic", "single")
    add(lyric, "text", ink.labels.pop(spot.start)).set("font-style", "italic")


def _write_silence(measure: Element, spot: PlacedSign, ink: Ink) -> None:
    """Append a rest; inner voices keep silent, by hidden rests in tuplets."""
    length = str(spot.end - spot.start)
    hidden = spot.voice in (INNER, TENOR)
    if hidden and spot.sign.ratio is None:
        forward = SubElement(measure, "forward")
        add(forward, "duration", length)
        add(forward, "voice", spot.voice)
        add(forward, "staff", spot.staff)
        return
    note = SubElement(measure, "note", {"id": f"r{spot.voice}-{spot.start}"})
    if hidden:
        note.set("print-object", "no")
    rest = SubElement(note, "rest")
    if spot.sign.value is None:
        rest.set("measure", "yes")
    add(note, "duration", length)
    _add_value(note, spot)
    add_rest_notations(note, spot, ink)
    _add_numeral(note, spot, ink)


def _write_graces(measure: Element, head: NoteHead, spot: PlacedSign, ink: Ink) -> None:
    graces = ink.marks[head.tune or 0].graces
    for number, grace in enumerate(graces):
        name = grace_name(head, number)
        note = SubElement(measure, "note", {"id": name})
        SubElement(note, "grace", {"slash": "yes" if grace.slashed else "no"})
        note.append(_pitch(grace.pitch))
        note.append(leaf("voice", spot.voice))
        _add_type(note, _grace_value(grace))
        accidental = ink.accidentals.get(name)
        if accidental:
            _add_accidental(note, accidental)
        note.append(leaf("stem", "up"))
        note.append(leaf("staff", spot.staff))
        _add_beams(note, _grace_beams(graces, number))


def grace_name(head: NoteHead, number: int) -> str:
    """Return the id of a grace note before a note.

    Args:
        head: The note.
        number: Which of its grace notes, from 0.
    """
    return f"{head.name}g{number + 1}"


def _grace_value(grace: Grace) -> Value:
    return value_of(grace.value) or Value("eighth")


def _grace_beams(graces: tuple[Grace, ...], number: int) -> tuple[str, ...]:
    """Return the beams of one of several short grace notes, which share them all."""
    shared = min(_grace_value(grace).beams for grace in graces)
    if len(graces) < 2:
        return ()
    last = len(graces) - 1
    value = "begin" if number == 0 else "end" if number == last else "continue"
    return (value,) * shared
