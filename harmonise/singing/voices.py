"""The table of singers: how low and how high each group goes, and where it is easy.

The table that comes along is `voices.toml` beside this module; users edit a copy.
"""

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import HarmoniseError, NotationError
from harmonise.theory.pitch import Pitch, parse_pitch


class Compass(NamedTuple):
    """A lowest and a highest pitch.

    Attributes:
        low: The lower one.
        high: The higher one.
    """

    low: Pitch
    high: Pitch

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
            None,
            "Write one to edit with: harmonise voices -o voices.toml",
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
    except tomllib.TOMLDecodeError as error:
        raise NotationError(
            f"The table of voices cannot be read: {error}.",
            None,
            'Each group needs a line [name] and comfortable = "C4-D5".',
        ) from error
    found = [_group(name, row) for name, row in table.items()]
    if not found:
        raise NotationError(
            "The table of voices is empty.",
            None,
            'Each group needs a line [name] and comfortable = "C4-D5".',
        )
    return tuple(found)


def _group(name: str, row: object) -> Voices:
    if not isinstance(row, dict) or "comfortable" not in row:
        raise NotationError(
            f'The voices "{name}" have no comfortable compass.',
            None,
            f'Write under [{name}]: comfortable = "C4-D5".',
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
            None,
            "Make the limits wider.",
        )
    return Voices(name, str(row.get("singers", name)), comfortable, limits)


def _compass(name: str, text: object) -> Compass:
    low, _, high = str(text).replace("–", "-").partition("-")
    try:
        compass = Compass(parse_pitch(low.strip()), parse_pitch(high.strip()))
    except HarmoniseError as error:
        raise NotationError(
            f'The voices "{name}" have the compass "{text}", which is none.',
            None,
            'Write two pitches such as "C4-D5".',
        ) from error
    if compass.low.midi > compass.high.midi:
        raise NotationError(
            f'The voices "{name}" have the compass {compass}, the higher pitch first.',
            None,
            f'Write "{compass.high}-{compass.low}".',
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
