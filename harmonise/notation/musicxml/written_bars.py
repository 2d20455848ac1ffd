"""Bars in MusicXML: signatures, bar lines, endings, and what stands above the music.

Chord symbols are `<harmony>`; its `<inversion>` is that of the harmony, 0 while the
left hand has the root, whatever the shape of the right hand.
"""

import re
from xml.etree.ElementTree import Element

from harmonise.notation.musicxml.written_xml import add
from harmonise.notation.score.note_values import value_of
from harmonise.notation.score.printed_labels import clean, format_decimal
from harmonise.notation.score.score_plan import (
    Above,
    JumpWords,
    Plan,
    ScoreBox,
    SectionName,
)
from harmonise.theory.arrangement import Slot
from harmonise.theory.chord import QUALITIES
from harmonise.theory.key import Key
from harmonise.theory.pitch import LETTERS, PitchName
from harmonise.theory.tune import Bar, Tempo


def add_attributes(
    measure: Element, bar: Bar, before: Bar | None, key: Key | None, score: Plan
) -> None:
    """Append the signatures that change at a bar; before the first also the clefs.

    Args:
        measure: The measure.
        bar: The bar.
        before: The bar before it; None at the start.
        key: The key, if it changes here.
        score: The score, for its divisions and staves.
    """
    time = bar.time if before is None or before.time != bar.time else None
    if time is None and key is None:
        return
    parent = add(measure, "attributes")
    if before is None:
        add(parent, "divisions", str(score.divisions))
    if key is not None:
        add_key(parent, key)
    if time is not None:
        signature = add(parent, "time")
        upper, _, lower = str(time).partition("/")
        add(signature, "beats", upper)
        add(signature, "beat-type", lower)
    if before is None:
        add(parent, "staves", str(score.staves))
        for number, (sign, line) in enumerate(_CLEFS[: score.staves], 1):
            clef = add(parent, "clef", number=str(number))
            add(clef, "sign", sign)
            add(clef, "line", line)


def add_key(parent: Element, key: Key) -> None:
    """Append a key signature, which holds for all staves."""
    signature = add(parent, "key")
    add(signature, "fifths", str(key.fifths))
    add(signature, "mode", key.mode.value)


def add_left_line(measure: Element, bar: Bar, before: Bar | None) -> None:
    """Append the bar line before a bar, if it is no plain one."""
    opens = bar.ending and (before is None or before.ending != bar.ending)
    if not (bar.repeat_start or opens):
        return
    line = add(measure, "barline", location="left")
    if bar.repeat_start:
        add(line, "bar-style", "heavy-light")
    if opens:
        _add_ending(line, bar, "start")
    if bar.repeat_start:
        add(line, "repeat", direction="forward")


def add_right_line(measure: Element, bar: Bar, after: Bar | None) -> None:
    """Append the bar line after a bar, if it is no plain one."""
    repeats = bar.repeat_end > 1
    closes = bar.ending and (after is None or after.ending != bar.ending)
    heavy = repeats or after is None
    if not (heavy or bar.double or closes):
        return
    line = add(measure, "barline", location="right")
    if heavy or bar.double:
        add(line, "bar-style", "light-heavy" if heavy else "light-light")
    if closes:
        _add_ending(line, bar, "stop" if repeats else "discontinue")
    if repeats:
        repeat = add(line, "repeat", direction="backward")
        if bar.repeat_end > 2:
            repeat.set("times", str(bar.repeat_end))


def _add_ending(line: Element, bar: Bar, kind: str) -> None:
    text = ", ".join(f"{number}." for number in bar.ending) if kind == "start" else ""
    add(line, "ending", text, number=",".join(map(str, bar.ending)), type=kind)


_CLEFS = (("G", "2"), ("F", "4"))
"""Sign and line of the clefs: treble, bass."""
_JUMPS = (
    (re.compile(r"fine\.?$", re.IGNORECASE), "fine", "yes"),
    (re.compile(r"(d\. ?c\.?|da ?capo)(?!\w)", re.IGNORECASE), "dacapo", "yes"),
    (re.compile(r"(d\. ?s\.?|dal ?segno)(?!\w)", re.IGNORECASE), "dalsegno", "segno"),
    (re.compile(r"to ?coda$", re.IGNORECASE), "tocoda", "coda"),
    (re.compile(r"segno$", re.IGNORECASE), "segno", "segno"),
    (re.compile(r"coda$", re.IGNORECASE), "coda", "coda"),
)
"""Jump words, the attribute of MusicXML's <sound> that plays them, and its value."""
_RELATIVE = re.compile(r"(rit|rall|a tempo)\b", re.IGNORECASE)
"""Tempo words that say nothing of crotchets a minute."""


