"""Who sings: how low and how high each group goes, and which keys suit a tune and them.

The table of groups that comes along is `voices.toml` beside this module; users edit a
copy. Keys are ranked by trying every shift from eleven semitones down to eleven up, and
an octave further where none of them suits low or high voices. Keys in which the whole
tune is comfortable come first, then those within the outer limits with at least four
fifths of the singing comfortable, then the others within the limits; among equals the
key with fewer sharps or flats, then the smaller shift (common practice). Where none
fits, the keys that go least beyond the limits are told as the least bad.
"""

import tomllib
from enum import IntEnum
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import (
    HarmoniseError,
    MelodyError,
    NotationError,
    shorten,
    table_fault,
)
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch, parse_pitch
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import Tune


class Compass(NamedTuple):
    """A lowest and a highest pitch.

    Attributes:
        low: The lower one.
        high: The higher one.
    """

    low: Pitch
    high: Pitch

    @property
    def width(self) -> int:
        """Semitones from one to the other."""
        return self.high.midi - self.low.midi

    def __str__(self) -> str:
        """Return both, as pages print a compass: C4–D5."""
        return f"{self.low}–{self.high}"


class Voices(NamedTuple):
    """A group of singers.

    Attributes:
        name: What it is called by, such as "congregation".
        singers: Who they are, in words.
        comfortable: Where most notes should lie.
        limits: What a song may touch; the comfortable compass where none are given.
    """

    name: str
    singers: str
    comfortable: Compass
    limits: Compass


def own_table() -> str:
    """Return the table that comes along, as text."""
    return files(__package__).joinpath("voices.toml").read_text("utf-8")


def read_voices(path: Path | None = None) -> tuple[Voices, ...]:
    """Return the groups of a table, in its order.

    Args:
        path: A table of the user's; None for the one that comes along.

    Raises:
        NotationError: If it cannot be read, with the group at fault.
    """
    if path is None:
        return parse_voices(own_table())
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise NotationError(
            f"The table of voices {path} cannot be read.",
            remedy="Write one to edit with: harmonise singers -o voices.toml",
        ) from error
    return parse_voices(text)


