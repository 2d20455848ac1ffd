"""What MusicXML calls notations: ties, tuplets, slurs, fingers and fermatas."""

from xml.etree.ElementTree import Element, SubElement

from harmonise.notation.writing.heads import Head
from harmonise.notation.writing.rhythm import Sign
from harmonise.notation.writing.spots import INNER, TENOR, TREBLE_STAFF, Ink, Spot
from harmonise.notation.writing.voices import Span
from harmonise.notation.writing.xml_text import add


def add_head_notations(note: Element, head: Head, spot: Spot, ink: Ink) -> None:
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


def add_rest_notations(note: Element, spot: Spot, ink: Ink) -> None:
    """Append the notations of a rest."""
    made = _tuplets(spot.sign)
    if spot.start in ink.fermatas:
        made += _fermata(spot)
    if made:
        SubElement(note, "notations").extend(made)


def _leads(head: Head, span: Span) -> bool:
    """Whether a head speaks for its chord: the tune, or else the lowest note."""
    return head is (span.heads[0] if span.tune is None else span.heads[-1])


def _tuplets(sign: Sign) -> list[Element]:
    made = []
    if sign.starts:
        bracket = "yes" if sign.bracket else "no"
        marks = {"type": "start", "number": "1", "bracket": bracket}
        made.append(Element("tuplet", marks))
    if sign.stops:
        made.append(Element("tuplet", {"type": "stop", "number": "1"}))
    return made


def _slurs(head: Head, spot: Spot, ink: Ink) -> list[Element]:
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


def _fingering(head: Head, spot: Spot) -> Element:
    """Return a finger: above the right hand, below the left (TRADE N07)."""
    technical = Element("technical")
    finger = add(technical, "fingering", str(head.finger))
    finger.set("placement", "above" if spot.staff == TREBLE_STAFF else "below")
    return technical


def _fermata(spot: Spot) -> list[Element]:
    """Return a fermata: upright above the treble staff, inverted below the bass."""
    if spot.voice in (INNER, TENOR):
        return []
    kind = "upright" if spot.staff == TREBLE_STAFF else "inverted"
    return [Element("fermata", {"type": kind})]
