"""The voices of one staff, and which of them is the tune.

Notes of a chord are put together, the highest first. Notes that overlap in one voice (a
file without voice numbers, say) are voices of their own here: the second layer of voice
1 is called "1+".

The tune is the upper one of the main voices. Main voices are written, with notes and
printed rests, for at least half the time of the one that is written longest, so that
neither a few divided bars nor a descant of some bars is taken for the tune, but a tune
that often rests is. Of two voices the upper one is that which lies above the other for
the longer time while both sound. In a measure where the tune's voice is not written at
all, the upper one of the others is taken.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import reduce
from operator import itemgetter
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.musicxml.elements import Element, decimal, text, whole, words
from harmonise.notation.musicxml.walk import Measure, TimedElement
from harmonise.theory.pitch import LETTER_SEMITONES, LETTERS, Pitch, format_alter

_LAYERS = 8
"""Most layers of one voice that are told apart; no page has more."""
_MAIN = Fraction(1, 2)


class Group(NamedTuple):
    """Notes that begin together in one voice, or a rest.

    Attributes:
        onset: Crotchets from the measure's bar line.
        length: Crotchets that its top note lasts; 0 for grace notes.
        notes: Elements, the top note first.
        kind: "note", "rest" or "grace".
        moves: Crotchets after which its voice goes on; a chord's first note says so.
        height: Semitones of its top note above C0.
        has_pitch: Whether its top note has a pitch.
    """

    onset: Fraction
    length: Fraction
    notes: tuple[Element, ...]
    kind: str
    moves: Fraction
    height: Fraction = Fraction(0)
    has_pitch: bool = False

    @property
    def end(self) -> Fraction:
        """Crotchets from the measure's bar line at which its top note stops."""
        return self.onset + self.length

    @property
    def stops(self) -> Fraction:
        """Crotchets from the measure's bar line at which its voice goes on."""
        return self.onset + self.moves

    @property
    def hidden(self) -> bool:
        """Whether it is not printed."""
        return self.notes[0].get("print-object") == "no"


Voices = dict[str, tuple[Group, ...]]
"""The groups of each voice of a measure, by the name of the voice."""


def height(note: Element) -> Fraction:
    """Return the semitones of a note above C0.

    A note without proper pitch is higher than all others, so that it is refused.
    """
    step, octave = text(note, "pitch/step"), whole(note.findtext("pitch/octave"))
    alter = decimal(note.findtext("pitch/alter") or "0")
    if step not in LETTERS or len(step) != 1 or octave is None or alter is None:
        return Fraction(1000)
    return 12 * octave + LETTER_SEMITONES[LETTERS.index(step)] + alter


def read_pitch(note: Element, place: Place) -> Pitch:
    """Return the written pitch of a note.

    Raises:
        NotationError: If it has none, lies between the keys of the piano or is not
            spelled in ordinary notation.
    """
    if note.find("unpitched") is not None:
        what = "a note without pitch, as drums have them, stands in the tune."
        raise NotationError(what, place, "Name a part that has pitches.")
    step, octave = text(note, "pitch/step"), whole(note.findtext("pitch/octave"))
    if len(step) != 1 or step not in LETTERS or octave is None:
        what = "a note has neither a proper pitch nor a rest."
        remedy = "Give it a step (A to G) and an octave (0 to 9)."
        raise NotationError(what, place, remedy)
    if not 0 <= octave <= 9:
        what = f"{step} stands in octave {octave}."
        raise NotationError(what, place, "Octaves go from 0 to 9.")
    return Pitch(LETTERS.index(step), _alter(note, step, place), octave)


def _alter(note: Element, step: str, place: Place) -> int:
    written = text(note, "pitch/alter")
    alter = decimal(written or "0")
    if alter is None:
        what = f'the alteration "{words(written)[:20]}" of {step} is not a number.'
        raise NotationError(what, place, "Give the semitones, such as -1 for a flat.")
    if alter.denominator != 1:
        raise NotationError(
            f"{step} is altered by {written} semitones, which lies between the keys "
            "of the piano.",
            place,
            f"Write {step} or a neighbour with a sharp or a flat.",
        )
    if abs(alter) > 2:
        raise NotationError(
            f"{step}{format_alter(int(alter))[:6]} has more than two sharps or flats.",
            place,
            "Write the same sound with fewer.",
        )
    return int(alter)


def is_cue(item: TimedElement) -> bool:
    """Whether an item is a note in small print that others play."""
    return item.element.find("cue") is not None


