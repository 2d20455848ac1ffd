"""The left hand at work: patterns put on the chosen chords, and what gave way."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from harmonise.choice.choose import Choice
from harmonise.choice.left_hand import dressed
from harmonise.choice.sounding import sounding_notes
from harmonise.errors import Place, Remark
from harmonise.theory.arrangement import Arrangement, LeftHand, SoundingNote, Style
from harmonise.theory.left_hand import PATTERNS
from harmonise.theory.players import PLAYERS, left_leaps
from harmonise.theory.sections import bar_styles
from harmonise.theory.tune import Tune


def played(
    tune: Tune, chosen: Choice, style: Style
) -> tuple[Choice, tuple[SoundingNote, ...]]:
    """Return the chosen chords dressed, and every note that is played.

    For a player, patterns that leap further than promised give way to a held bass.

    Args:
        tune: The tune.
        chosen: Chords and voicings as `choose` gives them.
        style: What is asked for, settled.
    """
    plain: frozenset[int] = frozenset()
    while True:
        choice = dressed(tune, chosen, style, plain)
        notes = sounding_notes(tune, choice)
        more = _too_far(notes, choice, style, plain)
        if not more:
            return choice, notes
        plain |= more


def _too_far(
    notes: tuple[SoundingNote, ...],
    choice: Choice,
    style: Style,
    plain: frozenset[int],
) -> frozenset[int]:
    """Return the slots whose pattern leaps further than the player is promised."""
    if style.player is None or not choice.left:
        return frozenset()
    most = PLAYERS[style.player].leap
    starts = choice.grid.slot_start[:-1]
    found = set()
    for (before, _), (onset, leap) in pairwise(((Fraction(0), 0), *left_leaps(notes))):
        if leap <= most:
            continue
        ticks = [int(at * choice.grid.ticks) for at in (before, onset)]
        slots = [int(starts.searchsorted(at, "right")) - 1 for at in ticks]
        found.update([slot for slot in slots if slot not in plain][:1])
    return frozenset(found)


def fallen_back(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield where a time signature sends the left hand back to the held root."""
    tune, style = arrangement.tune, arrangement.style
    if style.left_hand is LeftHand.HELD and not style.sections:
        return
    before = None
    for bar, own in zip(tune.bars, bar_styles(tune, style), strict=True):
        falls = own.asked is not own.left_hand
        if falls and before != (own.asked, bar.time):
            phrase = PATTERNS[own.asked].phrase
            what = f"{phrase} does not suit {bar.time}; the left hand holds the root."
            yield Remark("LEFT", what, Place(bar.number))
        before = (own.asked, bar.time) if falls else None
