"""What a header of a typed tune may say, and what is wrong with a word of it.

A sentence reads "Bar 3, beat 2: what. What to do. (line 5: "c'")": the place as a
player counts it, the fault, the remedy, then where the eye finds it in the text.
"""

import re
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place, seen_at, shorten
from harmonise.theory.key import Key, Mode, parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import format_alter, parse_alter, parse_name

SIGN = r"(?:##|bb|[#bnx♯♭♮𝄪𝄫])"
LETTER = re.compile(rf"([A-G])({SIGN}?)([1-8]?)$")
SMALL_LETTER = re.compile(rf"[a-g]{SIGN}?[1-8]?$")
DEGREE = re.compile(rf"({SIGN}?)([1-8])('{{1,4}}|,{{1,4}})?$")
NAMES = ("do", "re", "mi", "fa", "so", "la", "ti")
"""The names of sol-fa as singers type them, from the keynote of the major key."""
_OTHER_SPELLINGS = ("doh d", "ray r", "me m", "fah f", "sol soh s", "lah l", "te si t")
STEPS = {
    spelling: step
    for step, name in enumerate(NAMES)
    for spelling in (name, *_OTHER_SPELLINGS[step].split())
}
NAME = re.compile(
    rf"({SIGN}?)({'|'.join(STEPS)})({SIGN}?)('{{1,4}}|,{{1,4}})?$", re.IGNORECASE
)

# What follows is compiled where a fault is found, so that a tune without one, the
# usual case, does not wait for it.
_LETTER_RUN = rf"(?:[A-G]{SIGN}?[1-8]?){{2,}}$"
# One class, for "b" is a letter and a sign: two ways to read each would be 2 ** n.
_SMALL_RUN = r"[a-g][a-g#nx♯♭♮1-8]+$"
_DEGREE_RUN = rf"(?:{SIGN}?[1-8][',]*){{2,}}$"
_ONE_OF_RUN = rf"[A-Ga-g]{SIGN}?[1-8]?|{SIGN}?[1-8][',]*"
_ABC = r"""(?x)[A-Ga-g][',]+\d*/*\d*$    # c' and C, are octaves there
    | [A-Ga-gz]\d*/+\d*$          # A/2, A/ are shorter lengths
    | [a-gz]\d+$                  # c2, z4 are longer ones
    | [_^=]+[A-Ga-g]              # ^F is F sharp
    | \(\d                        # (3 begins a triplet
    | \[[A-Ga-g]                  # [CEG] is a chord
    | [A-Ga-gz]\d*[<>]            # A>B is a dotted pair
    | z$"""
_SOLFA = dict(
    zip("drmfslt", ["doh", "ray", "me", "fah", "soh", "lah", "te"], strict=True)
)


def fault(
    what: str, line: int, word: str = "", place: Place | None = None, remedy: str = ""
) -> NotationError:
    """Return the error of a fault in the text, its line and word at the end.

    >>> print(fault("this is wrong.", 5, "c'", Place(3), "Do that."))
    Bar 3: this is wrong. Do that. (line 5: "c'")
    """
    return NotationError(what, place, f"{remedy} {seen_at(line, word)}".strip())


class NoteKind(Enum):
    """How the notes of a tune are typed; the value is what sentences call it."""

    LETTERS = "letters"
    SMALL = "small letters"
    NUMBERS = "numbers"
    NAMES = "names"

    @property
    def by_key(self) -> bool:
        """Whether the notes are degrees of the key."""
        return self in (NoteKind.NUMBERS, NoteKind.NAMES)


def word_fault(word: str, key: Key | None, kind: NoteKind | None) -> tuple[str, str]:
    """Return what is wrong with a word that is no beat, and what to do (E01 to E06).

    Args:
        word: The word as typed.
        key: Key in force, if one is known.
        kind: How the tune is typed; None when that is not known yet.
    """
    parts = word.split(".")
    if "" in parts:
        return (
            "a full stop splits the beat, so something must stand on both sides of it.",
            'For a dotted note type "C -.D".',
        )
    # More are hardly meant: somebody put full stops in place of blanks.
    if len(parts) > 12:
        return f"{len(parts)} notes share one beat.", "At most 12 can."
    for part in parts:
        if part not in ("-", "0"):
            named = kind is NoteKind.NAMES
            wrong = _name_fault(part) if named else _part_fault(part, key, kind)
            if wrong:
                return wrong
    return (
        f'"{shorten(word)}" cannot be read.',
        "Type notes, with a space between beats.",
    )


