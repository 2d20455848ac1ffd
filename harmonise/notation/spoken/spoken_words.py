"""How pitches, lengths, places, metres and chords are said aloud, and heard again.

Made for speech synthesisers: no sign that one of them reads wrongly or leaves out, no
fraction in figures, the same words always in the same order. Notes keep their octave,
C 4 being middle C. Each `say_` has a `hear_` that gives the value back; what cannot be
understood gives None.
"""

import re
from fractions import Fraction
from functools import cache

from harmonise.theory.chord import Chord, Quality
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import LETTERS, Pitch, PitchName

_SMALL = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen"),
    *("seventeen", "eighteen", "nineteen"),
)
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_ORDINALS = {
    "one": "first",
    "two": "second",
    "three": "third",
    "five": "fifth",
    "eight": "eighth",
    "nine": "ninth",
    "twelve": "twelfth",
}
_ALTERS = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
_ALTERS |= {-3: " triple flat", 3: " triple sharp"}
_CHORDS = {
    Quality.MAJOR: "",
    Quality.MINOR: " minor",
    Quality.DIMINISHED: " diminished",
    Quality.AUGMENTED: " augmented",
    Quality.DOMINANT_SEVENTH: " seven",
    Quality.MAJOR_SEVENTH: " major seven",
    Quality.MINOR_SEVENTH: " minor seven",
    Quality.HALF_DIMINISHED: " half diminished seven",
    Quality.DIMINISHED_SEVENTH: " diminished seven",
    Quality.SUSPENDED_FOURTH: " suspended four",
    Quality.SUSPENDED_SECOND: " suspended two",
    Quality.MAJOR_SIXTH: " six",
    Quality.MINOR_SIXTH: " minor six",
    Quality.POWER: " five, without third",
}
_VALUES = {
    Fraction(8, 2**halvings): name
    for halvings, name in enumerate(
        [
            "breve",
            "semibreve",
            "minim",
            "crotchet",
            "quaver",
            "semiquaver",
            "demisemiquaver",
            "hemidemisemiquaver",
        ]
    )
}
_NAME = "([A-G])( (?:double |triple )?(?:sharp|flat))?"
_ONE_BEAT = "a beat"


def say_number(number: int) -> str:
    """Return a number from 0 to 99 in words; a larger one in figures.

    >>> say_number(12), say_number(42), say_number(120)
    ('twelve', 'forty-two', '120')
    """
    if number < 20:
        return _SMALL[number]
    if number > 99:
        return str(number)
    tens, rest = divmod(number, 10)
    return _TENS[tens - 2] + (f"-{_SMALL[rest]}" if rest else "")


def _ordinal(number: int) -> str:
    """Return what a fraction's lower number is called: "third", "sixteenth"."""
    if number in (2, 4):
        return "half" if number == 2 else "quarter"
    head, dash, last = say_number(number).rpartition("-")
    if last.endswith("ty"):
        return f"{head}{dash}{last[:-1]}ieth"
    return f"{head}{dash}{_ORDINALS.get(last, f'{last}th')}"


@cache
def _numbers() -> dict[str, int]:
    return {say_number(number): number for number in range(100)}


@cache
def _lowers() -> dict[str, int]:
    return {_ordinal(number): number for number in range(2, 100)}


def hear_number(text: str) -> int | None:
    """Return the number that `say_number` said."""
    return int(text) if re.fullmatch("[0-9]{1,9}", text) else _numbers().get(text)


def say_part(part: Fraction) -> str:
    """Return a part of a beat: "a half", "one third", "three quarter".

    >>> [say_part(Fraction(n, d)) for n, d in ((1, 2), (2, 3), (5, 128))]
    ['a half', 'two third', '5 over 128']
    """
    upper, lower = part.numerator, part.denominator
    if lower == 2:
        return "a half"
    # Nobody hears what "one hundred and twenty-eighths" are; figures are clearer.
    if lower > 99:
        return f"{upper} over {lower}"
    return f"{say_number(upper)} {_ordinal(lower)}"


def hear_part(text: str) -> Fraction | None:
    """Return the part of a beat that `say_part` said."""
    if text == "a half":
        return Fraction(1, 2)
    figures = re.fullmatch(r"(\d{1,9}) over (\d{1,9})", text)
    if figures:
        upper, lower = int(figures[1]), int(figures[2])
    else:
        first, _, last = text.rpartition(" ")
        upper, lower = hear_number(first) or 0, _lowers().get(last, 0)
    return Fraction(upper, lower) if 0 < upper < lower else None


def say_beats(beats: Fraction) -> str:
    """Return a length in beats.

    >>> [say_beats(Fraction(n, 4)) for n in (1, 2, 3, 4, 6, 8, 11)][:4]
    ['one quarter of a beat', 'half a beat', 'three quarters of a beat', 'one beat']
    >>> [say_beats(Fraction(n, 4)) for n in (6, 8, 11)]
    ['one and a half beats', 'two beats', 'two and three quarter beats']
    """
    whole, part = divmod(beats, 1)
    if not part:
        return "one beat" if whole == 1 else f"{say_number(whole)} beats"
    if whole:
        return f"{say_number(whole)} and {say_part(part)} beats"
    if part == Fraction(1, 2):
        return f"half {_ONE_BEAT}"
    # "Three quarters of a beat", but "one quarter of a beat".
    plural = "s" if part.numerator > 1 and part.denominator <= 99 else ""
    return f"{say_part(part)}{plural} of {_ONE_BEAT}"


