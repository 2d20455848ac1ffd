"""Chords: spelled members, symbols, figured bass.

One row per quality holds all that is known of it. Kinds are MusicXML 4.0's
`kind-value` names; numerals and figures are common practice, checked in the tests
against music21's RomanNumeral and Chord.
"""

import re
from enum import Enum, IntEnum
from functools import lru_cache
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.theory.pitch import PitchClass, PitchName, parse_name


class Member(Enum):
    """Which member of its chord a note is; the value counts letters above the root.

    A suspended note or an added sixth is in its chord and is none of these.
    """

    ROOT = 0
    THIRD = 2
    FIFTH = 4
    SEVENTH = 6


class Inversion(IntEnum):
    """Which member is in the bass."""

    ROOT_POSITION = 0
    FIRST = 1
    SECOND = 2
    THIRD = 3


class Quality(Enum):
    """Kind of chord; the value is its MusicXML kind."""

    MAJOR = "major"
    MINOR = "minor"
    DIMINISHED = "diminished"
    AUGMENTED = "augmented"
    DOMINANT_SEVENTH = "dominant"
    MAJOR_SEVENTH = "major-seventh"
    MINOR_SEVENTH = "minor-seventh"
    HALF_DIMINISHED = "half-diminished"
    DIMINISHED_SEVENTH = "diminished-seventh"
    SUSPENDED_FOURTH = "suspended-fourth"
    SUSPENDED_SECOND = "suspended-second"
    MAJOR_SIXTH = "major-sixth"
    MINOR_SIXTH = "minor-sixth"
    POWER = "power"


class QualityRow(NamedTuple):
    """What is known of one quality.

    Attributes:
        intervals: (letters, semitones) of each member above the root.
        suffix: What follows the root in a chord symbol.
        lower: Whether the numeral is in lower case.
        mark: What follows the numeral before any figures.
        figures: Figures of the root position; "" for a triad.
    """

    intervals: tuple[tuple[int, int], ...]
    suffix: str
    lower: bool
    mark: str = ""
    figures: str = ""

    @property
    def semitones(self) -> tuple[int, ...]:
        """Semitones of each note above the root."""
        return tuple(semitones for _, semitones in self.intervals)

    @property
    def telling(self) -> int:
        """Semitones of the note that tells what the chord is.

        It is the third, or the suspended note in its place; a bare fifth has its fifth.
        """
        return self.intervals[1][1]

    @property
    def added(self) -> int | None:
        """Semitones of the fourth note, a seventh or sixth; None for a triad."""
        return self.intervals[3][1] if len(self.intervals) > 3 else None

    def interval(self, member: Member) -> int | None:
        """Return the semitones of a member above the root; None if there is none."""
        return dict(self.intervals).get(member.value)


_R = (0, 0)
# Letters count besides semitones: an augmented fourth and a diminished fifth are one
# key and two notes.
QUALITIES: dict[Quality, QualityRow] = {
    Quality.MAJOR: QualityRow((_R, (2, 4), (4, 7)), "", lower=False),
    Quality.MINOR: QualityRow((_R, (2, 3), (4, 7)), "m", lower=True),
    Quality.DIMINISHED: QualityRow((_R, (2, 3), (4, 6)), "dim", lower=True, mark="°"),
    Quality.AUGMENTED: QualityRow((_R, (2, 4), (4, 8)), "aug", lower=False, mark="+"),
    Quality.DOMINANT_SEVENTH: QualityRow(
        (_R, (2, 4), (4, 7), (6, 10)), "7", lower=False, figures="7"
    ),
    Quality.MAJOR_SEVENTH: QualityRow(
        (_R, (2, 4), (4, 7), (6, 11)), "maj7", lower=False, mark="maj", figures="7"
    ),
    Quality.MINOR_SEVENTH: QualityRow(
        (_R, (2, 3), (4, 7), (6, 10)), "m7", lower=True, figures="7"
    ),
    Quality.HALF_DIMINISHED: QualityRow(
        (_R, (2, 3), (4, 6), (6, 10)), "m7b5", lower=True, mark="ø", figures="7"
    ),
    Quality.DIMINISHED_SEVENTH: QualityRow(
        (_R, (2, 3), (4, 6), (6, 9)), "dim7", lower=True, mark="°", figures="7"
    ),
    Quality.SUSPENDED_FOURTH: QualityRow(
        (_R, (3, 5), (4, 7)), "sus4", lower=False, mark="sus4"
    ),
    Quality.SUSPENDED_SECOND: QualityRow(
        (_R, (1, 2), (4, 7)), "sus2", lower=False, mark="sus2"
    ),
    Quality.MAJOR_SIXTH: QualityRow(
        (_R, (2, 4), (4, 7), (5, 9)), "6", lower=False, mark="add6"
    ),
    Quality.MINOR_SIXTH: QualityRow(
        (_R, (2, 3), (4, 7), (5, 9)), "m6", lower=True, mark="add6"
    ),
    Quality.POWER: QualityRow((_R, (4, 7)), "5", lower=False, mark="5"),
}

