"""What print says in letters: chord symbols, Roman numerals, labels, numbers.

Labels under the treble staff name the shape of the right hand. A label says which chord
member is the lowest note of the *right hand*. It is not the inversion of the harmony,
which the left hand decides; `shape_legend` says so. Labels stand where the shape or the
chord changes. TRADE 3.1 gives the three styles. Where the right hand is too thin for a
shape, the notes of both hands are named.
"""

import re
from bisect import bisect_left
from collections.abc import Collection, Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from operator import attrgetter

from harmonise.theory.arrangement import (
    Arrangement,
    Labels,
    Position,
    Slot,
    SoundingNote,
    Texture,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.tune import Bar, Tune

_NUMERAL = re.compile(
    r"([#b]*)([IV]+|[iv]+)(maj|°|ø|\+)?(6/5|4/3|4/2|6/4|7|6)?((?:/.*)?)$"
)
_UPPER = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_LOWER = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_SIGNS = str.maketrans("#b", "♯♭")
_TYPED = re.compile("[A-G](?:#+|b+)")
_IN_TEXT = re.compile(r"(?<!\w)[A-G](?:#+|b+)(?=m?\d|m(?![a-z])|dim|aug|sus|\W|$)")


def printed_slots(
    arrangement: Arrangement, lines: Collection[int] | None = None
) -> list[Slot]:
    """Return the slots whose chord is printed, in order.

    Chords are printed where they change, at the start of a line of print, where the eye
    arrives anew, and where the player arrives by a jump: at the start of a repeat and
    of every ending, as the chord before may be another.

    Args:
        arrangement: The arrangement.
        lines: Numbers of the bars that begin a line of print, () for charts, which
            have lines of their own; by default `new_lines`.
    """
    printed = {slot.onset: slot for slot in arrangement.changes}
    struck = {note.onset for note in arrangement.notes if note.voice is not Voice.TUNE}
    firsts = new_lines(arrangement.tune) if lines is None else lines
    places: list[Fraction] = []
    for number, (before, bar) in enumerate(pairwise(arrangement.tune.bars), 1):
        if number in firsts:
            places.append(bar.start)
        if bar.repeat_start or (bar.ending and bar.ending != before.ending):
            # A pickup may have no chord: then it sounds first in the bar after.
            places += [at for at in (bar.start, bar.end) if at in struck][:1]
    places = sorted(set(places))
    for slot in arrangement.slots:
        while places and places[0] < slot.end:
            place = places.pop(0)
            if slot.chord and place >= slot.onset:
                printed.setdefault(place, slot._replace(onset=place))
    return [printed[onset] for onset in sorted(printed)]


_LONG_LINE = 20
"""Crotchets that fit on one line of print; a longer phrase is broken every 4 bars."""
_USUAL_LINE = 4
"""Full bars of a line of print; shorter phrases share one (2 + 2)."""


def new_lines(tune: Tune, *, joined: bool = False) -> set[int]:
    """Return the numbers, from 0, of the bars that begin a new line of print.

    Lines end where phrases end, or after the bar in which they end (TRADE N12), if they
    hold two full bars. Phrases too long for one line are broken every four bars; short
    ones share a line of four bars, but not over the end of a section.

    Args:
        tune: The tune.
        joined: Whether short phrases share a line also under words, which need room.
    """
    bars = tune.bars
    starts = [bar.start for bar in bars]
    ends = [bisect_left(starts, onset) for onset in sorted(tune.phrases)]
    lines: set[int] = set()
    first = before = 0
    for end in [*(end for end in ends if 0 < end < len(bars)), len(bars)]:
        # Neither a pickup nor the second part of a split bar fills a line.
        full = [at for at in range(first, end) if not bars[at].offset]
        if len(full) < 2 and end < len(bars):
            continue
        long = bars[end - 1].end - bars[first].start > _LONG_LINE
        if long:
            lines.update(full[at] for at in range(4, len(full) - 1, 4))
        together = bars[end - 1].end - bars[before].start
        shared = sum(not bar.offset for bar in bars[before:end])
        if (
            before < first
            and shared <= _USUAL_LINE
            and together <= _LONG_LINE
            and (joined or not tune.verses)
            and not ends_section(bars[first - 1], bars[first])
        ):
            lines.discard(first)
        else:
            before = end if long else first
        lines.add(end)
        first = end
    lines.discard(len(bars))
    return lines


def ends_section(bar: Bar, after: Bar) -> bool:
    """Whether a section ends between two bars, by a sign on the page."""
    sign = bar.double or bar.repeat_end > 1 or after.repeat_start
    return bool(sign or after.section or after.ending)


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


def format_signs(text: str) -> str:
    """Return a sentence whose names of notes and chords have the signs of print.

    >>> format_signs("Bar 2: Bb and F#4 over Ebm, never A or Above")
    'Bar 2: B♭ and F♯4 over E♭m, never A or Above'
    """
    return _IN_TEXT.sub(lambda found: found[0].translate(_SIGNS), text)


def format_decimal(number: Fraction) -> str:
    """Return a number in decimals, to the nearest hundredth.

    >>> format_decimal(Fraction(96)), format_decimal(Fraction(185, 2))
    ('96', '92.5')
    """
    whole, hundredths = divmod(round(number * 100), 100)
    return f"{whole}.{hundredths:02}".rstrip("0").rstrip(".")


_SHAPES = {
    Position.ROOT: ("root", "a", "⁵₃", "⁷"),
    Position.FIRST: ("first", "b", "⁶₃", "⁶₅"),
    Position.SECOND: ("second", "c", "⁶₄", "⁴₃"),
    Position.THIRD: ("third", "d", "", "⁴₂"),
    Position.OPEN: ("open", "open", "open", "open"),
}
"""Each shape as a word, as a letter, and in the figures of triads and of sevenths."""


def format_position(position: Position, labels: Labels, members: int = 3) -> str:
    """Return the label of a shape of the right hand.

    Args:
        position: The shape.
        labels: The style; `NONE` gives "".
        members: Notes of the chord, 3 or 4, which decide the figures.

    >>> [format_position(Position.FIRST, style) for style in Labels]
    ['', 'first', '⁶₃', 'b']
    """
    word, letter, triad, seventh = _SHAPES[position]
    figures = triad if members == 3 else seventh
    told = {Labels.WORDS: word, Labels.FIGURES: figures, Labels.LETTERS: letter}
    return told.get(labels, "")


def shape_labels(arrangement: Arrangement) -> Iterator[tuple[Fraction, str]]:
    """Yield where labels stand and what they say, in the arrangement's own style."""
    labelled = set(_labelled(arrangement))
    for run in chord_runs(arrangement):
        for slot, _ in run:
            if slot.chord is None or slot.onset not in labelled:
                continue
            members = slot.chord.members
            if slot.position:
                style = arrangement.style.labels
                yield slot.onset, format_position(slot.position, style, len(members))
            else:
                pitches = {note.pitch for _, notes in run for note in notes}
                up = sorted(pitches, key=attrgetter("midi"))
                names = [str(one.name) for one in up if one.name in members]
                yield slot.onset, format_signs(" ".join(dict.fromkeys(names)))


def chord_runs(
    arrangement: Arrangement,
) -> Iterator[list[tuple[Slot, list[SoundingNote]]]]:
    """Yield the slots with their notes, `slot_notes`, while one chord lasts."""
    for _, run in groupby(slot_notes(arrangement), lambda one: one[0].chord):
        yield list(run)


def slot_notes(
    arrangement: Arrangement,
) -> Iterator[tuple[Slot, list[SoundingNote]]]:
    """Yield each slot with the notes that a hand plays or holds in it, in order."""
    waiting = iter(arrangement.notes)
    coming = next(waiting, None)
    sounding: list[SoundingNote] = []
    for slot in arrangement.slots:
        sounding = [one for one in sounding if one.onset + one.length > slot.onset]
        while coming and coming.onset < slot.end:
            sounding.append(coming)
            coming = next(waiting, None)
        yield slot, sounding


def _labelled(arrangement: Arrangement) -> Iterator[Fraction]:
    """Yield the onsets of slots that have a label.

    They are those where shape or chord changes; a right hand without a shape has a
    label at a new chord only, and none in four parts, where it never has one.
    """
    before: tuple[Chord | None, Position | None] = None, None
    for slot in arrangement.slots:
        if slot.chord is None:
            continue
        now = (slot.chord, slot.position)
        told = slot.position or (
            before[0] != slot.chord and arrangement.style.texture is not Texture.HYMN
        )
        if now != before and told:
            yield slot.onset
        before = now


def thin_legend(arrangement: Arrangement) -> str:
    """Return what explains the labels of a thin right hand; "" if there are none."""
    labelled = arrangement.style.labels is not Labels.NONE
    places = set(_labelled(arrangement)) if labelled else ()
    if any(slot.onset in places and not slot.position for slot in arrangement.slots):
        return "Where the right hand is thin, letters name the notes of both hands."
    return ""


_TRIADS = tuple(
    (shape, 3) for shape in (Position.ROOT, Position.FIRST, Position.SECOND)
)


def printed_shapes(arrangement: Arrangement) -> set[tuple[Position, int]]:
    """Return the labelled shapes of the right hand, with the notes of their chords."""
    return {
        (slot.position, len(slot.chord.members))
        for slot in arrangement.slots
        if slot.chord and slot.position
    }


def shape_legend(
    labels: Labels, shapes: Collection[tuple[Position, int]] = _TRIADS
) -> str:
    """Return the sentences that tell what labels mean; "" if there are none.

    Words speak for themselves: there it is told whose shape they are.

    Args:
        labels: Their style.
        shapes: The labelled shapes, each with the notes of its chord, 3 or 4.

    >>> shape_legend(Labels.LETTERS)
    'Shape of the right hand: a root position, b first inversion, c second inversion.'
    >>> shape_legend(Labels.FIGURES, {(Position.FIRST, 3), (Position.FIRST, 4)})
    'Shape of the right hand: ⁶₃ or ⁶₅ first inversion.'
    >>> shape_legend(Labels.WORDS)
    'Labels name the shape of the right hand.'
    """
    if labels is Labels.NONE or not shapes:
        return ""
    opened = any(shape is Position.OPEN for shape, _ in shapes)
    doubled = "open: a note is doubled" if opened else ""
    if labels is Labels.WORDS:
        told = "Labels name the shape of the right hand"
        return f"{told}; {doubled}." if doubled else f"{told}."
    meanings = []
    for shape in Position:
        members = sorted(count for position, count in shapes if position is shape)
        names = [format_position(shape, labels, count) for count in members]
        if names and shape is not Position.OPEN:
            shown = " or ".join(dict.fromkeys(names))
            meanings.append(f"{shown} {shape.value}")
    meanings += [doubled] if doubled else []
    return f"Shape of the right hand: {', '.join(meanings)}."


@lru_cache(maxsize=1)
def _illegal() -> re.Pattern[str]:
    """Return all that XML 1.0, section 2.2, does not call a character.

    It takes long to compile, and plain text does without.
    """
    return re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: str) -> str:
    """Return a user's text without the control characters that XML forbids.

    >>> clean("Auld Lang" + chr(0) + " Syne")
    'Auld Lang Syne'
    """
    if text.isascii() and text.isprintable():
        return text
    return _illegal().sub("", text)
