"""What the page can offer: choices, files, drills and worksheets, as one table each.

An empty row is not offered and its control is hidden.
"""

from functools import cache
from typing import NamedTuple

from harmonise.theory.arrangement import PATTERNS, Player
from harmonise.theory.singing import Voices, read_voices


class OfferedChoice(NamedTuple):
    """One value of a control and what the page calls it."""

    value: str
    title: str


class Control(NamedTuple):
    """A control of the page.

    Attributes:
        name: Its list's name in the answer to /offers.
        choices: What it offers; () if nothing.
        usual: What holds where the page does not say.
    """

    name: str
    choices: tuple[OfferedChoice, ...]
    usual: str


_CHOICES = {
    "level": Control(
        "levels",
        (
            OfferedChoice("auto", "as rich as the tune needs"),
            OfferedChoice("1", "I, IV and V"),
            OfferedChoice("2", "with V7"),
            OfferedChoice("3", "with ii and vi"),
            OfferedChoice("4", "all chords"),
        ),
        "1",
    ),
    "harmonicRhythm": Control(
        "harmonicRhythms",
        (
            OfferedChoice("auto", "where they suit"),
            OfferedChoice("bar", "every bar"),
            OfferedChoice("half-bar", "every half-bar"),
            OfferedChoice("beat", "every beat"),
        ),
        "auto",
    ),
    "texture": Control(
        "textures",
        (
            OfferedChoice("auto", "as suits the tune"),
            OfferedChoice("block", "a chord under every note"),
            OfferedChoice("held", "held under the moving tune"),
            OfferedChoice("hymn", "in four parts, as a hymn"),
        ),
        "auto",
    ),
    "labels": Control(
        "labels",
        (
            OfferedChoice("none", "none"),
            OfferedChoice("words", "words: first"),
            OfferedChoice("figures", "figures: 6/3"),
            OfferedChoice("letters", "letters: b"),
        ),
        "none",
    ),
    "leftHand": Control(
        "leftHands",
        (
            OfferedChoice("", "as suits the tune"),
            *(OfferedChoice(own.value, own.row.title) for own in PATTERNS),
        ),
        "",
    ),
    "player": Control(
        "players",
        (
            OfferedChoice("", "anybody"),
            *(OfferedChoice(own.value, own.value) for own in Player),
        ),
        "",
    ),
}
"""The controls whose choices the engine knows, by their names in `settings`."""

DRILL_KINDS = ("pdf", "musicxml", "midi")
VERSIONS = ("exercise", "blank", "answer")


@cache
def controls() -> dict[str, Control]:
    """Return all controls, those of the singers among them."""
    singers = (OfferedChoice(own.name, own.singers) for own in singer_table())
    voices = Control("voices", (OfferedChoice("", "nobody"), *singers), "")
    return {**_CHOICES, "voices": voices}


@cache
def singer_table() -> tuple[Voices, ...]:
    """Return the groups of singers that come along."""
    return read_voices(None)
