"""`K:` fields, both ways: tonic, mode, accidentals, clefs that move the octave.

The notes are always read by the exact signature. The key that is given besides is one
of our five modes; where ABC knows more (phrygian, lydian, locrian, the signatures of
klezmer), it is the key with the same signature or, if there is none, the nearest on the
same tonic, and a remark says so. Source: ABC 2.1, sections 3.1.14, 4.6, 7.1.
"""

import re
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.abc.abc_text import UnreadableError
from harmonise.notation.abc.pitches import ALTERS
from harmonise.theory.key import Key, Mode, key_of_signature, major_fifths
from harmonise.theory.pitch import LETTERS, PitchName, parse_name


class _ModeRow(NamedTuple):
    """A mode of ABC.

    Attributes:
        fifths: From the signature of the major key on the same tonic to its own.
        ours: Our mode of the same signature and, if it has one, of the same name.
        name: Its name in full where we have no such mode; else "".
        degree: Of its tonic in the major key of the same signature, for those.
    """

    fifths: int
    ours: Mode
    name: str = ""
    degree: int = 0


_MODES = {
    "maj": _ModeRow(0, Mode.MAJOR),
    "ion": _ModeRow(0, Mode.MAJOR),
    "min": _ModeRow(-3, Mode.MINOR),
    "aeo": _ModeRow(-3, Mode.AEOLIAN),
    "mix": _ModeRow(-1, Mode.MIXOLYDIAN),
    "dor": _ModeRow(-2, Mode.DORIAN),
    "phr": _ModeRow(-4, Mode.MINOR, "phrygian", 3),
    "lyd": _ModeRow(1, Mode.MAJOR, "lydian", 4),
    "loc": _ModeRow(-5, Mode.MINOR, "locrian", 7),
}
"""Section 3.1.14: only the first three letters count, in any case."""
_WRITTEN = {Mode.MAJOR: "", Mode.MINOR: "m"}
"""The two modes that have a shorter sign than their three letters."""
_LIKELY = (Mode.MAJOR, Mode.MINOR, Mode.DORIAN, Mode.MIXOLYDIAN)
_SHARPS = (3, 0, 4, 1, 5, 2, 6)
"""Letters from C in the order in which signatures add sharps; flats come backwards."""
_TONIC = r"([A-G])([#b♯♭]?)(?![#b♯♭])"
_ITEM = r"""(?x)\s*(?:
    (?P<param>(?<!\S)(?!(?i:maj|min|mix|dor|phr|lyd|loc|aeo|ion|exp))\w+)
     =(?P<value>"[^"]*"|[^\s"]+)
    |(?P<sign>\^\^?|__?|=)(?P<letter>[A-Ga-g])(?![A-Za-z])
    |(?P<word>[^\s^_="]+)
    |(?P<other>\S)
    )"""
_CLEF = r"(treble|alto|tenor|bass|perc|none)([1-5]?)([+-]8)?"
_PIPES = {3: 1, 0: 1}
"""Highland pipes sound F sharp and C sharp whether the page says so or not."""


class KeyField(NamedTuple):
    """What a `K:` field says.

    Attributes:
        alters: Semitones by letter of the signature; None where it stays as it was.
        key: The key; None where none is named.
        remark: What is to be told of it; "" for nothing.
        octaves: Octaves that notes are moved by; None where that stays.
        semitones: Semitones by which playback is told to move, octaves left out.
        candidates: Keys that the last note chooses from, for pipe tunes.
    """

    alters: dict[int, int] | None
    key: Key | None = None
    remark: str = ""
    octaves: int | None = None
    semitones: int = 0
    candidates: tuple[Key, ...] = ()


class Moves(NamedTuple):
    """How clefs and parameters move the notes of a voice.

    Attributes:
        octaves: Octaves upwards; None if nothing is said.
        semitones: Semitones upwards, at playback, octaves left out.
    """

    octaves: int | None = None
    semitones: int = 0


def format_key(key: Key) -> str:
    """Return a key as a `K:` field names it; `parse_key_field` reads it back.

    Raises:
        OutputError: If it needs more than seven sharps or flats.

    >>> from harmonise.theory.key import parse_key
    >>> format_key(parse_key("F# minor"))
    'F#m'
    """
    if abs(key.fifths) > 7:
        what = f"ABC cannot write {key}."
        raise OutputError(what, None, "Write it with seven sharps or fewer.")
    short = next(letters for letters, row in _MODES.items() if row.ours is key.mode)
    return f"{key.tonic}{_WRITTEN.get(key.mode, short)}"


