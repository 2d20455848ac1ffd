"""What is asked of the form of a page: introduction, verses, gap, last verse, Amen.

The page of the verse says more: its repeats (none, one around everything, or others)
tell how often it is sung, and its labels give the order line, which names one after the
other what is sung and played.
"""

import re
from enum import Enum
from itertools import groupby
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import Bar, Tune


def has_marks(tune: Tune) -> bool:
    """Return whether a page has repeats or endings of its own."""
    return any(map(is_marked, tune.bars))


def is_marked(bar: Bar) -> bool:
    """Return whether a bar begins or ends a repeat, or stands under an ending."""
    return bar.repeat_start or bar.repeat_end > 1 or bool(bar.ending)


def repeats_whole(tune: Tune) -> bool:
    """Return whether the only repeat of a page is around everything.

    That is how pages say that several verses are sung, so it counts as no mark.
    """
    if tune.bars[-1].repeat_end < 2:
        return False
    bars = list(tune.bars)
    bars[0] = bars[0]._replace(repeat_start=False)
    bars[-1] = bars[-1]._replace(repeat_end=1)
    return not any(map(is_marked, bars))


def jumps(tune: Tune) -> bool:
    """Return whether a page has words that send the player elsewhere."""
    return played_bars(tune) != played_bars(tune._replace(end_text=()))


def verses_on_page(tune: Tune) -> int:
    """Return how many verses a page is made for, by its repeats and its words.

    Words under inner repeats are those of the rounds, not of verses.
    """
    if repeats_whole(tune):
        return max(tune.bars[-1].repeat_end, tune.verses)
    return 1 if has_marks(tune) else max(1, tune.verses)


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


class SongForm(NamedTuple):
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


PLAIN_FORM = SongForm()

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


def verse_count(form: SongForm, tune: Tune) -> int:
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


_REFRAIN = re.compile(r"(refrain|chorus|burden)\b", re.IGNORECASE)
VERSE = re.compile(r"(verse|stanza)\b", re.IGNORECASE)
"""Begins the label of a part that is the verse itself."""
_BETWEEN = " \u2013 "


def order_line(tune: Tune, form: SongForm = PLAIN_FORM) -> str:
    """Return the order in which everything is sung and played.

    A verse of the page with a refrain is told in its parts; parts that are called
    otherwise (A, B) are told only where there is a refrain too.

    Args:
        tune: The tune; its sections tell verse and refrain apart.
        form: The form.

    Raises:
        HarmoniseError: If the form asks for too few verses, or too many.

    >>> from fractions import Fraction
    >>> from harmonise.theory.metre import TimeSignature
    >>> from harmonise.theory.tune import Bar
    >>> four, time = Fraction(4), TimeSignature(4, 4)
    >>> bars = (
    ...     Bar(1, 0 * four, four, time, section="Verse"),
    ...     Bar(2, four, four, time, section="Refrain"),
    ... )
    >>> order_line(Tune("", (), bars, ()), SongForm(verses=2, amen=True))
    'verse 1 – refrain – verse 2 – refrain – Amen'
    """
    count = verse_count(form, tune)
    parts = _parts(tune)
    names = []
    if form.introduction is not Introduction.NONE:
        names.append("Introduction")
    for number in range(1, count + 1):
        last = number == count and form.last_verse
        name = "last verse" if last else f"verse {number}"
        names += [part or name for part in parts]
    if form.amen:
        names.append("Amen")
    return _BETWEEN.join(names)


def _parts(tune: Tune) -> list[str]:
    """Return the parts of one verse in the order in which they are played.

    "" stands for the verse itself; a part played twice running is told once.
    """
    labels: list[str] = []
    for bar in tune.bars:
        # A label is in force until the next one.
        labels.append(bar.section or "".join(labels[-1:]))
    if not any(map(_REFRAIN.match, labels)):
        return [""]
    names = [
        label.lower() if _REFRAIN.match(label) else "" if VERSE.match(label) else label
        for label in labels
    ]
    once = range(len(tune.bars)) if repeats_whole(tune) else played_bars(tune)
    return [name for name, _ in groupby(names[at] for at in once)]
