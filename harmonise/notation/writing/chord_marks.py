"""Chord symbols above the treble staff and Roman numerals under the bass staff.

Symbols are MusicXML `<harmony>`; its `<inversion>` is that of the harmony, 0 while the
left hand has the root, whatever the shape of the right hand. Numerals are words of the
bass: `<numeral>` is not yet read everywhere.
"""

import re
from fractions import Fraction
from itertools import pairwise
from xml.etree.ElementTree import Element

from harmonise.notation.writing.xml_text import add
from harmonise.theory.arrangement import Arrangement, Slot, Voice
from harmonise.theory.chord import QUALITIES, Chord
from harmonise.theory.pitch import LETTERS, PitchName

_NUMERAL = re.compile(
    r"([#b]*)([IV]+|[iv]+)(maj|°|ø|\+)?(6/5|4/3|4/2|6/4|7|6)?((?:/.*)?)$"
)
_UPPER = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_LOWER = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_SIGNS = str.maketrans("#b", "♯♭")
_TYPED = re.compile("[A-G](?:#+|b+)")


def printed_slots(arrangement: Arrangement) -> list[Slot]:
    """Return the slots whose chord is printed, in order.

    Chords are printed where they change, and where the player arrives by a jump: at
    the start of a repeat and of every ending, as the chord before may be another.
    """
    found = {slot.onset: slot for slot in arrangement.changes}
    places = _jump_places(arrangement)
    for slot in arrangement.slots:
        while places and places[0] < slot.end:
            place = places.pop(0)
            if slot.chord and place >= slot.onset:
                found.setdefault(place, slot._replace(onset=place))
    return [found[onset] for onset in sorted(found)]


def _jump_places(arrangement: Arrangement) -> list[Fraction]:
    """Return where chords sound first after each jump; a pickup may have none."""
    struck = {note.onset for note in arrangement.notes if note.voice is not Voice.TUNE}
    bars = arrangement.tune.bars
    places = []
    for before, bar in pairwise(bars):
        if bar.repeat_start or (bar.ending and bar.ending != before.ending):
            places += [at for at in (bar.start, bar.end) if at in struck][:1]
    return places


def format_numeral(numeral: str) -> str:
    """Return a Roman numeral with its figures raised and lowered, upper figure first.

    >>> [format_numeral(text) for text in ("V7", "I6/4", "V6/5/V", "bVII", "vii°")]
    ['V⁷', 'I⁶₄', 'V⁶₅/V', '♭VII', 'vii°']
    """
    found = _NUMERAL.match(numeral)
    if not found:
        return numeral
    sign, roman, mark, figures, target = found.groups()
    upper, _, lower = (figures or "").partition("/")
    stacked = upper.translate(_UPPER) + lower.translate(_LOWER)
    return f"{sign.translate(_SIGNS)}{roman}{mark or ''}{stacked}{target}"


def format_symbol(chord: Chord) -> str:
    """Return a chord symbol with the signs that print has.

    >>> from harmonise.theory.chord import parse_symbol
    >>> [format_symbol(parse_symbol(text)) for text in ("Bb", "F#m", "A/C#")]
    ['B♭', 'F♯m', 'A/C♯']
    """
    return _TYPED.sub(lambda found: found[0].translate(_SIGNS), str(chord))


def harmony(slot: Slot, offset: int) -> Element:
    """Return the chord symbol of a slot that has a chord.

    Args:
        slot: The slot.
        offset: Ticks from the note that it is written before.
    """
    element = Element("harmony", {"placement": "above"})
    chord = slot.chord
    if chord is None:
        raise ValueError(f"The slot at {slot.place} has no chord.")
    _name(add(element, "root"), "root", chord.root)
    kind = add(element, "kind", chord.quality.value)
    kind.set("text", QUALITIES[chord.quality].suffix)
    letters, _ = QUALITIES[chord.quality].intervals[chord.inversion]
    if letters == 2 * chord.inversion:
        # Inversions count thirds; a suspended fourth in the bass is none.
        add(element, "inversion", str(int(chord.inversion)))
    if chord.inversion:
        _name(add(element, "bass"), "bass", chord.bass)
    if offset:
        add(element, "offset", str(offset))
    add(element, "staff", "1")
    return element


def _name(parent: Element, part: str, name: PitchName) -> None:
    add(parent, f"{part}-step", LETTERS[name.letter])
    if name.alter:
        add(parent, f"{part}-alter", str(name.alter))
