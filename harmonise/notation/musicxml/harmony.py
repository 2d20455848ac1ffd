"""Chord symbols: what each `<harmony>` is among our chords.

Roots may be notes, numerals or (before MusicXML 4.0) functions. A written chord is a
root and a set of intervals: those of its kind, changed by its degrees. If one of our
qualities has exactly these, the chord is it. If not, the nearest is the largest of our
qualities that sounds nothing which is not written: a ninth chord becomes the seventh
chord in it. What holds none of ours is left out. Each change is told with place and
kind. Source: W3C, MusicXML 4.0, `harmony`, `kind-value`, `degree-value`, `degree-type`,
`numeral`, `inversion`, `bass`.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    decimal,
    text,
    whole,
    words,
)
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.notation.musicxml.signatures import Shift, read_shifts, shift_at
from harmonise.notation.musicxml.walk import Measure
from harmonise.theory.chord import (
    QUALITIES,
    Chord,
    Inversion,
    Quality,
    parse_symbol,
)
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.pitch import LETTERS, PitchName
from harmonise.theory.tune import ChordAt, KeyChange

Interval = tuple[int, int]
"""Letters and semitones above the root, both within the octave."""

_NINTH, _ELEVENTH, _THIRTEENTH = (1, 2), (3, 5), (5, 9)
_EXTENSIONS = {
    "ninth": (_NINTH,),
    "11th": (_NINTH, _ELEVENTH),
    "13th": (_NINTH, _ELEVENTH, _THIRTEENTH),
}
_SEVENTHS = {
    "dominant": Quality.DOMINANT_SEVENTH,
    "major": Quality.MAJOR_SEVENTH,
    "minor": Quality.MINOR_SEVENTH,
}
KINDS: dict[str, tuple[Interval, ...]] = {
    **{quality.value: QUALITIES[quality].intervals for quality in Quality},
    "augmented-seventh": ((0, 0), (2, 4), (4, 8), (6, 10)),
    "major-minor": ((0, 0), (2, 3), (4, 7), (6, 11)),
    **{
        f"{family}-{extension}": QUALITIES[seventh].intervals + added
        for family, seventh in _SEVENTHS.items()
        for extension, added in _EXTENSIONS.items()
    },
}
"""Intervals of each kind that names its notes, as "Neapolitan" or "pedal" do not."""

# Added degrees are those of the dominant scale, so that 7 is the minor seventh.
_OF_DEGREE = (0, 2, 4, 5, 7, 9, 10)
"""Semitones of degrees 1 to 7 that are added: as in a dominant chord."""


class Degree(NamedTuple):
    """A change of a chord.

    Attributes:
        value: Degree above the root, 1 to 13.
        alter: Semitones.
        kind: "add", "alter" or "subtract".
    """

    value: int
    alter: int
    kind: str

    def __str__(self) -> str:
        """Return the change as read aloud: "add #11"."""
        sign = {1: "#", -1: "b", 2: "##", -2: "bb"}.get(self.alter, "")
        return f"{self.kind} {sign}{self.value}"


def change(intervals: Iterable[Interval], degrees: Iterable[Degree]) -> set[Interval]:
    """Return the intervals of a kind with its degrees added, altered, taken away.

    >>> sorted(change(KINDS["major"], [Degree(11, 1, "add")]))
    [(0, 0), (2, 4), (3, 6), (4, 7)]
    """
    chord = set(intervals)
    for degree in degrees:
        letter = (degree.value - 1) % 7
        there = [interval for interval in chord if interval[0] == letter]
        plain = _OF_DEGREE[letter]
        # What is added stands beside a member of the same letter, say 9 beside 2.
        if degree.kind != "add":
            chord.difference_update(there)
            plain = there[0][1] if there else plain
        if degree.kind != "subtract":
            chord.add((letter, (plain + degree.alter) % 12))
    return chord


def nearest(intervals: set[Interval]) -> Quality | None:
    """Return the largest of our qualities within some intervals; None if none is.

    >>> nearest(set(KINDS["dominant-13th"])), nearest({(0, 0), (4, 6)})
    (<Quality.DOMINANT_SEVENTH: 'dominant'>, None)
    """
    within = [q for q in Quality if set(QUALITIES[q].intervals) <= intervals]
    return max(within, key=lambda q: len(QUALITIES[q].intervals), default=None)


class Setting(NamedTuple):
    """What chord symbols are read against.

    Attributes:
        shifts: Transpositions of the part that carries the symbols.
        keys: Sounding keys, for numerals.
    """

    shifts: tuple[Shift, ...]
    keys: tuple[KeyChange, ...]

    def key_at(self, onset: Fraction) -> Key:
        """Return the key in force at an onset."""
        return [change.key for change in self.keys if change.onset <= onset][-1]


def has_symbols(part: Element) -> bool:
    """Whether a part carries chord symbols."""
    return part.find("measure/harmony") is not None


def read_symbols(
    source: LaidPart, page: LaidPart, keys: tuple[KeyChange, ...], remarks: XmlRemarks
) -> tuple[ChordAt, ...]:
    """Return the chords that the symbols of a part stand for.

    Args:
        source: The part that carries them.
        page: The tune's part, whose measures they are placed in.
        keys: Sounding keys, for numerals.
        remarks: Told of every chord that is not kept as it stands.
    """
    setting = Setting(read_shifts(source), keys)
    placed: dict[Fraction, Chord | None] = {}
    for onset, element in _placed(source.measures, page, remarks):
        if onset < page.end and onset not in placed:
            placed[onset] = _chord(element, onset, setting, remarks)
    onsets = sorted(placed)
    ends = [*onsets[1:], page.end]
    return tuple(
        ChordAt(onset, end, chord)
        for onset, end in zip(onsets, ends, strict=False)
        if (chord := placed[onset]) is not None
    )


def _placed(
    measures: tuple[Measure, ...], page: LaidPart, remarks: XmlRemarks
) -> Iterator[tuple[Fraction, Element]]:
    """Yield the symbols at their places; those heaped on one note share its length.

    A file may put several symbols before one note to say that they change under it.
    """
    for count, measure in enumerate(measures[: len(page.measures)]):
        heaps: dict[tuple[Fraction, int, bool], list[Element]] = defaultdict(list)
        for item in measure.items:
            if item.element.tag == "harmony":
                alone = item.element.find("offset") is None
                # An offset places a symbol exactly; only the others can be heaped.
                heaps[item.onset, item.staff, alone].append(item.element)
        for (onset, staff, alone), heap in sorted(
            heaps.items(), key=lambda entry: entry[0]
        ):
            start = page.starts[count] + onset
            # Symbols without a place of their own share the longest note under them.
            here = [i for i in measure.items if (i.onset, i.staff) == (onset, staff)]
            under = max((i.length for i in here), default=Fraction(0))
            step = under / len(heap) if alone else Fraction(0)
            for number, element in enumerate(heap):
                yield start + number * step, element
            if len(heap) > 1:
                remarks.add(
                    XmlCode.HEAPED,
                    f"{len(heap)} chord symbols stand at one place; they were spread "
                    "evenly over the note under them.",
                    start,
                )


def _chord(
    harmony: Element, onset: Fraction, setting: Setting, remarks: XmlRemarks
) -> Chord | None:
    kind = words(harmony.findtext("kind"))[:30]
    if kind == "none":
        return None
    root, degrees = _root(harmony, onset, setting), tuple(_degrees(harmony))
    shown = " ".join((str(root or "?"), kind, *map(str, degrees))).strip()
    # A kind that the standard does not know ("other") says nothing of its notes.
    intervals = change(KINDS.get(kind, ()), degrees)
    quality = nearest(intervals) if kind in KINDS else None
    if root and quality is None and not degrees:
        # Some programs write what they printed and call the kind "other".
        with suppress(NotationError):
            return parse_symbol(f"{root}{_printed_kind(harmony)}")
    if root is None or quality is None or len(harmony.findall("kind")) > 1:
        what = f'the chord "{shown}" is not one of ours; it was left out.'
        remarks.add(XmlCode.NO_CHORD, what, onset)
        return None
    chord = Chord(root, quality)
    # Of larger chords the part that we play is kept, and told.
    if len(chord.members) < len(intervals):
        what = f'the chord "{shown}" was read as {chord}.'
        remarks.add(XmlCode.NEAR_CHORD, what, onset)
    return _inverted(chord, harmony, shift_at(setting.shifts, onset), onset, remarks)


def _printed_kind(harmony: Element) -> str:
    """Return what is printed after the root.

    Raises:
        NotationError: If nothing is.
    """
    kind = harmony.find("kind")
    printed = None if kind is None else kind.get("text")
    if printed is None:
        raise NotationError("The kind of this chord is not printed.")
    return words(printed)


def _degrees(harmony: Element) -> Iterator[Degree]:
    for degree in harmony.iterfind("degree"):
        value = whole(degree.findtext("degree-value"))
        alter = whole(degree.findtext("degree-alter") or "0")
        if value is not None and alter is not None and 0 < value < 100:
            yield Degree(value, alter, text(degree, "degree-type"))


def _name(element: Element, prefix: str) -> PitchName | None:
    """Return the note of a root or bass; None if it is no ordinary note."""
    step = text(element, f"{prefix}-step")
    alter = decimal(element.findtext(f"{prefix}-alter") or "0")
    if len(step) != 1 or step not in LETTERS or alter not in (-2, -1, 0, 1, 2):
        return None
    return PitchName(LETTERS.index(step), int(alter))


def _root(harmony: Element, onset: Fraction, setting: Setting) -> PitchName | None:
    root, numeral = harmony.find("root"), harmony.find("numeral")
    shift = shift_at(setting.shifts, onset)
    if root is not None:
        name = _name(root, "root")
        return None if name is None else shift.sounding_name(name)
    # Roots told by degree: since MusicXML 4.0 by a numeral, before by a function.
    key = setting.key_at(onset)
    if numeral is not None:
        return _numeral_root(numeral, key, shift)
    try:
        return parse_numeral(text(harmony, "function"), key).root
    except NotationError:
        return None


def _numeral_root(numeral: Element, key: Key, shift: Shift) -> PitchName | None:
    """Return the root that a numeral names in its own key or in the music's.

    In minor, 6 and 7 are those of the signature unless the numeral's key says
    "harmonic minor" (7 raised) or "melodic minor" (6 and 7 raised).
    """
    degree = whole(numeral.findtext("numeral-root"))
    alter = whole(numeral.findtext("numeral-alter") or "0")
    if degree is None or alter is None or not 1 <= degree <= 7 or abs(alter) > 2:
        return None
    numeral_key = numeral.find("numeral-key")
    if numeral_key is not None:
        fifths = whole(numeral_key.findtext("numeral-fifths"))
        if fifths is None or abs(fifths) > 7:
            return None
        mode = text(numeral_key, "numeral-mode")
        minor = mode.endswith("minor")
        written = key_of_signature(fifths, Mode.MINOR if minor else Mode.MAJOR)
        key = written._replace(tonic=shift.sounding_name(written.tonic))
        raised = {"harmonic minor": (7,), "melodic minor": (6, 7)}.get(mode, ())
        alter += degree in raised
    return key.name_at(degree, alter)


def _inverted(
    chord: Chord, harmony: Element, shift: Shift, onset: Fraction, remarks: XmlRemarks
) -> Chord:
    """Return the chord over its written bass, if that is one of its members."""
    # A bass says more than an inversion, which some programs leave at 0.
    bass = harmony.find("bass")
    if bass is None:
        member = whole(harmony.findtext("inversion") or "0")
        if member is not None and 0 <= member < len(chord.members):
            return chord._replace(inversion=Inversion(member))
        said = f"inversion {words(harmony.findtext('inversion'))[:10]}"
    else:
        name = _name(bass, "bass")
        sounding = None if name is None else shift.sounding_name(name)
        if sounding in chord.members:
            return chord._replace(inversion=Inversion(chord.members.index(sounding)))
        said = f"the bass {sounding or '?'}"
    what = f"the chord {chord} does not hold {said}; its root was taken."
    remarks.add(XmlCode.BASS, what, onset)
    return chord
