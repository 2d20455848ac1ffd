"""What a page promises to the one who plays it, and whether it keeps the promise.

The rows are our own judgement of what three stages of playing manage at sight; reaches
within an octave and leaps within a tenth are common practice of graded books. Every
promise is a number that anyone can count on the page.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.rules.score_view import Score
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    Player,
    SoundingNote,
    Style,
    Texture,
)
from harmonise.theory.key import Key
from harmonise.theory.metre import half_bar_starts
from harmonise.theory.transposing import key_moved
from harmonise.theory.tune import Tune, is_quick

MOST_A_MINUTE = 120
"""Chord changes a minute that anyone is asked to follow at sight."""


class PlayerRow(NamedTuple):
    """What is known of one player.

    Attributes:
        level: Palette of chords.
        texture: What the inner notes do.
        left_hand: What the left hand does.
        quick_left: What it does under a quick tune, whose right hand is light.
        fingering: Whether fingers are printed.
        right_span: Widest reach of the right hand in semitones.
        left_span: Widest reach of the left hand in semitones.
        together: Most notes that sound at once.
        leap: Widest leap of the left hand in semitones, lowest note to lowest note.
        changes: Most chord changes in a bar.
        signs: Most sharps or flats of a key.
    """

    level: int
    texture: Texture
    left_hand: LeftHand
    quick_left: LeftHand
    fingering: bool
    right_span: int
    left_span: int
    together: int
    leap: int
    changes: int
    signs: int


PLAYERS = {
    Player.BEGINNER: PlayerRow(
        level=1, texture=Texture.HELD, left_hand=LeftHand.HELD,
        quick_left=LeftHand.CHORDS, fingering=True,
        right_span=9, left_span=7, together=4, leap=12, changes=1, signs=2,
    ),
    Player.INTERMEDIATE: PlayerRow(
        level=3, texture=Texture.AUTO, left_hand=LeftHand.AUTO,
        quick_left=LeftHand.AUTO, fingering=True,
        right_span=10, left_span=12, together=4, leap=14, changes=2, signs=4,
    ),
    Player.ADVANCED: PlayerRow(
        level=4, texture=Texture.AUTO, left_hand=LeftHand.AUTO,
        quick_left=LeftHand.AUTO, fingering=False,
        right_span=12, left_span=12, together=5, leap=19, changes=4, signs=7,
    ),
}  # fmt: skip


class Promise(NamedTuple):
    """One promise beside what the page does.

    Attributes:
        what: What is counted.
        unit: The unit, as it stands after a number.
        promised: The most that is promised.
        measured: The most that was found.
        onsets: Where more was found than promised, in crotchets; () if nowhere.
    """

    what: str
    unit: str
    promised: int
    measured: int
    onsets: tuple[Fraction, ...] = ()

    @property
    def kept(self) -> bool:
        """Whether the page keeps it."""
        return self.measured <= self.promised

    def __str__(self) -> str:
        """Return the promise in one line."""
        end = "" if self.kept else " — not kept"
        return (
            f"{self.what}: at most {self.promised}{self.unit}; "
            f"here {self.measured}{end}."
        )


def with_player(style: Style, player: Player, tune: Tune) -> Style:
    """Return a style made for a player.

    Level and reach are the player's, and so are fingering, left hand, texture and
    harmonic rhythm where the style leaves them open. A left hand or a harmonic rhythm
    that was asked for stays, and the page says where it asks for more than promised.

    Args:
        style: What was asked for.
        player: Whom the page is for.
        tune: The tune; its metres decide how often chords may change.
    """
    row = PLAYERS[player]
    texture, left_hand, rhythm = style.texture, style.left_hand, style.harmonic_rhythm
    quick = texture in (Texture.AUTO, Texture.LIGHT) and is_quick(tune)
    usual = (Texture.LIGHT, row.quick_left) if quick else (row.texture, row.left_hand)
    return style._replace(
        level=row.level,
        texture=usual[0] if texture is Texture.AUTO else texture,
        left_hand=usual[1] if left_hand is LeftHand.AUTO else left_hand,
        harmonic_rhythm=(
            _rhythm(tune, row) if rhythm is HarmonicRhythm.AUTO else rhythm
        ),
        fingering=style.fingering or row.fingering,
        # A hand that reaches less than the stage promises keeps its own reach.
        span=min(style.span, row.right_span),
        player=player,
    )


def _rhythm(tune: Tune, row: PlayerRow) -> HarmonicRhythm:
    """Return the finest harmonic rhythm that keeps the promise in every bar."""
    most = changes_allowed(tune, row.changes)
    times = {bar.time for bar in tune.bars}
    if row.changes > 2 and all(len(time.beat_starts) <= most for time in times):
        return HarmonicRhythm.AUTO
    halves = all(len(half_bar_starts(time)) <= most for time in times)
    return HarmonicRhythm.HALF_BAR if halves else HarmonicRhythm.BAR


def changes_allowed(tune: Tune, most: int) -> int:
    """Return how many chord changes a bar may have at the tune's tempo, at least one.

    Args:
        tune: The tune; its quickest tempo and shortest bar count.
        most: How many a bar may have at any tempo.
    """
    # In crotchets a minute, so that tempos in dotted beats compare.
    pace = max((mark.pace for mark in tune.tempos if mark.pace), default=None)
    if pace is None:
        return most
    length = min(bar.time.bar_length for bar in tune.bars)
    return max(1, min(most, int(MOST_A_MINUTE * length / pace)))


def promises(arrangement: Arrangement, player: Player) -> tuple[Promise, ...]:
    """Return what is promised to a player, each beside what was measured."""
    row, tune = PLAYERS[player], arrangement.tune
    moments = Score(arrangement).moments
    right = [(moment.onset, _reach(moment.right)) for moment in moments]
    left = [(moment.onset, _reach(moment.left)) for moment in moments]
    together = [(moment.onset, len(moment.notes)) for moment in moments]
    signs = [(change.onset, abs(change.key.fifths)) for change in tune.keys]
    bars = Counter(tune.bar_at(slot.onset).start for slot in arrangement.changes)
    changes, most = sorted(bars.items()), changes_allowed(tune, row.changes)
    leaps, semitones = left_leaps(arrangement.notes), " semitones"
    return (
        _promise("Reach of the right hand", semitones, row.right_span, right),
        _promise("Reach of the left hand", semitones, row.left_span, left),
        _promise("Notes at once", "", row.together, together),
        _promise("Leap of the left hand", semitones, row.leap, leaps),
        _promise("Chord changes in a bar", "", most, changes),
        _promise("Sharps or flats of the key", "", row.signs, signs),
    )


def _promise(
    what: str, unit: str, most: int, counts: Sequence[tuple[Fraction, int]]
) -> Promise:
    measured = max((count for _, count in counts), default=0)
    over = tuple(onset for onset, count in counts if count > most)
    return Promise(what, unit, most, measured, over)


def _reach(notes: Sequence[SoundingNote]) -> int:
    heights = [note.pitch.midi for note in notes]
    return max(heights, default=0) - min(heights, default=0)


def left_leaps(notes: Sequence[SoundingNote]) -> tuple[tuple[Fraction, int], ...]:
    """Return each move of the left hand, lowest note to lowest note.

    Args:
        notes: Notes of both hands, by onset and then from the lowest up.

    Returns:
        Onset of the later note, and semitones.
    """
    lowest: dict[Fraction, int] = {}
    for note in notes:
        if note.hand is Hand.LEFT:
            lowest.setdefault(note.onset, note.pitch.midi)
    steps = pairwise(lowest.items())
    return tuple((after[0], abs(after[1] - before[1])) for before, after in steps)


def format_promises(arrangement: Arrangement, player: Player) -> str:
    """Return the promises to a player line by line, with what the page does."""
    lines = [f"For {_WHO[player]}:", *map(str, promises(arrangement, player))]
    return "\n".join(lines) + "\n"


_WHO = {
    Player.BEGINNER: "a beginner",
    Player.INTERMEDIATE: "an intermediate player",
    Player.ADVANCED: "an advanced player",
}
_WHY = {
    "Leap of the left hand": (
        "The tune lies too low there for a nearer bass. Move the tune up."
    ),
    "Chord changes in a bar": "Your own chords or harmonic rhythm ask for it.",
    "Reach of the left hand": "The left hand that you asked for needs it.",
    "Notes at once": "The left hand that you asked for needs them.",
}


def unkept(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield a remark for each promise that a page does not keep, with its reason."""
    player = arrangement.style.player
    if player is None:
        return
    level, promised = arrangement.style.level, PLAYERS[player].level
    if level > promised:
        what = (
            f"The chords are those of level {level}, where {_WHO[player]} is promised "
            f"level {promised}."
        )
        yield Remark("PLAYER", what, None, "The level that you asked for has them.")
    for promise in promises(arrangement, player):
        if promise.kept:
            continue
        bars = len({arrangement.tune.bar_at(at).start for at in promise.onsets})
        often = f" It is so in {bars} bars." if bars > 1 else ""
        what = (
            f"{promise.what.lower()}: up to {promise.measured}{promise.unit}, where "
            f"{_WHO[player]} is promised {promise.promised}.{often}"
        )
        why = _WHY.get(promise.what) or _easier_key(arrangement.tune.key, promise)
        place = arrangement.tune.place(promise.onsets[0])
        yield Remark("PLAYER", what, place, why)


def _easier_key(key: Key, promise: Promise) -> str:
    """Say which key is the nearest that has few enough sharps or flats."""
    for semitones in (-1, 1, -2, 2, -3, 3, -4, 4, -5, 5, 6):
        near = key_moved(key, semitones)
        if abs(near.fifths) <= promise.promised:
            return f"It is in {key}; {near} is the nearest that is easy to read."
    return ""