def _name_fault(part: str) -> tuple[str, str] | None:
    if NAME.match(part):
        return None
    remedy = f"The names are {' '.join(NAMES)}."
    return f'"{shorten(part)}" is no name of sol-fa.', remedy


def _part_fault(
    part: str, key: Key | None, kind: NoteKind | None
) -> tuple[str, str] | None:
    numbers = kind is NoteKind.NUMBERS
    if LETTER.match(part):
        if kind is NoteKind.NUMBERS:
            return mixed_fault(part, kind, key)
        # "C2" is two beats in ABC and a very low note here; the reader asks.
        return abc_fault(part) if part.endswith("2") else None
    if DEGREE.match(part):
        return mixed_fault(part, kind, key) if kind and not numbers else None
    if re.match(r"9[',]*$", part):
        return "there is no degree 9.", "The upper 2 is 2'."
    if re.match(_ABC, part) and not (numbers and part[0] in "12345678"):
        return abc_fault(part)
    run = _SMALL_RUN if kind is NoteKind.SMALL else _LETTER_RUN
    return _slip_fault(part) or _run_fault(part, run) or _unknown_fault(part, kind)


def abc_fault(word: str) -> tuple[str, str]:
    """Return the fault of a word in another notation's spelling (E03)."""
    return (
        f'"{shorten(word)}" looks like ABC.',
        (
            'Here: C5 for the higher C, "C -" for two beats, "A.B" for half beats, 0 '
            "for a rest. Or paste the whole ABC tune with its X: and K: lines."
        ),
    )


def mixed_fault(part: str, kind: NoteKind, key: Key | None) -> tuple[str, str]:
    """Return the fault of a letter among numbers or a number among letters (E05)."""
    began = kind.value
    what = "letters and numbers in one tune."
    translated = _translated(part, key) if key else ""
    if not translated:
        return what, f"The tune began in {began}; go on in {began}."
    home = str(key.tonic) if key and key.mode is Mode.MAJOR else str(key)
    return what, f"The tune began in {began}; {part} is {translated} in {home}."


def _translated(part: str, key: Key) -> str:
    letter, degree = LETTER.match(part), DEGREE.match(part)
    if letter:
        name = parse_name(letter.group(1) + letter.group(2).strip("n♮"))
        number, alter = key.degree(name)
        return f"{format_alter(alter)}{number}"
    if degree:
        number = (int(degree.group(2)) - 1) % 7 + 1
        return str(key.name_at(number, parse_alter(degree.group(1))))
    return ""


def _slip_fault(part: str) -> tuple[str, str] | None:
    """Return the fault of a word that is nearly right, as most slips are."""
    # "C-", "C-D" and "--" are the slips of those who saw ties elsewhere.
    bare = [piece for piece in part.split("-") if piece]
    if "-" in part and all(LETTER.match(one) or DEGREE.match(one) for one in bare):
        apart = " ".join(re.findall(rf"-|{_ONE_OF_RUN}", part))
        return "each hold (-) is a word of its own.", f'Type "{shorten(apart)}".'
    # Octaves 0 and 9 are not on a piano.
    if re.match(r"[A-G].*[09]$", part) and LETTER.match(part[:-1]):
        return f"there is no octave {part[-1]}.", "Octaves go from 1 to 8."
    if re.match(rf"{SIGN}[A-G][1-8]?$", part):
        turned = re.sub(rf"^({SIGN})([A-G])", r"\2\1", part)
        return "with letters the sign follows its note.", f"Type {turned}."
    if re.match(rf"[1-8]{SIGN}[',]*$", part):
        turned = re.sub(rf"^([1-8])({SIGN})", r"\2\1", part)
        return "with numbers the sign stands before its note.", f"Type {turned}."
    return None


