"""What the engine hands to every face: chords with reasons, and each sounding note.

Right-hand position and chord inversion are kept apart: while the left hand plays the
root the harmony is in root position whatever the shape of the right hand is.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple, Self

from harmonise.errors import Place, Remark
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import ChordAt, Tune


class Hand(Enum):
    """Which hand plays."""

    RIGHT = "right"
    LEFT = "left"


class Voice(Enum):
    """What a note is for."""

    TUNE = "tune"
    INNER = "inner"
    BASS = "bass"


class Position(Enum):
    """Shape of the right hand: which chord member is its lowest note."""

    ROOT = "root position"
    FIRST = "first inversion"
    SECOND = "second inversion"
    THIRD = "third inversion"
    OPEN = "open"


class HarmonicRhythm(Enum):
    """How often chords may change."""

    AUTO = "auto"
    BAR = "bar"
    HALF_BAR = "half-bar"
    BEAT = "beat"


class Texture(Enum):
    """What the inner notes do while the tune moves."""

    AUTO = "auto"
    BLOCK = "block"
    HELD = "held"
    LIGHT = "light"
    HYMN = "hymn"


class RightHand(Enum):
    """What a left-hand pattern leaves for the right hand."""

    FULL = "the full chord"
    TWO = "the tune and one note"
    LIGHT = "the tune, with one note where there is room"


class PatternRow(NamedTuple):
    """What is known of one pattern of the left hand.

    Attributes:
        title: Its name on the page.
        phrase: Its name in a sentence.
        metres: Metres it suits, as (beats, beat type); () for every metre.
        usual: Those in which "auto" takes it.
        right: What it leaves for the right hand.
        sustained: Whether its notes are struck once and last as long as the chord.
        anywhere: Whether it may lie in any octave: a root, or its octave.
        drilled: Whether drills practise it.
    """

    title: str = ""
    phrase: str = ""
    metres: tuple[tuple[int, int], ...] = ()
    usual: tuple[tuple[int, int], ...] = ()
    right: RightHand = RightHand.FULL
    sustained: bool = False
    anywhere: bool = False
    drilled: bool = False


_EVEN = ((2, 4), (4, 4), (2, 2))
_DOTTED = ((6, 8), (9, 8), (12, 8))
_NO_ROW = PatternRow()


class LeftHand(Enum):
    """What the left hand does with the chords: the one table of patterns.

    Every list of patterns follows it. A new pattern is a row here and, in
    `left_hand.patterns`, the function that plays it. The rows are common practice of
    accompanying songs and dances.
    """

    _value_: str
    row: PatternRow

    AUTO = "auto"
    HELD = "held", PatternRow(
        "held root", "a held root", sustained=True, anywhere=True, drilled=True
    )  # fmt: skip
    REPEATED = (
        "repeated",
        PatternRow("repeated root", "a repeated root", anywhere=True, drilled=True),
    )
    OCTAVE = (
        "octave",
        PatternRow("octaves", "an octave", sustained=True, anywhere=True, drilled=True),
    )
    ROOT_FIFTH = "root-fifth", PatternRow(
        "root and fifth", "root and fifth",
        metres=(*_EVEN, (6, 8)), usual=(*_EVEN, (6, 8)), drilled=True,
    )  # fmt: skip
    CHORDS = "chords", PatternRow(
        "chords", "left-hand chords", right=RightHand.LIGHT, sustained=True
    )  # fmt: skip
    DRONE = "drone", PatternRow(
        "drone", "a drone", right=RightHand.TWO, sustained=True
    )  # fmt: skip
    WALTZ = "waltz", PatternRow(
        "waltz", "a waltz",
        metres=((3, 4),), usual=((3, 4),), right=RightHand.LIGHT, drilled=True,
    )  # fmt: skip
    MARCH = "march", PatternRow(
        "march", "a march", metres=_EVEN, right=RightHand.LIGHT
    )  # fmt: skip
    BROKEN = "broken", PatternRow(
        "broken chord", "a broken chord",
        metres=(*_EVEN, (3, 4), *_DOTTED), right=RightHand.TWO, drilled=True,
    )  # fmt: skip
    JIG = "jig", PatternRow(
        "jig", "a jig", metres=_DOTTED, usual=((9, 8), (12, 8)), right=RightHand.TWO
    )  # fmt: skip
    WALKING = "walking", PatternRow(
        "walking bass", "a walking bass", metres=(*_EVEN, (3, 4)), anywhere=True
    )  # fmt: skip

    def __new__(cls, name: object, row: PatternRow = _NO_ROW) -> Self:
        """Let the name alone be the value, as options and files write it."""
        made = object.__new__(cls)
        made._value_ = str(name)
        made.row = row
        return made

    def suits(self, time: TimeSignature) -> bool:
        """Return whether a pattern is offered in a metre.

        >>> LeftHand.WALTZ.suits(TimeSignature(3, 4))
        True
        >>> LeftHand.WALTZ.suits(TimeSignature(4, 4))
        False
        """
        return not self.row.metres or (time.beats, time.beat_type) in self.row.metres


PATTERNS = tuple(pattern for pattern in LeftHand if pattern is not LeftHand.AUTO)
"""Every pattern but "auto", in the order that lists follow."""


class Player(Enum):
    """Whom a page is for."""

    BEGINNER = "beginner"
    INTERMEDIATE = "intermediate"
    ADVANCED = "advanced"


class Labels(Enum):
    """How the shape of the right hand is named on the page.

    Words say "first", figures 6/3, letters b; all three mean the first inversion.
    """

    NONE = "none"
    WORDS = "words"
    FIGURES = "figures"
    LETTERS = "letters"


class Section(NamedTuple):
    """What a part of the tune has of its own.

    Attributes:
        label: Label of the section, such as "Chorus"; "" for a range of bars.
        first: Number of the first bar of a range.
        last: Number of its last bar.
        left_hand: What the left hand does there; None as in the rest of the tune.
        texture: What the inner notes do there; None as in the rest of the tune.
    """

    label: str = ""
    first: int = 0
    last: int = 0
    left_hand: LeftHand | None = None
    texture: Texture | None = None

    @property
    def where(self) -> str:
        """The part as typed: "Chorus", "9-16"."""
        return self.label or f"{self.first}-{self.last}"


AUTO_LEVEL = 0
"""The level that stands for the lowest one that keeps every strong rule."""


class Style(NamedTuple):
    """What the user asked for.

    Attributes:
        level: Palette 1 to 4, or `AUTO_LEVEL`.
        harmonic_rhythm: How often chords may change.
        texture: Block chords, held inner notes, or few of them under a quick tune.
        locks: Chords that win over every rule.
        numerals: Whether Roman numerals are printed.
        fingering: Whether fingering is printed.
        strict: Whether a broken rule refuses the job.
        span: Widest reach of the right hand in semitones.
        labels: How the shape of the right hand is named on the page.
        keyboards: Whether keyboard diagrams of the chords follow on a printed page.
        left_hand: What the left hand does with the chords.
        sections: Parts of the tune with a left hand or a texture of their own; where
            two overlap the later one counts.
        player: Whom the page is for; None if nobody was named.
        richer: Whether some chords give way to richer ones.
    """

    level: int = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    texture: Texture = Texture.AUTO
    locks: tuple[ChordAt, ...] = ()
    numerals: bool = True
    fingering: bool = False
    strict: bool = False
    span: int = 12
    labels: Labels = Labels.NONE
    keyboards: bool = False
    left_hand: LeftHand = LeftHand.AUTO
    sections: tuple[Section, ...] = ()
    player: Player | None = None
    richer: bool = False


PLAIN = Style()


class SoundingNote(NamedTuple):
    """One struck note of the arrangement.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets; may cross bar lines, where the writer ties it.
        pitch: Spelled pitch.
        hand: Which hand.
        voice: Tune, inner or bass.
        finger: 1 to 5 where fingering was asked for; else 0.
    """

    onset: Fraction
    length: Fraction
    pitch: Pitch
    hand: Hand
    voice: Voice
    finger: int = 0

    @property
    def end(self) -> Fraction:
        """When it stops, in crotchets."""
        return self.onset + self.length


class Alternative(NamedTuple):
    """Another chord that would do in a slot.

    Attributes:
        chord: The chord.
        numeral: Its Roman numeral.
        cost: How much more the best arrangement with it costs, in thousandths.
        reason: Why it is second, in one sentence.
    """

    chord: Chord
    numeral: str
    cost: int
    reason: str


class Slot(NamedTuple):
    """A stretch of the tune under one choice of chord.

    Attributes:
        place: Bar and beat of its start.
        onset: Crotchets from the start.
        length: Crotchets.
        key: Key in force.
        chord: The chord; None where the tune goes alone (a pickup, say).
        numeral: Roman numeral; "" where the tune goes alone.
        position: Shape of the right hand at its start; None if there is none.
        reason: Why this chord, in one sentence.
        alternatives: The other good chords, best first.
        locked: Whether the user locked the chord.
        pedal: What the left hand holds there through several chords, foreign to this
            one or not; None where the bass moves with the chords.
    """

    place: Place
    onset: Fraction
    length: Fraction
    key: Key
    chord: Chord | None
    numeral: str = ""
    position: Position | None = None
    reason: str = ""
    alternatives: tuple[Alternative, ...] = ()
    locked: bool = False
    pedal: PitchName | None = None

    @property
    def end(self) -> Fraction:
        """Onset of the next slot, in crotchets."""
        return self.onset + self.length


class Arrangement(NamedTuple):
    """A tune with its chords and every note that both hands play.

    Attributes:
        tune: The tune, unchanged.
        style: What was asked for, "auto" settled.
        slots: Slots without gap or overlap.
        notes: Every sounding note: by onset, then from the lowest up.
        remarks: What the user should know, in score order.
        cost: Total cost of the chosen path, in thousandths.
    """

    tune: Tune
    style: Style
    slots: tuple[Slot, ...]
    notes: tuple[SoundingNote, ...]
    remarks: tuple[Remark, ...] = ()
    cost: int = 0

    @property
    def changes(self) -> tuple[Slot, ...]:
        """The slots at which the chord changes, where symbols are printed."""
        changes: list[Slot] = []
        for slot in self.slots:
            if slot.chord and not (changes and changes[-1].chord == slot.chord):
                changes.append(slot)
        return tuple(changes)
