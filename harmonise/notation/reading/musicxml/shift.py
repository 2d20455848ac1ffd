"""Transposing instruments: from the written to the sounding pitch.

`<transpose>` gives the way from written to sounding pitch in letters (diatonic) and
semitones (chromatic), and octaves on top. Where the letters would lead to a key of more
than seven sharps or flats, the next letter is taken (written G flat for an instrument
in E flat sounds in A, not in B double flat). Source: W3C, MusicXML 4.0, `transpose`.
"""

from bisect import bisect_right
from fractions import Fraction
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.reading.musicxml.bars import Page
from harmonise.notation.reading.musicxml.tree import Element, whole, words
from harmonise.theory.key import major_fifths
from harmonise.theory.pitch import Pitch, PitchName

_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters of the plainest interval of so many semitones; common practice."""


class Shift(NamedTuple):
    """A transposition from a place on.

    Attributes:
        onset: Crotchets from the start.
        steps: Letters upwards from written to sounding pitch.
        semitones: Semitones upwards.
    """

    onset: Fraction
    steps: int = 0
    semitones: int = 0

    def sounding(self, pitch: Pitch, place: Place) -> Pitch:
        """Return the sounding pitch of a written one.

        Args:
            pitch: As written.
            place: Where, for the error.

        Raises:
            NotationError: If it is too low or high, or needs three sharps or flats.
        """
        if not (self.steps or self.semitones):
            return pitch
        midi = pitch.midi + self.semitones
        octave, letter = divmod(pitch.staff_step + self.steps, 7)
        alter = midi - Pitch(letter, 0, octave).midi
        if abs(alter) > 2 or not 0 <= octave <= 9:
            raise NotationError(
                f"written {pitch} has no ordinary sounding pitch on this instrument.",
                place,
                "Export the part at sounding pitch.",
            )
        return Pitch(letter, alter, octave)

    def sounding_name(self, name: PitchName) -> PitchName:
        """Return the sounding pitch class of a written one."""
        return name.up(self.steps % 7, self.semitones)

    @property
    def fifths(self) -> int:
        """Sharps (flats negative) that sounding keys have more than written ones."""
        return major_fifths(self.sounding_name(PitchName(0)))


def read_shifts(page: Page) -> tuple[Shift, ...]:
    """Return the transpositions of a part in order; the first at 0.

    Raises:
        NotationError: If one is no number of semitones, with its bar.
    """
    shifts = [Shift(Fraction(0))]
    for count, measure in enumerate(page.measures):
        for item in measure.items:
            for element in item.element.iterfind("transpose"):
                if (whole(element.get("number")) or page.staff) == page.staff:
                    onset = page.starts[count] + item.onset
                    shifts.append(_parse(element, onset, page.place(onset)))
    return tuple(shifts)


def shift_at(shifts: tuple[Shift, ...], onset: Fraction) -> Shift:
    """Return the transposition in force at an onset."""
    return shifts[bisect_right(shifts, onset, key=attrgetter("onset")) - 1]


def fitted(shift: Shift, fifths: int) -> Shift:
    """Return a transposition spelled so that a written key stays within seven signs.

    Args:
        shift: As the file has it.
        fifths: Sharps of the written key, flats negative.
    """
    if abs(fifths + shift.fifths) <= 7:
        return shift
    spelled = [shift._replace(steps=shift.steps + step) for step in (1, -1)]
    return min(spelled, key=lambda other: abs(fifths + other.fifths))


def _parse(element: Element, onset: Fraction, place: Place) -> Shift:
    chromatic = whole(element.findtext("chromatic"))
    octaves = whole(element.findtext("octave-change") or "0")
    if chromatic is None or octaves is None or abs(chromatic) + 12 * abs(octaves) > 60:
        written = words(element.findtext("chromatic"))[:20]
        raise NotationError(
            f'the instrument transposes by "{written}" semitones.',
            place,
            "Export the part at sounding pitch.",
        )
    diatonic = whole(element.findtext("diatonic"))
    if diatonic is None:
        sign, size = (-1, -chromatic) if chromatic < 0 else (1, chromatic)
        diatonic = sign * (7 * (size // 12) + _STEPS[size % 12])
    return Shift(onset, diatonic + 7 * octaves, chromatic + 12 * octaves)
