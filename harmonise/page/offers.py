"""What the page can offer: choices, files, drills and worksheets, as one table each.

An empty row is not offered and its control is hidden.
"""

from functools import cache
from typing import NamedTuple

from harmonise.singing.voices import Voices, read_voices
from harmonise.theory.arrangement import Player
from harmonise.theory.left_hand import PATTERNS


class Choice(NamedTuple):
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
    choices: tuple[Choice, ...]
    usual: str


_CHOICES = {
    "level": Control(
        "levels",
        (
            Choice("auto", "as rich as the tune needs"),
            Choice("1", "I, IV and V"),
            Choice("2", "with V7"),
            Choice("3", "with ii and vi"),
            Choice("4", "all chords"),
        ),
        "1",
    ),
    "harmonicRhythm": Control(
        "harmonicRhythms",
        (
            Choice("auto", "where they suit"),
            Choice("bar", "every bar"),
            Choice("half-bar", "every half-bar"),
            Choice("beat", "every beat"),
        ),
        "auto",
    ),
    "texture": Control(
        "textures",
        (
            Choice("auto", "as suits the tune"),
            Choice("block", "a chord under every note"),
            Choice("held", "held under the moving tune"),
            Choice("hymn", "in four parts, as a hymn"),
        ),
        "auto",
    ),
    "labels": Control(
        "labels",
        (
            Choice("none", "none"),
            Choice("words", "words: first"),
            Choice("figures", "figures: 6/3"),
            Choice("letters", "letters: b"),
        ),
        "none",
    ),
    "leftHand": Control(
        "leftHands",
        (
            Choice("", "as suits the tune"),
            *(Choice(own.value, row.title) for own, row in PATTERNS.items()),
        ),
        "",
    ),
    "player": Control(
        "players",
        (Choice("", "anybody"), *(Choice(own.value, own.value) for own in Player)),
        "",
    ),
}
"""The controls whose choices the engine knows, by their names in `settings`."""

DRILL_KINDS = ("pdf", "musicxml", "midi")
VERSIONS = ("exercise", "blank", "answer")


@cache
def controls() -> dict[str, Control]:
    """Return all controls, those of the singers among them."""
    singers = (Choice(own.name, own.singers) for own in singer_table())
    voices = Control("voices", (Choice("", "nobody"), *singers), "")
    return {**_CHOICES, "voices": voices}


@cache
def singer_table() -> tuple[Voices, ...]:
    """Return the groups of singers that come along."""
    return read_voices(None)