def signature_alters(fifths: int) -> dict[int, int]:
    """Return the semitones by letter of a signature of sharps (flats negative).

    >>> signature_alters(-2)
    {6: -1, 2: -1}
    """
    letters = _SHARPS if fifths > 0 else _SHARPS[::-1]
    return dict.fromkeys(letters[: abs(fifths)], 1 if fifths > 0 else -1)


def parse_key_field(text: str) -> KeyField:
    """Return what a `K:` field says.

    Raises:
        UnreadableError: If it is no key of the standard.

    >>> str(parse_key_field("Amix").key), parse_key_field("D =c").key.mode.value
    ('A mixolydian', 'mixolydian')
    """
    kind = text.partition(" ")[0]
    if kind in ("HP", "Hp"):
        return _pipes(kind)
    match = re.match(_TONIC, text)
    if match is None:
        return _without_tonic(text)
    mode, signs, moves = _items(text, match.end())
    mode = mode or "maj"
    tonic = parse_name(match.group(1) + match.group(2))
    # K:D exp _b takes the accidentals for the whole signature (3.1.14).
    if mode == "exp":
        alters, fifths = signs, None
    else:
        fifths = major_fifths(tonic) + _MODES[mode].fifths
        if abs(fifths) > 7:
            what = f'K: "{text}" would need {abs(fifths)} sharps or flats.'
            raise UnreadableError(what, "Write the same sound with seven or fewer.")
        alters = signature_alters(fifths) | signs
    key, remark = _name(tonic, mode, {k: v for k, v in alters.items() if v})
    if re.match(r"\s*M\b", text[match.end() :]):
        remark = f"K:{text}: M means m here, for minor; major has no letter."
    return KeyField(alters, key, remark, *moves)


def _pipes(kind: str) -> KeyField:
    # Pipe tunes end on A, G, D, B or E of the same two sharps; the last note tells.
    modes = (Mode.MIXOLYDIAN, Mode.MAJOR, Mode.MINOR, Mode.DORIAN)
    remark = f"K:{kind}: every F and C is read as F# and C#, as the pipes sound them."
    candidates = tuple(key_of_signature(2, mode) for mode in modes)
    return KeyField(dict(_PIPES), None, remark, candidates=candidates)


def _without_tonic(text: str) -> KeyField:
    """Return a key field of "none", of nothing or of a clef alone."""
    words = text.split()
    none = not words or words[0].lower() == "none"
    # K: with nothing, "none" or a clef alone is allowed, too (3.1.14).
    if not (none or re.match(rf"{_CLEF}\b|\w+=|[_=^]", text)):
        raise UnreadableError(f'K: "{text}" is no key.', _REMEDY)
    mode, signs, moves = _items(text, len("none") if words and none else 0)
    if mode:
        raise UnreadableError(f'K: "{text}" names a mode without a tonic.', _REMEDY)
    return KeyField(signs if none or signs else None, None, "", *moves)


_REMEDY = "Write a capital letter A to G, # or b, and a mode, such as K:Ador."


def _items(text: str, start: int) -> tuple[str, dict[int, int], Moves]:
    """Return the mode, the accidentals and the moves that follow the tonic."""
    mode, signs = "", {}
    octaves, semitones = 0, 0
    moved = False
    for item in re.compile(_ITEM).finditer(text, start):
        letter, word = item["letter"], item["word"]
        if letter:
            # "K:D =c": signs after the mode change the signature (3.1.14).
            signs[LETTERS.index(letter.upper())] = ALTERS[item["sign"]]
        elif item["other"]:
            raise UnreadableError(f'K: "{text}" is no key.', _REMEDY)
        # A mode comes right after the tonic; words behind a clef are no modes.
        elif word and not mode and not moved and _mode(word):
            mode = _mode(word)
        else:
            up, moves = _move(item, text)
            octaves, semitones, moved = octaves + up, semitones + moves, True
    return mode, signs, _moves(octaves, semitones, moved=moved)


