"""Arrange a tune for two hands at the piano and keep the tune on top.

    from harmonise import Style, arrange, read_tune, write_score

    done = arrange(read_tune("tunes/morning_steps.txt"), Style(level=2))
    write_score(done, Path("morning_steps.musicxml"))

The names are looked up when they are first used, so that importing one room of the
package does not load all of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from harmonise.arranging.job import arrange, arrange_file
    from harmonise.errors import HarmoniseError
    from harmonise.notation.formats import read_tune, read_tunes
    from harmonise.notation.musicxml.streams import to_music21
    from harmonise.notation.outputs import write_score
    from harmonise.theory.arrangement import Arrangement, Style
    from harmonise.theory.tune import Tune

__all__ = [
    "Arrangement",
    "HarmoniseError",
    "Style",
    "Tune",
    "arrange",
    "arrange_file",
    "read_tune",
    "read_tunes",
    "to_music21",
    "write_score",
]

_HOMES = {
    "Arrangement": "harmonise.theory.arrangement",
    "HarmoniseError": "harmonise.errors",
    "Style": "harmonise.theory.arrangement",
    "Tune": "harmonise.theory.tune",
    "arrange": "harmonise.arranging.job",
    "arrange_file": "harmonise.arranging.job",
    "read_tune": "harmonise.notation.formats",
    "read_tunes": "harmonise.notation.formats",
    "to_music21": "harmonise.notation.musicxml.streams",
    "write_score": "harmonise.notation.outputs",
}


def __getattr__(name: str) -> object:
    """Return a public name from the room it lives in."""
    if name not in _HOMES:
        message = f"module 'harmonise' has no attribute '{name}'"
        raise AttributeError(message)
    return getattr(import_module(_HOMES[name]), name)