TRIADS = (Quality.MAJOR, Quality.MINOR, Quality.DIMINISHED, Quality.AUGMENTED)
_SPELLINGS = {
    Quality.MAJOR: "maj M ma major Maj",
    Quality.MINOR: "min mi - minor Min",
    Quality.DIMINISHED: "o ° Dim",
    Quality.AUGMENTED: "+ Aug",
    Quality.DOMINANT_SEVENTH: "dom7 dom",
    Quality.MAJOR_SEVENTH: "M7 ma7 Maj7 major7 Δ Δ7",
    Quality.MINOR_SEVENTH: "min7 mi7 -7 minor7",
    Quality.HALF_DIMINISHED: "ø ø7 m7-5 min7b5 -7b5 m7(b5)",
    Quality.DIMINISHED_SEVENTH: "o7 °7",
    Quality.SUSPENDED_FOURTH: "sus",
    Quality.MAJOR_SIXTH: "maj6 M6 add6",
    Quality.MINOR_SIXTH: "min6 mi6 -6 madd6",
}
"""Other spellings of the suffixes of chord symbols (common practice)."""
SUFFIXES = {row.suffix: quality for quality, row in QUALITIES.items()}
"""What may follow a root in a chord symbol; one meaning each."""
SUFFIXES |= {
    suffix: quality
    for quality, suffixes in _SPELLINGS.items()
    for suffix in suffixes.split()
}
_SYMBOL = re.compile(r"([A-G](?:##|bb|[#b♯♭]?))([^/]*)(?:/([A-G](?:##|bb|[#b♯♭]?)))?$")
FIGURES = {
    3: ("", "6", "6/4"),
    4: ("7", "6/5", "4/3", "4/2"),
}