def _moves(octaves: int, semitones: int, *, moved: bool) -> Moves:
    """Return moves in whole octaves and a rest towards zero."""
    up = int(semitones / 12)
    return Moves(octaves + up if moved else None, semitones - 12 * up)


def _mode(word: str) -> str:
    """Return the three letters of a mode; "" if the word is none."""
    # "Am" is short for "A minor"; all other modes go by three letters.
    # Capitals say nothing in a mode (3.1.14), so that "EM" is E minor too.
    if word in ("m", "M"):
        return "min"
    short = word[:3].lower()
    return short if word.isalpha() and (short in _MODES or short == "exp") else ""


def _move(item: re.Match[str], text: str) -> tuple[int, int]:
    """Return the octaves and semitones that a clef or a parameter moves by."""
    name, value = (item["param"] or "").lower(), (item["value"] or "").strip('"')
    if item["word"] or name == "clef":
        clef = re.fullmatch(_CLEF, item["word"] or value)
        if clef is None and item["word"]:
            what = f'K: "{item["word"]}" is no mode and no clef of ABC 2.1.'
            raise UnreadableError(what, _REMEDY)
        # An 8 at a clef sounds where it is written to sound, an octave away (4.6).
        eight = clef[3] if clef else None
        return (int(eight) // 8 if eight else 0), 0
    if name not in ("octave", "transpose", "t"):
        return 0, 0
    if not re.fullmatch(r"[+-]?\d{1,2}", value):
        raise UnreadableError(f'K: "{text}" moves the notes by no number.')
    return (int(value), 0) if name == "octave" else (0, int(value))


def parse_moves(text: str) -> Moves:
    """Return how a `V:` field moves the notes of its voice.

    Words that are not known there are passed over, as section 7.1 asks.

    Raises:
        UnreadableError: If an octave or a transposition is no number.

    >>> parse_moves('T1 clef=treble-8 name="Tenore I"')
    Moves(octaves=-1, semitones=0)
    """
    octaves, semitones, moved = 0, 0, False
    for items in list(re.finditer(_ITEM, text))[1:]:
        if items["param"] or re.fullmatch(_CLEF, items["word"] or ""):
            up, moves = _move(items, text)
            octaves, semitones, moved = octaves + up, semitones + moves, True
    return _moves(octaves, semitones, moved=moved)


def _name(tonic: PitchName, mode: str, alters: dict[int, int]) -> tuple[Key, str]:
    """Return the key of ours that a tonic and a signature belong to, and the remark."""
    fifths = next((f for f in range(-7, 8) if signature_alters(f) == alters), None)
    if fifths is None:
        return _nearest(tonic, alters)
    named = [_MODES[mode].ours] if mode in _MODES and not _MODES[mode].name else []
    for our_mode in (*named, *_LIKELY):
        if Key(tonic, our_mode).fifths == fifths:
            return Key(tonic, our_mode), ""
    major = key_of_signature(fifths, Mode.MAJOR)
    for row in _MODES.values():
        if row.name and major.name_at(row.degree) == tonic:
            key = key_of_signature(fifths, row.ours)
            return key, (
                f"{tonic} {row.name} is not one of our modes: every note is read as "
                f"written, and the key is given as {key}, which has the same signature."
            )
    return (
        major,
        f"{tonic} with this signature is no mode: the key is given as {major}.",
    )


def _nearest(tonic: PitchName, alters: dict[int, int]) -> tuple[Key, str]:
    """Return the key on a tonic that shares most notes with an unusual signature."""
    # The third tells major from minor, so it counts before the other notes.
    third = (tonic.letter + 2) % 7
    keys = [key for key in (Key(tonic, m) for m in _LIKELY) if abs(key.fifths) <= 7]

    def distance(key: Key) -> tuple[int, bool]:
        strange = [n for n in key.scale if n.alter != alters.get(n.letter, 0)]
        return len(strange), third in {name.letter for name in strange}

    key = min(keys or [Key(PitchName(0))], key=distance)
    names = ", ".join(str(PitchName(k, v)) for k, v in sorted(alters.items()))
    return key, (
        f"The signature ({names}) belongs to no mode of ours: every note is read as "
        f"written, and the key is given as {key}, the nearest."
    )
