"""One running server: its limits and its workshops."""

from typing import NamedTuple

from harmonise.notation.reading.reader import LARGEST
from harmonise.page.workshop import Workshop


class Limits(NamedTuple):
    """What one request may cost.

    Attributes:
        bytes: Largest body: a file of the largest size that is read, in base64.
        seconds: Longest time from its first byte to its answer.
        arranging: Most jobs of arranging that wait or run.
        engraving: Most jobs of engraving that wait or run.
    """

    bytes: int = LARGEST * 4 // 3 + 100_000
    seconds: float = 60
    arranging: int = 48
    engraving: int = 32


USUAL = Limits()


class Site(NamedTuple):
    """One running server.

    Attributes:
        limits: What one request may cost.
        arranger: Where tunes are read and arranged, and files written.
        engraver: Where music is engraved, one score at a time.
    """

    limits: Limits
    arranger: Workshop
    engraver: Workshop

    def close(self) -> bool:
        """Give up what waits; return whether something still runs."""
        self.arranger.close()
        self.engraver.close()
        return self.arranger.works or self.engraver.works


def new_site(limits: Limits = USUAL) -> Site:
    """Return a server that has not begun."""
    return Site(
        limits,
        Workshop("arranger", 2, limits.arranging),
        Workshop("engraver", 1, limits.engraving),
    )
