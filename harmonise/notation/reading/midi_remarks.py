"""What the MIDI reader has to say."""

from enum import Enum


class Code(Enum):
    """What a remark is about; the value is its short name."""

    PART = "Q01"
    CHORD = "Q02"
    NO_TIME = "Q03"
    SILENCE = "Q04"
    MOVED = "Q05"
    FAR = "Q06"
    GRACE = "Q07"
    KEY = "Q08"
    TEMPO = "Q09"
    WORDS = "Q10"


def count(number: int, noun: str) -> str:
    """Return a number with its noun: "1 note", "2 notes"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
