"""What is asked of the form of a page: introduction, verses, gap, last verse, Amen."""

from enum import Enum
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.form.marks import verses_on_page
from harmonise.theory.tune import Tune

MOST_VERSES = 20
"""Longest song that is written."""


class Introduction(Enum):
    """What is played before the first verse."""

    NONE = "none"
    LAST_LINE = "last-line"
    TWO_BARS = "two-bars"
    VAMP = "vamp"


class Gap(Enum):
    """What is played between two verses."""

    NONE = "none"
    BAR = "bar"


class LastVerse(Enum):
    """How the last verse is varied, in order of risk (common practice)."""

    LEFT_OCTAVES = "left-octaves"
    TUNE_OCTAVES = "tune-octaves"
    WALKING = "walking-bass"
    RICHER = "richer-chords"
    TONIC_PEDAL = "tonic-pedal"
    DOMINANT_PEDAL = "dominant-pedal"
    SEMITONE = "up-a-semitone"
    TONE = "up-a-tone"


class Form(NamedTuple):
    """The form of a page.

    Attributes:
        introduction: What is played before the first verse.
        gap: What is played between two verses.
        verses: How many verses are sung; 0 for as many as the page is made for: those
            of its words, or the rounds of a repeat around everything.
        amen: Whether a plagal Amen follows.
        slow_ending: Whether the end slows down and the last chord is held.
        last_verse: How the last verse is varied; () for like the others.
        major_amen: Whether the Amen of a minor tune ends on the major chord.
    """

    introduction: Introduction = Introduction.NONE
    gap: Gap = Gap.NONE
    verses: int = 0
    amen: bool = False
    slow_ending: bool = False
    last_verse: tuple[LastVerse, ...] = ()
    major_amen: bool = False


PLAIN_FORM = Form()

_CONTRADICT = (
    (LastVerse.LEFT_OCTAVES, LastVerse.WALKING),
    (LastVerse.LEFT_OCTAVES, LastVerse.TONIC_PEDAL),
    (LastVerse.LEFT_OCTAVES, LastVerse.DOMINANT_PEDAL),
    (LastVerse.WALKING, LastVerse.TONIC_PEDAL),
    (LastVerse.WALKING, LastVerse.DOMINANT_PEDAL),
    (LastVerse.TONIC_PEDAL, LastVerse.DOMINANT_PEDAL),
    (LastVerse.SEMITONE, LastVerse.TONE),
)
"""Choices that ask two things of one hand, or two keys of one verse."""


def verse_count(form: Form, tune: Tune) -> int:
    """Return how many verses are sung.

    Raises:
        HarmoniseError: If there are too few for a last verse, or too many.
    """
    count = form.verses or verses_on_page(tune)
    if not 1 <= count <= MOST_VERSES:
        raise HarmoniseError(
            f"A song of {count} verses cannot be written.",
            None,
            f"Choose 1 to {MOST_VERSES} verses.",
        )
    if form.last_verse and count < 2:
        raise HarmoniseError(
            "There is one verse only, so no last verse can be varied.",
            None,
            "Ask for two verses or more, or leave the last verse as it is.",
        )
    return count


def assert_agree(choices: tuple[LastVerse, ...]) -> None:
    """Refuse choices for the last verse that contradict each other.

    Raises:
        HarmoniseError: With the two that do.
    """
    for one, other in _CONTRADICT:
        if one in choices and other in choices:
            raise HarmoniseError(
                f"A last verse cannot have {one.value} and {other.value} at once.",
                None,
                "Choose one of them.",
            )