def choose_staff(measures: tuple[Measure, ...]) -> int:
    """Return the uppermost staff that has a note with a pitch; 1 if none has."""
    staves = {
        item.staff
        for measure in measures
        for item in measure.items
        if item.element.find("pitch") is not None and not is_cue(item)
    }
    return min(staves, default=1)


def measure_voices(measure: Measure, staff: int) -> Voices:
    """Return the voices that a measure has on a staff, in file order."""
    voices: dict[str, list[Group]] = {}
    for name, items in _chords(measure, staff):
        group = _group(items)
        layer = name
        # A voice plays one thing at a time, whatever the file says.
        while layer in voices and voices[layer][-1].stops > group.onset:
            layer += "+"
        if len(layer) <= len(name) + _LAYERS:
            voices.setdefault(layer, []).append(group)
    return {name: tuple(groups) for name, groups in voices.items()}


def _chords(measure: Measure, staff: int) -> Iterator[tuple[str, list[TimedElement]]]:
    """Yield voice and notes of each chord; members on other staves are left out."""
    chord: list[TimedElement] = []
    for item in measure.items:
        if item.element.tag != "note":
            continue
        if not item.in_chord:
            if chord:
                yield chord[0].voice, chord
            chord = []
        # A chord may be spread over both staves; this staff has its own share of it.
        if item.staff == staff and not is_cue(item):
            chord.append(item)
    if chord:
        yield chord[0].voice, chord


def _group(items: list[TimedElement]) -> Group:
    head = items[0]
    if head.element.find("rest") is not None:
        return Group(head.onset, head.length, (head.element,), "rest", head.length)
    kind = "grace" if head.element.find("grace") is not None else "note"
    # Heights are asked for again and again, when voices are compared.
    heights = [(height(item.element), item) for item in items]
    heights.sort(key=itemgetter(0), reverse=True)
    highest, top = heights[0]
    notes = tuple(item.element for _, item in heights)
    sings = top.element.find("pitch") is not None
    return Group(head.onset, top.length, notes, kind, head.length, highest, sings)


def main_voice(voices: Sequence[Voices]) -> str:
    """Return the name of the voice that carries the tune.

    Args:
        voices: The voices of each measure; at least one measure has one.
    """

    def upper(one: str, two: str) -> str:
        both = [bar for bar in voices if one in bar and two in bar]
        return one if sum(_lead(bar[one], bar[two]) for bar in both) >= 0 else two

    names = list(dict.fromkeys(name for bar in voices for name in bar))
    # A staff whose notes are all hidden still has a tune.
    for hidden in (False, True):
        times: dict[str, Fraction] = defaultdict(Fraction)
        heard: set[str] = set()
        for bar in voices:
            for name, groups in bar.items():
                times[name] += sum(g.length for g in groups if g.hidden <= hidden)
                if any(sounding(groups, hidden=hidden)):
                    heard.add(name)
        longest = max((times[name] for name in heard), default=Fraction(0))
        # A descant of a few bars lies higher and is still no tune.
        main = [n for n in names if n in heard and times[n] >= _MAIN * longest > 0]
        main.sort(key=lambda name: times[name], reverse=True)
        if main:
            return reduce(upper, main)
    return names[0]


def voice_of_measure(voices: Voices, main: str) -> str:
    """Return the voice to take in one measure: the main one if it is printed there."""
    if any(not group.hidden for group in voices.get(main, ())):
        return main
    return main_voice([voices]) if any(visible(voices)) else main


def visible(voices: Voices) -> Iterator[str]:
    """Yield the voices of a measure that have printed notes."""
    for name, groups in voices.items():
        if any(sounding(groups, hidden=False)):
            yield name


def sounding(groups: Sequence[Group], *, hidden: bool) -> Iterator[Group]:
    """Yield the notes with a pitch, those that are not printed only if asked for."""
    for group in groups:
        if group.kind == "note" and group.has_pitch and group.hidden <= hidden:
            yield group


def _lead(one: Sequence[Group], two: Sequence[Group]) -> Fraction:
    """Return for how many crotchets more one lies above two than below it."""
    first, second = (list(sounding(groups, hidden=True)) for groups in (one, two))
    lead, here, there = Fraction(0), 0, 0
    while here < len(first) and there < len(second):
        a, b = first[here], second[there]
        common = min(a.end, b.end) - max(a.onset, b.onset)
        if common > 0 and a.height != b.height:
            lead += common if a.height > b.height else -common
        # Two pointers walk along; the note that ends first gives way to its next.
        if a.end <= b.end:
            here += 1
        else:
            there += 1
    return lead
