"""What the reader has to say, gathered while it reads.

Places are kept as crotchets until the bars are known. Remarks of one code that say
the same thing in many places are told once, with the other places named.
"""

from collections.abc import Iterable
from enum import Enum
from fractions import Fraction

from harmonise.errors import Remark
from harmonise.notation.remark_list import Entry, RemarkList
from harmonise.theory.tune import Tune

_NAMED = 8
"""So many bars are named before the rest is counted."""


class XmlCode(Enum):
    """What a remark is about; the value is its short name."""

    PART = "X01"
    VOICES = "X02"
    CHORD = "X03"
    CUE = "X04"
    HIDDEN = "X05"
    LENGTH = "X06"
    NO_TIME = "X07"
    UNMEASURED = "X08"
    REPEAT = "X09"
    ENDING = "X10"
    BACKUP = "X11"
    GRACE = "X12"
    OVERLAP = "X13"
    STAFF = "X14"
    TIE = "X15"
    WORDS = "X16"
    SIMILE = "X17"
    TEMPO_WORDS = "X18"
    TEMPO = "X19"
    HEAPED = "X20"
    NO_CHORD = "X21"
    NEAR_CHORD = "X22"
    BASS = "X23"
    SYMBOLS = "X24"
    TRANSPOSED = "X25"
    KEY = "X26"


_OF_A_BAR = frozenset(
    {
        XmlCode.VOICES,
        XmlCode.CUE,
        XmlCode.HIDDEN,
        XmlCode.LENGTH,
        XmlCode.NO_TIME,
        XmlCode.UNMEASURED,
        XmlCode.REPEAT,
        XmlCode.ENDING,
        XmlCode.BACKUP,
        XmlCode.GRACE,
        XmlCode.STAFF,
        XmlCode.SIMILE,
    }
)
"""What concerns a bar; the rest has a beat too."""
_TOLD_ALONE = frozenset(
    {
        XmlCode.TEMPO_WORDS,
        XmlCode.NO_CHORD,
        XmlCode.NEAR_CHORD,
        XmlCode.BASS,
        XmlCode.KEY,
    }
)
"""What is told of every place, because it says something else each time."""


class XmlRemarks(RemarkList):
    """A growing list of remarks."""

    def told(self, tune: Tune) -> tuple[Remark, ...]:
        """Return the remarks with the tune's own places, in the order of the page."""
        first: dict[object, Entry] = {}
        again: dict[object, list[Fraction]] = {}
        for entry in sorted(dict.fromkeys(self._entries), key=_page_order):
            subject = entry if entry.code in _TOLD_ALONE else entry.code
            if subject not in first:
                first[subject] = entry
            elif entry.onset is not None:
                again.setdefault(subject, []).append(entry.onset)
        return tuple(
            _remark(entry, again.get(subject, ()), tune)
            for subject, entry in first.items()
        )


def _page_order(entry: Entry) -> tuple[Fraction, str]:
    return (Fraction(-1) if entry.onset is None else entry.onset, str(entry.code.value))


def _remark(entry: Entry, again: Iterable[Fraction], tune: Tune) -> Remark:
    if entry.onset is None:
        what = entry.what[:1].upper() + entry.what[1:]
        return Remark(str(entry.code.value), what, None, entry.remedy)
    place = tune.place(entry.onset)
    bars = list(dict.fromkeys(tune.place(onset).bar for onset in again))
    what = entry.what + _likewise(place.bar, bars)
    if entry.code in _OF_A_BAR:
        place = place._replace(beat=None)
    return Remark(str(entry.code.value), what, place, entry.remedy)


def _likewise(own: int, bars: list[int]) -> str:
    """Return " The same in bars 3 and 5." or the like; "" for no other place."""
    others = [bar for bar in bars if bar != own]
    if not others:
        return " The same again in this bar." if bars else ""
    named = [str(bar) for bar in others[:_NAMED]]
    if len(others) > _NAMED:
        more = len(others) - _NAMED
        return f" The same in bars {', '.join(named)} and {more} more."
    if len(named) == 1:
        return f" The same in bar {named[0]}."
    return f" The same in bars {', '.join(named[:-1])} and {named[-1]}."