def hear_beats(text: str) -> Fraction | None:
    """Return the length in beats that `say_beats` said."""
    heard: Fraction | None
    if text == f"half {_ONE_BEAT}":
        heard = Fraction(1, 2)
    elif text.endswith(f" of {_ONE_BEAT}"):
        said = text.removesuffix(f" of {_ONE_BEAT}")
        heard = hear_part(said) or hear_part(said.removesuffix("s"))
    else:
        first, _, last = text.rpartition(" ")
        whole, _, part = first.partition(" and ")
        counted = hear_number(whole) if last in ("beat", "beats") else None
        rest = hear_part(part) if part else Fraction(0)
        heard = None if counted is None or rest is None else counted + rest
    # Only what we would say ourselves counts: "two beat" is a slip.
    return heard if heard and say_beats(heard) == text else None


def say_place(beat: Fraction) -> str:
    """Return a place in the bar: "1", "2 and a half"."""
    whole, part = divmod(beat, 1)
    return f"{whole} and {say_part(part)}" if part else str(whole)


def hear_place(text: str) -> Fraction | None:
    """Return the place in the bar that `say_place` said."""
    whole, _, part = text.partition(" and ")
    rest = hear_part(part) if part else Fraction(0)
    if rest is None or not re.fullmatch(r"\d{1,6}", whole):
        return None
    return int(whole) + rest


def say_name(name: PitchName) -> str:
    """Return a note without its octave: "F sharp", "B double flat".

    >>> say_name(PitchName(3, 1))
    'F sharp'
    """
    return LETTERS[name.letter] + _ALTERS[name.alter]


def say_pitch(pitch: Pitch) -> str:
    """Return a note with its octave: "B flat 3".

    >>> say_pitch(Pitch(6, -1, 3))
    'B flat 3'
    """
    # A minus sign may not be read out, so it is a word.
    octave = f"minus {-pitch.octave}" if pitch.octave < 0 else str(pitch.octave)
    return f"{say_name(pitch.name)} {octave}"


def hear_pitch(text: str) -> Pitch | None:
    """Return the note that `say_pitch` said."""
    match = re.fullmatch(rf"{_NAME} (minus )?(\d)", text)
    if match is None:
        return None
    letter, alter, minus, octave = match.groups("")
    alters = {said: number for number, said in _ALTERS.items()}
    high = -int(octave) if minus else int(octave)
    return Pitch(LETTERS.index(letter), alters[alter], high)


def say_chord(chord: Chord) -> str:
    """Return the name of a chord.

    >>> from harmonise.theory.chord import parse_symbol
    >>> say_chord(parse_symbol("F#m7")), say_chord(parse_symbol("C/E"))
    ('F sharp minor seven', 'C over E')
    """
    over = f" over {say_name(chord.bass)}" if chord.inversion else ""
    return f"{say_name(chord.root)}{_CHORDS[chord.quality]}{over}"


def is_chord(text: str) -> bool:
    """Whether a text is a chord as `say_chord` says it."""
    kinds = "|".join(_CHORDS.values())
    return re.fullmatch(rf"{_NAME}(?:{kinds})(?: over {_NAME})?", text) is not None


def say_time(time: TimeSignature) -> str:
    """Return a time signature and what its beat is.

    >>> say_time(TimeSignature(6, 8))
    'six eight. A beat is a quaver.'
    >>> say_time(TimeSignature(5, 4, (3, 2)))
    'five four, grouped as three and two. A beat is a crotchet.'
    """
    groups = " and ".join(say_number(group) for group in time.groups)
    grouped = f", grouped as {groups}" if groups else ""
    upper, lower = say_number(time.beats), say_number(time.beat_type)
    return f"{upper} {lower}{grouped}. A beat is {say_value(time.unit)}."


def hear_time(text: str) -> TimeSignature | None:
    """Return the time signature that `say_time` said."""
    match = re.fullmatch(
        r"(\S+) (\S+?)(?:, grouped as ([^.]*))?\. A beat is .*\.", text
    )
    if match is None:
        return None
    upper, lower = hear_number(match[1]), hear_number(match[2])
    groups = [
        hear_number(word) or 0 for word in (match[3] or "").split(" and ") if word
    ]
    if not (upper and lower):
        return None
    time = TimeSignature(upper, lower, tuple(groups))
    return time if say_time(time) == text else None


def say_pace(number: str, beat: Fraction) -> str:
    """Return how many beats of a length pass in a minute.

    >>> say_pace("96", Fraction(3, 2)), say_pace("40", Fraction(5, 2))
    ('96 dotted crotchets a minute', '40 a minute, each two and a half crotchets long')
    """
    # A beat that no single note shows has no name of its own.
    value = say_value(beat)
    if value.startswith("a "):
        return f"{number} {value.removeprefix('a ')}s a minute"
    return f"{number} a minute, each {value}"


def say_value(length: Fraction) -> str:
    """Return a note value with its article: "a dotted crotchet".

    >>> say_value(Fraction(3, 2)), say_value(Fraction(5, 2))
    ('a dotted crotchet', 'two and a half crotchets long')
    """
    if length in _VALUES:
        return f"a {_VALUES[length]}"
    if length * 2 / 3 in _VALUES:
        return f"a dotted {_VALUES[length * 2 / 3]}"
    return say_beats(length).replace("beat", "crotchet") + " long"