def _run_fault(part: str, run_of_letters: str) -> tuple[str, str] | None:
    if re.match(run_of_letters, part) or re.match(_DEGREE_RUN, part):
        notes = re.findall(_ONE_OF_RUN, part)[:4]
        return (
            f"{' and '.join(notes[:2])} run together.",
            (
                f'Put a space between beats ("{" ".join(notes)}"), or full stops '
                f'between notes that share a beat ("{".".join(notes)}").'
            ),
        )
    return None


def _unknown_fault(part: str, kind: NoteKind | None) -> tuple[str, str]:
    if kind is NoteKind.NUMBERS:
        return f'"{shorten(part)}" is not a degree.', "Degrees are 1 to 7; 0 is a rest."
    capital = part[0].upper() + part[1:]
    if part[0].islower() and LETTER.match(capital):
        solfa = (
            f" is {_SOLFA[part]} in sol-fa" if part in _SOLFA else " is no note here"
        )
        return f'small "{part}"{solfa}.', (
            f"For the note {capital} type a capital: {capital}."
        )
    if part in _SOLFA:
        return f'small "{part}" is {_SOLFA[part]} in sol-fa.', (
            "Here notes are A to G, or the degrees 1 to 7."
        )
    remedy = "Notes are A to G (the note a semitone below C is B)."
    # A long word is no note: the words of the song stand on a line of the tune.
    if len(part) > 3 and part.isalpha():
        remedy += " The words of a song go on a line that begins with Words:."
    return f'"{shorten(part)}" is not a note name.', remedy


HEADERS = (
    "Title",
    "Composer",
    "Origin",
    "Key",
    "Time",
    "Tempo",
    "Octave",
    "Signature",
    "Section",
    "Words",
    "Chords",
)
AS_TYPED = ("Title", "Composer", "Origin", "Tempo", "Section", "Words")
"""Headers that keep the quotes and dashes that were typed."""
_BY_NAME = {name.lower(): name for name in HEADERS}
_TIMES = {
    **dict.fromkeys(("c", "common", "common time"), TimeSignature(4, 4)),
    **dict.fromkeys(("c|", "cut", "cut time", "alla breve"), TimeSignature(2, 2)),
}
"""Times that have a sign or a name of their own (common practice)."""
_TIME = re.compile(
    r"(\d+(?:\+\d+)*)\s*/\s*(\d+)\s*(?:\(\s*(\d+(?:\s*\+\s*\d+)+)\s*\))?$"
)
_TEMPO = r"""(?xi)(.*?)[\s,=(]*              # words
    (?:(\d{1,2}\s*/\s*\d{1,2}|(?:dotted\s)?[a-z]+|[♩♪]\s?\.?)\s*=\s*)?  # note =
    (\d+(?:\.\d+)?)\s*(?:bpm)?\)?$"""
_NOTES = {
    **dict.fromkeys(("semibreve", "whole"), Fraction(4)),
    **dict.fromkeys(("minim", "half"), Fraction(2)),
    **dict.fromkeys(("crotchet", "quarter", "♩"), Fraction(1)),
    **dict.fromkeys(("quaver", "eighth", "♪"), Fraction(1, 2)),
    **dict.fromkeys(("semiquaver", "sixteenth"), Fraction(1, 4)),
}
"""Notes that a tempo may count, in crotchets."""
_ABC_FIELDS = {
    "T": "Title:",
    "K": "Key:",
    "M": "Time:",
    "Q": "Tempo:",
    "w": "Words:",
    "O": "Origin:",
    "C": "Composer:",
    "P": "Section:",
}
_SECTION = re.compile(r"(?:verse|chorus|refrain|bridge)\b", re.IGNORECASE)
_OTHER_NAMES = {
    "Words": "lyrics text verse",
    "Chords": "harmony",
    "Composer": "author music",
    "Origin": "source",
    "Section": "part label",
    "Title": "name",
    "Time": "meter metre",
    "Tempo": "speed bpm",
}
"""What people call headers who have not read how they are called here."""


