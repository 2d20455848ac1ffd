"""What the engine hands to every face: chords with reasons, and each sounding note.

Right-hand position and chord inversion are kept apart: while the left hand plays the
root the harmony is in root position whatever the shape of the right hand is.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place, Remark
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
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
    HYMN = "hymn"


class LeftHand(Enum):
    """What the left hand does with the chords."""

    AUTO = "auto"
    HELD = "held"
    REPEATED = "repeated"
    OCTAVE = "octave"
    ROOT_FIFTH = "root-fifth"
    DRONE = "drone"
    WALTZ = "waltz"
    MARCH = "march"
    BROKEN = "broken"
    JIG = "jig"
    WALKING = "walking"


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
        texture: Block chords or held inner notes.
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
        found: list[Slot] = []
        for slot in self.slots:
            if slot.chord and not (found and found[-1].chord == slot.chord):
                found.append(slot)
        return tuple(found)