def parse_voices(text: str) -> tuple[Voices, ...]:
    r"""Return the groups of a table's text.

    Raises:
        NotationError: If it is not a table of voices, with the group at fault.

    >>> parse_voices('[choir]\ncomfortable = "C4-C5"')[0].comfortable.low.midi
    60
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise NotationError(
            f"The table of voices cannot be read: {table_fault(error)}.",
            remedy='Each group needs a line [name] and comfortable = "C4-D5".',
        ) from error
    groups = [_group(name, row) for name, row in table.items()]
    if not groups:
        raise NotationError(
            "The table of voices is empty.",
            remedy='Each group needs a line [name] and comfortable = "C4-D5".',
        )
    return tuple(groups)


def _group(name: str, row: object) -> Voices:
    if not isinstance(row, dict) or "comfortable" not in row:
        raise NotationError(
            f'The voices "{name}" have no comfortable compass.',
            remedy=f'Write under [{name}]: comfortable = "C4-D5".',
        )
    comfortable = _compass(name, row["comfortable"])
    limits = _compass(name, row.get("limits", row["comfortable"]))
    inside = (
        limits.low.midi <= comfortable.low.midi
        and comfortable.high.midi <= limits.high.midi
    )
    if not inside:
        raise NotationError(
            f'The voices "{name}" are comfortable beyond their limits, {comfortable} '
            f"against {limits}.",
            remedy="Make the limits wider.",
        )
    return Voices(name, str(row.get("singers", name)), comfortable, limits)


def _compass(name: str, text: object) -> Compass:
    low, _, high = str(text).replace("–", "-").partition("-")
    try:
        compass = Compass(parse_pitch(low.strip()), parse_pitch(high.strip()))
    except HarmoniseError as error:
        raise NotationError(
            f'The voices "{name}" have the compass "{shorten(str(text))}", which is '
            "none.",
            remedy='Write two pitches such as "C4-D5".',
        ) from error
    if compass.low.midi > compass.high.midi:
        raise NotationError(
            f'The voices "{name}" have the compass {compass}, the higher pitch first.',
            remedy=f'Write "{compass.high}-{compass.low}".',
        )
    return compass


def voices_named(name: str, table: tuple[Voices, ...]) -> Voices:
    """Return a group by its name.

    Raises:
        NotationError: If the table has none of that name; all names are told.
    """
    for voices in table:
        if voices.name == name:
            return voices
    names = ", ".join(voices.name for voices in table)
    raise NotationError(
        f'There are no voices "{name}".', None, f"Choose from: {names}."
    )


MOST = Fraction(4, 5)
"""How much of the singing should be comfortable."""
_FARTHEST = 11


class Fit(IntEnum):
    """How well a key suits singers; lower is better."""

    COMFORTABLE = 0
    WITHIN = 1
    STRAINED = 2
    BEYOND = 3


class KeyFit(NamedTuple):
    """A key for a tune and how it suits the singers.

    Attributes:
        key: The key.
        semitones: How far the tune moves, up or (negative) down.
        compass: Lowest and highest note there.
        fit: How well it suits.
        share: How much of the singing time is comfortable, 0 to 1.
        beyond: Semitones by which the tune passes the limits, both ends together.
        reason: Why it stands where it does, in one sentence.
    """

    key: Key
    semitones: int
    compass: Compass
    fit: Fit
    share: Fraction
    beyond: int
    reason: str


def compass_of(tune: Tune) -> Compass:
    """Return the lowest and the highest note of a tune.

    Raises:
        MelodyError: If it has none.
    """
    pitches = [note.pitch for note in tune.sounding if note.pitch]
    if not pitches:
        raise MelodyError("There is no note in this tune.")
    ordered = sorted(pitches, key=lambda pitch: pitch.midi)
    return Compass(ordered[0], ordered[-1])


def rank_keys(tune: Tune, voices: Voices, *, flat: bool = False) -> tuple[KeyFit, ...]:
    """Return the keys within reach, the best for the singers first.

    Args:
        tune: The tune.
        voices: Who sings.
        flat: Whether six flats are taken for six sharps.

    Raises:
        MelodyError: If the tune has no note.
    """
    compass = compass_of(tune)

    def within(farthest: int) -> list[KeyFit]:
        shifts = range(-farthest, farthest + 1)
        keys = [(key_moved(tune.key, shift, flat=flat), shift) for shift in shifts]
        fits = [_fit(tune, compass, voices, *there) for there in keys]
        return sorted(fits, key=_order)

    ranked = within(_FARTHEST)
    if ranked[0].fit is Fit.BEYOND and compass.width <= voices.limits.width:
        ranked = within(_FARTHEST + 12)  # Low or high voices, an octave away.
    return tuple(ranked)


def fit_there(tune: Tune, there: Tune, voices: Voices) -> KeyFit:
    """Return how a key suits singers to which a tune was moved.

    Args:
        tune: The tune as it was.
        there: The same tune in the key.
        voices: Who sings.
    """
    compass = compass_of(tune)
    shift = compass_of(there).low.midi - compass.low.midi
    # The piano's octave need not be that of the singers: men sing below it.
    octaves = (shift + octave for octave in (0, -12, 12, -24))
    fits = [_fit(tune, compass, voices, there.key, octave) for octave in octaves]
    return min(fits, key=_order)


def _order(key_fit: KeyFit) -> tuple[int, int, int, int, int]:
    signs = abs(key_fit.key.fifths)
    return key_fit.fit, key_fit.beyond, signs, abs(key_fit.semitones), key_fit.semitones


def _fit(
    tune: Tune, compass: Compass, voices: Voices, key: Key, semitones: int
) -> KeyFit:
    low, high = compass.low.midi + semitones, compass.high.midi + semitones
    easy, limits = voices.comfortable, voices.limits
    beyond = max(0, limits.low.midi - low) + max(0, high - limits.high.midi)
    share = _share(tune, easy, semitones)
    if beyond:
        fit = Fit.BEYOND
    elif easy.low.midi <= low and high <= easy.high.midi:
        fit = Fit.COMFORTABLE
    else:
        fit = Fit.WITHIN if share >= MOST else Fit.STRAINED
    there = compass_of(transposed(tune, key, semitones))
    key_fit = KeyFit(key, semitones, there, fit, share, beyond, "")
    return key_fit._replace(reason=_reason(key_fit, voices))


def _share(tune: Tune, easy: Compass, semitones: int) -> Fraction:
    """Return the part of the singing time that is comfortable."""
    low, high = easy.low.midi - semitones, easy.high.midi - semitones
    sung = [(note.length, note.pitch.midi) for note in tune.sounding if note.pitch]
    inside = (length for length, midi in sung if low <= midi <= high)
    return sum(inside, Fraction(0)) / sum(length for length, _ in sung)


def _reason(key_fit: KeyFit, voices: Voices) -> str:
    """Return why a key stands where it does."""
    if key_fit.fit is Fit.COMFORTABLE:
        verdict = "every note is comfortable"
    elif key_fit.fit is Fit.BEYOND:
        verdict = _how_far(key_fit, voices)
    else:
        percent = round(100 * key_fit.share)
        few = ", which is little" if key_fit.fit is Fit.STRAINED else ""
        verdict = (
            f"within the limits {voices.limits}, {percent} % of the singing is "
            f"comfortable{few}"
        )
    way = "where it is"
    if key_fit.semitones:
        up = "up" if key_fit.semitones > 0 else "down"
        way = f"{_count(abs(key_fit.semitones), 'semitone')} {up}"
    fifths = key_fit.key.fifths
    signs = _count(abs(fifths), "sharp" if fifths > 0 else "flat")
    signs = signs if fifths else "no sharps or flats"
    return f"{key_fit.key}, {way}: {key_fit.compass}; {verdict}; {signs}."


def _how_far(key_fit: KeyFit, voices: Voices) -> str:
    (lowest, highest), limits = key_fit.compass, voices.limits
    low = limits.low.midi - lowest.midi, f"{lowest} is", "too low"
    high = highest.midi - limits.high.midi, f"{highest} is", "too high"
    return " and ".join(
        f"{name} {_count(over, 'semitone')} {way}"
        for over, name, way in (low, high)
        if over > 0
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def format_ranking(
    tune: Tune, voices: Voices, ranked: tuple[KeyFit, ...], most: int = 5
) -> str:
    """Return what a user reads: the tune's compass, and the keys that suit, ranked.

    Args:
        tune: The tune as it is.
        voices: Who sings.
        ranked: Keys as `rank_keys` orders them.
        most: How many keys are told at most.
    """
    head = (
        f"Compass {compass_of(tune)}. For {voices.singers}: comfortable "
        f"{voices.comfortable}, limits {voices.limits}."
    )
    fitting = [key.reason for key in ranked if key.fit is not Fit.BEYOND][:most]
    if fitting:
        rows = [f"  {number}. {reason}" for number, reason in enumerate(fitting, 1)]
        return "\n".join([head, *rows])
    wide = compass_of(tune).width - voices.limits.width
    what = f"No key fits: the tune is {_count(wide, 'semitone')} too wide for them."
    return "\n".join([head, what, f"  The least bad: {ranked[0].reason}"])