def direction(what: Above, offset: int) -> Element:
    """Return what stands above or below the music at a place.

    Args:
        what: What it is.
        offset: Ticks from the note that it is written before.
    """
    if isinstance(what, Slot):
        return _harmony(what, offset)
    above = not isinstance(what, ScoreBox) or what.above
    made = Element("direction", {"placement": "above" if above else "below"})
    sound = _say(made, what)
    if offset:
        moved = add(made, "offset", str(offset))
        if isinstance(what, Tempo):
            # A tempo sounds where it is printed; a jump sounds at the end of its bar.
            moved.set("sound", "yes")
    add(made, "staff", "1" if above else "2")
    if sound:
        add(made, "sound", **sound)
    return made


def _say(
    made: Element, what: Tempo | SectionName | JumpWords | ScoreBox
) -> dict[str, str]:
    """Append what a direction says, and return the sound that goes with it."""
    bold = {"font-weight": "bold"}
    match what:
        case Tempo():
            _add_tempo(made, what)
            if what.pace is None:
                # Nothing else tells a reader that these words are a tempo.
                made.set("directive", "yes")
                return {}
            return {"tempo": format_decimal(what.pace)}
        case JumpWords(text):
            sounds = [jump[1:] for jump in _JUMPS if jump[0].match(text.strip())]
            sound = dict(sounds[:1])
            if {"segno", "coda"} & sound.keys():
                add(add(made, "direction-type"), *sound)
            else:
                _add_words(made, text, {**bold, "justify": "right"})
            return sound
        case SectionName(label):
            if len(label) > 2:
                _add_words(made, label, bold)
            else:
                add(add(made, "direction-type"), "rehearsal", clean(label))
        case ScoreBox():
            frame = {"enclosure": "rectangle"} if what.ruled else {}
            _add_words(made, what.text, {"font-style": "normal", **frame})
    return {}


def _harmony(slot: Slot, offset: int) -> Element:
    """Return the chord symbol of a slot that has a chord."""
    element = Element("harmony", {"placement": "above"})
    chord = slot.chord
    if chord is None:
        raise ValueError(f"The slot at {slot.place} has no chord.")
    _add_name(element, "root", chord.root)
    kind = add(element, "kind", chord.quality.value)
    kind.set("text", QUALITIES[chord.quality].suffix)
    letters, _ = QUALITIES[chord.quality].intervals[chord.inversion]
    foreign = slot.pedal and slot.pedal not in chord.members
    if letters == 2 * chord.inversion and not foreign:
        # Inversions count thirds; a suspended fourth in the bass is none.
        add(element, "inversion", str(int(chord.inversion)))
    if chord.inversion or foreign:
        _add_name(element, "bass", slot.pedal or chord.bass)
    if offset:
        add(element, "offset", str(offset))
    add(element, "staff", "1")
    return element


def _add_name(element: Element, part: str, name: PitchName) -> None:
    parent = add(element, part)
    add(parent, f"{part}-step", LETTERS[name.letter])
    if name.alter:
        add(parent, f"{part}-alter", str(name.alter))


def _add_tempo(made: Element, mark: Tempo) -> None:
    """Append tempo words and metronome mark; words without a number stand alone."""
    if mark.words:
        _add_words(made, mark.words, {"font-weight": "bold"})
    if _RELATIVE.match(mark.words) or mark.per_minute is None:
        return
    metronome = add(add(made, "direction-type"), "metronome")
    value = value_of(mark.beat)
    add(metronome, "beat-unit", value.kind if value else "quarter")
    for _ in range(value.dots if value else 0):
        add(metronome, "beat-unit-dot")
    per_minute = mark.per_minute * (1 if value else mark.beat)
    add(metronome, "per-minute", format_decimal(per_minute))


def numeral_words(text: str) -> Element:
    """Return a Roman numeral as words under the bass staff.

    Engravers drop the lyrics of rests.
    """
    made = Element("direction", {"placement": "below"})
    _add_words(made, text, {"default-y": "-80", "font-style": "normal"})
    add(made, "staff", "2")
    return made


def _add_words(parent: Element, text: str, look: dict[str, str]) -> None:
    words = add(add(parent, "direction-type"), "words", clean(text))
    words.attrib.update(look)