class Chord(NamedTuple):
    """A chord with the member that its bass takes.

    Attributes:
        root: Spelled root.
        quality: Kind of chord.
        inversion: Which member is in the bass; not the shape of the right hand.
    """

    root: PitchName
    quality: Quality = Quality.MAJOR
    inversion: Inversion = Inversion.ROOT_POSITION

    @property
    def members(self) -> tuple[PitchName, ...]:
        """Spelled members, root first."""
        return _members(self.root, self.quality)

    @property
    def pitch_classes(self) -> tuple[PitchClass, ...]:
        """Pitch classes of the members, root first."""
        return _pitch_classes(self.root, self.quality)

    @property
    def bass(self) -> PitchName:
        """Spelled note that the bass takes."""
        return self.members[self.inversion]

    @property
    def upright(self) -> "Chord":
        """The chord in root position."""
        return self._replace(inversion=Inversion.ROOT_POSITION)

    @property
    def is_seventh(self) -> bool:
        """Whether the chord has a seventh."""
        return len(self.members) == 4 and QUALITIES[self.quality].intervals[3][0] == 6

    def member(self, member: Member) -> PitchName | None:
        """Return the spelled name of a member; None if the chord has none.

        Found by its interval: the fifth of a bare fifth is its second note, and the
        fourth of a suspended chord is no third.

        >>> str(parse_symbol("C5").member(Member.FIFTH))
        'G'
        >>> parse_symbol("Csus4").member(Member.THIRD) is None
        True
        """
        semitones = QUALITIES[self.quality].interval(member)
        return None if semitones is None else self.root.up(member.value, semitones)

    def member_of(self, pitch_class: int) -> Member | None:
        """Return which member sounds as a pitch class; None if none does."""
        name = self.spelling(pitch_class)
        return next(
            (member for member in Member if name and self.member(member) == name), None
        )

    def spelling(self, pitch_class: int) -> PitchName | None:
        """Return the chord's own name of a pitch class; None if it is not in it.

        >>> str(parse_symbol("E7").spelling(8))
        'G#'
        """
        for name in self.members:
            if name.pitch_class == pitch_class:
                return name
        return None

    def over(self, pitch_class: int) -> Inversion | None:
        """Return the inversion that has a pitch class in the bass; None if none has."""
        classes = self.pitch_classes
        if pitch_class not in classes:
            return None
        return Inversion(classes.index(PitchClass(pitch_class)))

    @property
    def symbol(self) -> str:
        """Chord symbol: Dm, G7, C/E.

        >>> parse_symbol("C/E").symbol
        'C/E'
        """
        plain = f"{self.root}{QUALITIES[self.quality].suffix}"
        return f"{plain}/{self.bass}" if self.inversion else plain

    @property
    def with_notes(self) -> str:
        """The symbol with its notes: C (C E G)."""
        return f"{self.symbol} ({' '.join(map(str, self.members))})"

    @property
    def as_figured(self) -> "Chord":
        """The chord itself; an inverted added sixth as the seventh of the same notes.

        >>> parse_symbol("C6/A").as_figured.symbol
        'Am7'
        """
        # Over another note than its root C E G A is heard as A minor with a seventh.
        if not self.inversion or self.quality not in _AS_SEVENTH:
            return self
        inversion = Inversion((self.inversion + 1) % 4)
        return Chord(self.members[3], _AS_SEVENTH[self.quality], inversion)

    @property
    def figures(self) -> str:
        """Figured bass, upper figure first: "", 6, 6/4, 7, 6/5 and so on.

        An added sixth is marked beside the numeral; inverted, the chord is figured as
        the seventh chord of the same notes. Suspensions and bare fifths have no
        figures: their mark says what they are.

        >>> parse_symbol("G7/D").figures, parse_symbol("C6/A").figures
        ('4/3', '7')
        """
        if self.as_figured is not self:
            return self.as_figured.figures
        if not (self.is_seventh or self.quality in TRIADS):
            return ""
        return FIGURES[len(self.members)][self.inversion]

    def __str__(self) -> str:
        """Return the chord symbol."""
        return self.symbol


_AS_SEVENTH = {
    Quality.MAJOR_SIXTH: Quality.MINOR_SEVENTH,
    Quality.MINOR_SIXTH: Quality.HALF_DIMINISHED,
}


@lru_cache(maxsize=2048)
def _members(root: PitchName, quality: Quality) -> tuple[PitchName, ...]:
    rows = QUALITIES[quality].intervals
    return tuple(root.up(letters, semitones) for letters, semitones in rows)


@lru_cache(maxsize=2048)
def _pitch_classes(root: PitchName, quality: Quality) -> tuple[PitchClass, ...]:
    return tuple(member.pitch_class for member in _members(root, quality))


def parse_symbol(text: str) -> Chord:
    """Return the chord that a symbol names.

    Args:
        text: Root, suffix and perhaps a bass: C, Dm, F#m, Bb, G7, C/E.

    Raises:
        NotationError: If it is not one of ours.

    >>> [str(name) for name in parse_symbol("Bb7").members]
    ['Bb', 'D', 'F', 'Ab']
    >>> parse_symbol("Cmaj").symbol, parse_symbol("Dmin7").symbol
    ('C', 'Dm7')
    """
    match = _SYMBOL.match(text)
    quality = SUFFIXES.get(match.group(2)) if match else None
    if not match or quality is None:
        raise unknown_chord(text)
    chord = Chord(parse_name(match.group(1)), quality)
    if not match.group(3):
        return chord
    bass = parse_name(match.group(3))
    # Behind the stroke stands a member: a foreign bass is no inversion.
    if bass not in chord.members:
        raise unknown_chord(text)
    return chord._replace(inversion=Inversion(chord.members.index(bass)))


def unknown_chord(text: str) -> NotationError:
    """Return the error of a chord that is not one of ours (E20)."""
    root = text[:1].upper() if text[:1].upper() in "ABCDEFG" and text else "C"
    return NotationError(
        f'"{text}" — write {root} for {root} major, {root}m for {root} minor, {root}7.',
    )