class TypedLine(NamedTuple):
    """One line of the text that says something.

    Attributes:
        number: From 1.
        kind: The name of its header, or "tune".
        text: What follows the header; the whole line of a tune line.
        name: The name that its header bears in the text, where that is another.
    """

    number: int
    kind: str
    text: str
    name: str = ""

    @property
    def shown(self) -> str:
        """The name of its header, as sentences show it."""
        return self.name or self.kind


class TempoText(NamedTuple):
    """What a `Tempo:` line says.

    Attributes:
        per_minute: Beats a minute; None where words alone tell the tempo.
        words: Tempo words in front of the number; else "".
        beat: Length of that beat in crotchets; None for the beat that is counted.
    """

    per_minute: Fraction | None
    words: str
    beat: Fraction | None = None


def section_name(line: str) -> str:
    """Return the section that a line like "[Chorus]" or "Verse 2:" names; else "".

    >>> section_name(" [Verse 2] "), section_name("Chorus:"), section_name("C D E")
    ('Verse 2', 'Chorus', '')
    """
    bare = line.strip()
    if bare[:1] == "[" and bare[-1:] == "]":
        bare = bare[1:-1].strip()
    elif bare[-1:] == ":":
        bare = bare[:-1].strip()
    else:
        return ""
    return bare if _SECTION.match(bare) and "|" not in bare else ""


_NOTE_LIKE = re.compile(
    # Runs of letters, and the names of sharps and flats in German.
    r"[A-Ga-gnx#♯♭♮.-]+$|[A-Ha-h](?:is|e?s)$|\W*\w?\W*$"
)


def is_prose(line: str) -> bool:
    """Whether most words of a line are words of a language, and no bar line is there.

    >>> is_prose("A frog he would a-wooing go"), is_prose("C D Eb F"), is_prose("H x y")
    (True, False, False)
    """
    if re.search(r"[|\[\]\d]", line):
        return False
    words = line.split()
    return 2 * sum(not _NOTE_LIKE.match(word) for word in words) > len(words)


def header_kind(name: str, line: int) -> str:
    """Return the header that a name means, in any case of letters.

    Raises:
        NotationError: If there is none; close spellings are offered.
    """
    header = _BY_NAME.get(name.lower())
    if header:
        return header
    # Such a text is known as sol-fa by its first lines; here one came too late.
    if name.lower() in ("doh", "lah"):
        what = f"{name}: begins a tune in tonic sol-fa, which cannot be read here."
        raise fault(what, line, remedy="Type the tune in letters or numbers.")
    # Fields of one letter are ABC: the whole tune can be pasted.
    if len(name) == 1:
        here = (
            f"Here it is {_ABC_FIELDS[name]}; or" if name in _ABC_FIELDS else "If so,"
        )
        remedy = f"{here} paste the whole ABC tune with its X: and K: lines."
        raise fault(f'"{name}:" looks like ABC.', line, remedy=remedy)
    raise fault(f'"{name}:" is not a header.', line, remedy=nearest_header(name))


def nearest_header(name: str, headers: tuple[str, ...] = HEADERS) -> str:
    """Return which header may have been meant, or the list of all."""
    from difflib import get_close_matches  # noqa: PLC0415  (slow to load, seldom used)

    if _SECTION.match(name):
        return f"If a section begins here, type Section: {name} on a line of its own."
    meant = {other.lower(): other for other in headers}
    meant |= {
        other: header
        for header, others in _OTHER_NAMES.items()
        for other in others.split()
        if header in headers
    }
    # Most unknown headers are slips of typing or words of other programs.
    close = get_close_matches(name.lower(), list(meant), 1, 0.6)
    if not close:
        return f"The headers are {', '.join(headers[:-1])} and {headers[-1]}."
    return f"Did you mean {meant[close[0]]}:?"


