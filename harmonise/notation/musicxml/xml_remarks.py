"""What the reader has to say, gathered while it reads.

Places are kept as crotchets until the bars are known. Remarks of one code that say
the same thing in many places are told once, with the other places named.
"""

from enum import Enum

from harmonise.errors import RemarkList


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


class XmlRemarks(RemarkList):
    """What a reader of MusicXML tells; remarks of one code are told as one."""

    likewise = "The same in"
    here_again = " The same again in this bar."
    # All but what has a beat: notes, ties, words, tempos, chords, keys.
    of_a_bar = frozenset(
        {*XmlCode} - {XmlCode(f"X{n:02}") for n in (1, 3, 13, 15, 16, *range(18, 27))}
    )
    # What is told of every place, because it says something else each time.
    alone = frozenset(map(XmlCode, ("X18", "X21", "X22", "X23", "X26")))
