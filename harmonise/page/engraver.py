"""Engraving for the page, with a small memory of scores that were engraved before."""

from functools import lru_cache

from harmonise.notation.engraving import Look, System, engrave
from harmonise.notation.writing.musicxml import format_musicxml
from harmonise.page.asked import Asked
from harmonise.page.drawn import for_page
from harmonise.page.jobs import arranged
from harmonise.page.marks import Marks, marks_of
from harmonise.theory.arrangement import Arrangement

LOOK = Look(width=200)


def engraved(asked: Asked) -> tuple[Arrangement, tuple[System, ...], Marks]:
    """Return an arrangement, its lines of music and where its notes stand in them.

    Lines begin where those of the same arrangement without locks do: so nothing jumps
    when a chord is swapped, and nothing is measured again.

    Raises:
        HarmoniseError: If it cannot be arranged or engraved.
    """
    done = arranged(asked)
    musicxml = format_musicxml(done)
    starts = _starts(asked._replace(locks=())) if asked.locks else ()
    return done, lines(musicxml, starts), marks_of(done, musicxml)


@lru_cache(maxsize=16)
def _starts(asked: Asked) -> tuple[str, ...]:
    """Return the ids of the bars that lines begin with."""
    systems = lines(format_musicxml(arranged(asked)), ())
    return tuple(system.bars[0] for system in systems)


@lru_cache(maxsize=16)
def lines(musicxml: bytes, starts: tuple[str, ...]) -> tuple[System, ...]:
    """Return the lines of music of a score, ready for the page.

    Args:
        musicxml: The score.
        starts: Ids of the bars that lines begin with; () to find them.

    Raises:
        OutputError: If it cannot be engraved.
    """
    return for_page(engrave(musicxml, LOOK, starts))
