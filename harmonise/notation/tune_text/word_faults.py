"""What is wrong with a word of a typed tune, and what its notes look like.

A sentence reads "Bar 3, beat 2: what. What to do. (line 5: "c'")": the place as a
player counts it, the fault, the remedy, then where the eye finds it in the text.
"""

import re
from enum import Enum

from harmonise.errors import NotationError, Place, seen_at, shorten
from harmonise.theory.key import Key, Mode
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
NAME = re.compile(rf"({SIGN}?)((?i:{'|'.join(STEPS)}))({SIGN}?)('{{1,4}}|,{{1,4}})?$")

_LONGEST = 500
"""Letters of a word that are looked at; a pattern keeps a hundred bytes for each."""
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
    # Where a word of a million letters is wrong, its beginning tells why.
    parts = [part[:_LONGEST] for part in word.split(".")]
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
    # Books and other programs have slurs, commas and strokes between notes.
    plain = re.sub(r"[,;/()]+", " ", part).split()
    if all(LETTER.match(one) or DEGREE.match(one) for one in plain):
        sign = next((sign for sign in part if sign in ",;/()"), "")
        remedy = f'Type "{shorten(" ".join(plain))}".' if plain else "A bar line is |."
        return (f'"{sign}" is no sign here.', remedy) if sign else None
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


_NOTE_LIKE = re.compile(
    # Runs of letters, and the names of sharps and flats in German.
    r"[A-Ga-gnx#♯♭♮.-]+$|[A-Ha-h](?:is|e?s)$"
)


def is_prose(line: str) -> bool:
    """Whether most words of a line are words of a language, and no bar line is there.

    >>> is_prose("A frog he would a-wooing go"), is_prose("C D Eb F"), is_prose("H x y")
    (True, False, False)
    """
    if re.search(r"[|\[\]\d]", line):
        return False
    words = line.split()
    long = [word for word in words if sum(map(str.isalpha, word)) > 1]
    return 2 * sum(not _NOTE_LIKE.match(word) for word in long) > len(words)