def time_value(line: TypedLine) -> TimeSignature:
    """Return the time signature of a `Time:` line, such as 6/8 or 5/4 (2+3).

    Raises:
        NotationError: If it is none, or beyond what is printed (32 beats).
    """
    if known := _TIMES.get(line.text.lower()):
        return known
    match = _TIME.match(line.text)
    # Endless figures must not become endless numbers.
    upper = [int(number[:9]) for number in match.group(1).split("+")] if match else [0]
    lower = int(match.group(2)[:9]) if match else 0
    groups = tuple(upper) if len(upper) > 1 else ()
    if match and match.group(3):
        groups = tuple(int(number[:9]) for number in match.group(3).split("+"))
    # "5/4 (2+3)" tells the groups besides the sum; both must agree.
    agree = not groups or (sum(groups) == sum(upper) and 0 not in groups)
    if agree and 1 <= sum(upper) <= 32 and lower in (1, 2, 4, 8, 16, 32):
        return TimeSignature(sum(upper), lower, groups)
    raise fault(
        "Time: two numbers with a stroke, such as 4/4, 3/4 or 6/8; 5/4 (2+3) names the "
        "groups.",
        line.number,
        line.text,
    )


def key_value(line: TypedLine) -> Key:
    """Return the key of a `Key:` line.

    Raises:
        NotationError: E12.
    """
    try:
        return parse_key(line.text)
    except NotationError as error:
        remedy = error.remedy
        raise fault(error.what, line.number, line.text, remedy=remedy) from None


def tempo_value(line: TypedLine) -> TempoText:
    """Return the tempo of a `Tempo:` line: words, beats a minute, or both.

    A number counts the beat of the metre, or the note that is told: `1/8 = 120`.

    Raises:
        NotationError: If there is a number that is none from 10 to 400.

    >>> tempo_value(TypedLine(1, "Tempo", "Slowly, dotted crotchet = 40"))
    TempoText(per_minute=Fraction(40, 1), words='Slowly', beat=Fraction(3, 2))
    """
    if line.text and not re.search(r"[\d=]", line.text):
        return TempoText(None, line.text)
    found = re.match(_TEMPO, line.text)
    said, note, number = found.groups(default="") if found else ("", "", "0")
    beat = _counted_note(note) if note else None
    # "Slowly = 60" and "M.M. = 60" count no note that has a name.
    words = f"{said} {note}".strip() if note and not beat else said.strip()
    known = beat or not any(map(str.isdigit, note))
    if known and len(number) < 9 and 10 <= Fraction(number) <= 400:
        return TempoText(Fraction(number), words, beat)
    what = "Tempo: beats a minute, from 10 to 400."
    remedy = "Type one such as Tempo: 96, Tempo: Slowly 60 or Tempo: 1/8 = 120."
    raise fault(what, line.number, line.text, remedy=remedy)


def _counted_note(text: str) -> Fraction | None:
    """Return the length of a note that a tempo counts, in crotchets; None if none."""
    upper, stroke, lower = (part.strip() for part in text.partition("/"))
    if stroke:
        plain = 0 < int(upper) <= 12 and int(lower) in (1, 2, 4, 8, 16, 32)
        return Fraction(4 * int(upper), int(lower)) if plain else None
    name = text.lower().rstrip(" .")
    length = _NOTES.get(name.removeprefix("dotted").strip())
    dotted = name.startswith("dotted") or text.endswith(".")
    return length * Fraction(3, 2) if length and dotted else length


def section_value(line: TypedLine) -> str:
    """Return the name of a `Section:` line.

    Raises:
        NotationError: If it has none.
    """
    if line.text:
        return " ".join(line.text.split())
    remedy = "Type one such as Section: Chorus."
    raise fault("Section: needs a name.", line.number, remedy=remedy)


def octave_value(line: TypedLine) -> int:
    """Return the octave of an `Octave:` line, 1 to 8.

    Raises:
        NotationError: If it is none.
    """
    if re.match(r"[1-8]$", line.text):
        return int(line.text)
    what = "Octave: one number from 1 to 8; octave 4 begins at middle C."
    raise fault(what, line.number, line.text)


def signature_value(line: TypedLine) -> bool:
    """Return whether letters are read under the key signature.

    Raises:
        NotationError: If it is neither on nor off.
    """
    value = line.text.lower()
    if value in ("on", "off", "yes", "no"):
        return value in ("on", "yes")
    raise fault("Signature: on or off.", line.number, line.text)
