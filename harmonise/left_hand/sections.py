"""Parts of a tune with a left hand or a texture of their own.

They are typed as a list: `9-16 broken, Chorus octave held`. Each entry names a section
by its label, or bars by their numbers, and then the left hand, the texture or both.
"held" alone is the left hand's.
"""

import re
from typing import NamedTuple

from harmonise.errors import HarmoniseError, NotationError, shorten
from harmonise.left_hand.patterns import assert_suits
from harmonise.theory.arrangement import PATTERNS, LeftHand, Section, Style, Texture
from harmonise.theory.tune import Tune

_RANGE = re.compile(r"(\d{1,9})(?:\s*[-\u2013]\s*(\d{1,9}))?$")
_LEFT = {pattern.value: pattern for pattern in PATTERNS}
_TEXTURES = {
    texture.value: texture for texture in (Texture.BLOCK, Texture.HELD, Texture.LIGHT)
}
_EXAMPLE = "Write it as in 9-16 broken, Chorus octave."


class BarStyle(NamedTuple):
    """How one bar is played.

    Attributes:
        left_hand: What the left hand does there, fallen back where it does not suit.
        texture: What the inner notes do.
        asked: What was asked of the left hand.
    """

    left_hand: LeftHand
    texture: Texture
    asked: LeftHand


def parse_sections(text: str) -> tuple[Section, ...]:
    """Return the parts that a text lists.

    Raises:
        NotationError: With what was typed and how to write it.

    >>> [str(part.left_hand) for part in parse_sections("9-16 broken, Verse 2 octave")]
    ['LeftHand.BROKEN', 'LeftHand.OCTAVE']
    """
    entries = [entry.strip() for entry in text.split(",")]
    return tuple(_parse(entry) for entry in entries if entry)


def _parse(entry: str) -> Section:
    words = entry.split()
    lower = [word.lower() for word in words]
    both = len(words) > 2 and lower[-1] in _TEXTURES and lower[-2] in _LEFT
    left_hand = _LEFT.get(lower[-2 if both else -1])
    texture = _TEXTURES.get(lower[-1]) if both or not left_hand else None
    if len(words) < 2 or not (left_hand or texture):
        known = ", ".join((*_LEFT, Texture.BLOCK.value, Texture.LIGHT.value))
        raise NotationError(
            f'"{shorten(entry)}" does not end in a left hand or a texture ({known}).',
            None,
            _EXAMPLE,
        )
    words = words[: -2 if both else -1]
    name = " ".join(words)
    match = _RANGE.match(name)
    if not match:
        return Section(name, left_hand=left_hand, texture=texture)
    first, last = int(match[1]), int(match[2] or match[1])
    if last < first:
        raise NotationError(
            f'"{entry}": bar {last} comes before bar {first}.', None, _EXAMPLE
        )
    return Section("", first, last, left_hand, texture)


def section_bars(tune: Tune, section: Section) -> tuple[int, ...]:
    """Return the indexes of the bars of a part.

    A labelled section lasts until the next label; every section of that label counts.

    Raises:
        HarmoniseError: If the tune has no such bar or no such label.
    """
    numbers, label = [], ""
    for number, bar in enumerate(tune.bars):
        label = bar.section or label
        named = section.label.casefold() == label.casefold()
        if named if section.label else section.first <= bar.number <= section.last:
            numbers.append(number)
    if numbers and (section.label or section.last <= tune.bars[-1].number):
        return tuple(numbers)
    if not section.label:
        raise HarmoniseError(
            f"The tune has no bars {section.where}.",
            None,
            f"Its last bar is {tune.bars[-1].number}.",
        )
    labels = list(dict.fromkeys(bar.section for bar in tune.bars if bar.section))
    remedy = f"Its sections are {', '.join(labels)}." if labels else "Name the bars."
    what = f'The tune has no section "{shorten(section.label)}".'
    raise HarmoniseError(what, None, remedy)


def bar_styles(tune: Tune, style: Style) -> tuple[BarStyle, ...]:
    """Return how each bar of a tune is played.

    Args:
        tune: The tune.
        style: The style, left hand and texture settled.

    Raises:
        HarmoniseError: If a part is not in the tune, or if a pattern suits none of the
            bars that it is asked for.
    """
    assert_suits(style.left_hand, (bar.time for bar in tune.bars))
    hands = [style.left_hand] * len(tune.bars)
    textures = [style.texture] * len(tune.bars)
    for section in style.sections:
        bars = section_bars(tune, section)
        if section.left_hand:
            times = (tune.bars[number].time for number in bars)
            assert_suits(section.left_hand, times, section.where)
        for number in bars:
            hands[number] = section.left_hand or hands[number]
            textures[number] = section.texture or textures[number]
    return tuple(
        BarStyle(hand if hand.suits(bar.time) else LeftHand.HELD, texture, hand)
        for bar, hand, texture in zip(tune.bars, hands, textures, strict=True)
    )
