"""The names of tonic sol-fa and the notes they stand for; its measures and headers.

Names stand for degrees above doh: `d r m f s l t`; the vowel e raises a note by a
semitone (`de re fe se le`), the vowel a lowers it (`ra ma sa la ta`), and `ba` is the
raised sixth of the minor, below `se`. Doh lies in C4–B4 when it bears no octave mark.
Tables of the Standard Course of tonic sol-fa, 19th century (common practice).

`|` stands before the strong pulse, `!` before a medium one, `:` before a weak one. Two,
three and four pulses are crotchets, six, nine and twelve are the quavers of 6/8, 9/8
and 12/8 (common practice), unless a `Time:` line tells another note for the pulse.
Headers are those of tune text, with `Doh:` or `Lah:` in place of `Key:`.

`:.s | d :d` begins with half a pulse. The silence is no part of the tune, so the reader
drops it, and with it the silence at the end of a full last bar that only gives the
pickup back; the writer fills both in again.
"""

import re
from fractions import Fraction
from typing import TypeVar

from harmonise.errors import NotationError
from harmonise.notation.tune_text.typed_headers import (
    AS_TYPED,
    HEADERS,
    TypedLine,
    nearest_header,
    section_name,
)
from harmonise.notation.tune_text.typed_lines import TextKind, short_enough
from harmonise.notation.tune_text.word_faults import (
    fault,
)
from harmonise.theory.key import Key, Mode, key_of_signature, parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.slices import later_tune
from harmonise.theory.tune import ChordAt, KeyChange, Tempo, Tune, TuneNote

_ROWS = {
    0: ("d", "r", "m", "f", "s", "l", "t"),
    1: ("de", "re", "", "fe", "se", "le", ""),
    -1: ("", "ra", "ma", "", "sa", "la", "ta"),
}
NAMES = {
    name: (step, alter)
    for alter, row in _ROWS.items()
    for step, name in enumerate(row)
    if name
} | {"ba": (3, 1)}
"""Steps above doh and the alteration against its major scale."""

NAME = "|".join(sorted(NAMES, key=len, reverse=True))
"""The names as a pattern, the longer first."""

UP_SIGNS, DOWN_SIGNS = "¹²³⁴", "₁₂₃₄"
_MOST_OCTAVES = 4

_TONICS = {"ray": Mode.DORIAN, "soh": Mode.MIXOLYDIAN, "lah": Mode.AEOLIAN}
_VALUE = re.compile(
    r"([A-G](?:##|bb|[#b♯♭]| (?:flat|sharp))?)[\s,(]*(?:(ray|soh|lah)\s+mode)?\)?\.?$",
    re.IGNORECASE,
)
_USUAL = {
    2: (2,),
    3: (3,),
    4: (2, 2),
    5: (3, 2),
    6: (3, 3),
    7: (2, 2, 3),
    9: (3, 3, 3),
    12: (3, 3, 3, 3),
}
"""Pulses of a bar, in the groups that a strong or medium accent begins."""
_GROUPS = {(2, 3), (2, 3, 2), (3, 2, 2), *_USUAL.values()}
UNTOLD = TimeSignature(0, 4)
"""Stands for the time signature while no line tells one: the accents are counted."""
DOUBLE = "||"
ACCENTS = ("|", "!", ":")
SOLFA_HEADERS = (
    *("Title", "Composer", "Origin", "Doh", "Lah", "Time", "Tempo", "Section"),
    *("Words", "Chords"),
)
_HEADER = re.compile(r"\s*([^\W\d_][^\W\d_]{2,})\s*:(.*)", re.DOTALL)
_NAMES_ONLY = re.compile(rf"(?:{NAME}){{3,}}$")
_TYPED = str.maketrans("—−–‐‑‚∣｜¦！：", "-----,|||!:") | {ord("‖"): DOUBLE}
"""Signs that word processors put in place of ours; quotes mean something here."""
_PIECES = re.compile(r"(\|\||[|!:])")
_NOT_HERE = {
    "Octave": "Doh without a mark lies in C4–B4; type d¹ and d₁ for other octaves.",
    "Signature": "The names follow the key.",
}


def doh_of(key: Key) -> PitchName:
    """Return the doh of a key: its keynote in major, the third above it in minor.

    >>> from harmonise.theory.key import parse_key
    >>> str(doh_of(parse_key("C minor")))
    'Eb'
    """
    return key_of_signature(key.fifths, Mode.MAJOR).tonic


def solfa_pitch(name: str, octaves: int, key: Key) -> Pitch:
    """Return the pitch of a name.

    Args:
        name: One of `NAMES`.
        octaves: Octave marks; below are negative.
        key: The key in force.
    """
    doh = doh_of(key)
    step, alter = NAMES[name]
    over, letter = divmod(doh.letter + step, 7)
    scale = Key(doh).scale
    return Pitch(letter, scale[step].alter + alter, 4 + octaves + over)


def solfa_name(pitch: Pitch, key: Key) -> str:
    """Return the name of a pitch with its octave marks; "" if it has none.

    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.pitch import parse_pitch
    >>> solfa_name(parse_pitch("F#4"), parse_key("G")), NAMES["t"]
    ('t₁', (6, 0))
    """
    doh = doh_of(key)
    octaves, step = divmod(pitch.staff_step - 28 - doh.letter, 7)
    alter = pitch.alter - Key(doh).scale[step].alter
    names = [name for name, meant in NAMES.items() if meant == (step, alter)]
    if not names or abs(octaves) > _MOST_OCTAVES:
        return ""
    # The raised sixth of the minor is "ba", of the major "fe": one note, two names.
    name = names[-1] if key.mode is Mode.MINOR else names[0]
    return name + (UP_SIGNS if octaves > 0 else DOWN_SIGNS)[abs(octaves) - 1] * bool(
        octaves
    )


def parse_solfa_key(header: str, value: str) -> Key:
    """Return the key of a `Doh:` or `Lah:` line.

    Doh is the keynote of a major key, lah that of a minor one. The books name the
    other modes after their keynote: `Doh: C (ray mode)` is D dorian.

    Raises:
        NotationError: If it is none.

    >>> str(parse_solfa_key("Lah", "C")), str(parse_solfa_key("Doh", "C (ray mode)"))
    ('C minor', 'D dorian')
    """
    match = _VALUE.match(value)
    # Lah names the keynote of a minor key; a mode besides would contradict it.
    if not match or (match.group(2) and header == "Lah"):
        what = f"{header}: one letter A–G, with # or b, such as {header}: Eb."
        raise NotationError(what, None, "In minor keys tell lah: Lah: C is C minor.")
    tonic = match.group(1)[0].upper() + match.group(1)[1:]
    if header == "Lah":
        return parse_key(f"{tonic} minor")
    key = parse_key(tonic)
    if not match.group(2):
        return key
    return key_of_signature(key.fifths, _TONICS[match.group(2).lower()])


def format_solfa_key(key: Key) -> str:
    """Return the header of a key; `parse_solfa_key` reads it back.

    >>> from harmonise.theory.key import parse_key
    >>> format_solfa_key(parse_key("G mixolydian"))
    'Doh: C (soh mode)'
    """
    if key.mode is Mode.MINOR:
        return f"Lah: {key.tonic}"
    mode = {mode: name for name, mode in _TONICS.items()}.get(key.mode)
    return f"Doh: {doh_of(key)}" + (f" ({mode} mode)" if mode else "")


def pattern_of(time: TimeSignature) -> str:
    """Return the accents of a full bar, "" where the old books have none.

    >>> pattern_of(TimeSignature(6, 8))
    '|::!::'
    """
    groups = time.groups or _USUAL.get(time.beats, ())
    if groups not in _GROUPS or sum(groups) != time.beats:
        return ""
    bar = "".join("!" + ":" * (size - 1) for size in groups)
    return f"|{bar[1:]}"


def time_of(accents: str) -> TimeSignature | None:
    """Return the time signature of a full bar's accents; None if they make none.

    A bar without a medium accent is read by its number of pulses.

    >>> str(time_of("|:!:")), str(time_of("|:!::"))
    ('4/4', '2+3/4')
    """
    groups = groups_of(accents)
    beats = len(accents)
    # Without a medium accent the number of pulses alone tells the groups.
    if len(groups) == 1:
        groups = _USUAL.get(beats, ())
    if groups not in _GROUPS:
        return None
    # Only fives and sevens are grouped in more than one way.
    named = groups if beats in (5, 7) else ()
    return TimeSignature(beats, 8 if beats in (6, 9, 12) else 4, named)


def groups_of(accents: str) -> tuple[int, ...]:
    """Return how many pulses each strong or medium accent holds."""
    return tuple(len(part) + 1 for part in accents[1:].split("!"))


def spaced(accents: str) -> str:
    """Return accents as a sentence shows them: | : ! :."""
    return " ".join(accents)


def _line(number: int, plain: str) -> TypedLine:
    if section := section_name(plain):
        return TypedLine(number, "Section", section)
    match = _HEADER.match(plain)
    if not match or _NAMES_ONLY.match(match.group(1)):
        return TypedLine(number, "tune", plain.translate(_TYPED).strip())
    name, value = match.group(1), match.group(2).strip()
    kind = _kind(name, value, number)
    if kind in ("Doh", "Lah"):
        return short_enough(TypedLine(number, "Key", value.translate(_TYPED), kind))
    if kind not in AS_TYPED:
        value = value.translate(_TYPED)
    return short_enough(TypedLine(number, kind, value))


def _kind(name: str, value: str, number: int) -> str:
    """Return the header that a name means."""
    word = name.capitalize()
    if word in SOLFA_HEADERS:
        return word
    if word == "Key":
        letter = re.match(r"[A-G][#b]?", value)
        tonic = letter.group() if letter else "C"
        kind = "Lah" if "min" in value.lower() else "Doh"
        remedy = f"Type {kind}: {tonic}."
        raise fault("Sol-fa tells its key by Doh: or Lah:.", number, remedy=remedy)
    if word in HEADERS:
        raise fault(f"{word}: has no place in sol-fa.", number, remedy=_NOT_HERE[word])
    remedy = nearest_header(name, SOLFA_HEADERS)
    raise fault(f'"{name}:" is not a header.', number, remedy=remedy)


def _tokens(text: str) -> list[str]:
    """Return accents, double bars and what stands between them, without blanks."""
    return [piece for piece in map(str.strip, _PIECES.split(text)) if piece]


def _key(line: TypedLine) -> Key:
    try:
        return parse_solfa_key(line.name, line.text)
    except NotationError as error:
        what = error.what.removeprefix("Key: ")
        raise fault(what, line.number, line.text, remedy=error.remedy) from None


SOLFA = TextKind(_line, _tokens, _key, UNTOLD, "| d :m | s :m | f :l | s :- |")
"""How lines of tonic sol-fa are read."""


def without_filling(tune: Tune) -> Tune:
    """Return a tune without the silence that fills up the pulse of its pickup."""
    bar, first = tune.bars[0], tune.notes[0]
    if not bar.offset or first.pitch or first.length >= bar.time.unit:
        return tune
    moved = _moved(tune._replace(notes=tune.notes[1:]), -first.length)
    back, last = moved.bars[0].length, moved.bars[-1]
    rest = moved.notes[-1]
    # A last bar that is short already gives the pickup back.
    full = last.length == last.time.bar_length and last.time == bar.time
    if rest.pitch or rest.length < back or not full or len(moved.bars) == 1:
        return moved
    kept = (rest._replace(length=rest.length - back),) if rest.length > back else ()
    notes = (*moved.notes[:-1], *kept)
    return _ended(moved._replace(notes=notes), -back)


def with_filling(tune: Tune) -> Tune:
    """Return a tune with a pickup of whole pulses; silence fills it up."""
    bar, last = tune.bars[0], tune.bars[-1]
    part = -bar.length % bar.time.unit
    silent = tune.notes[0].pitch is None  # It could not be told from the filling.
    if not bar.offset or not part or silent or len(tune.bars) == 1:
        return tune
    moved = _moved(tune, part)
    filled = TuneNote(Fraction(0), part, None)
    moved = moved._replace(notes=(filled, *moved.notes))
    if last.length != last.time.bar_length - bar.length or last.time != bar.time:
        return moved
    rest = TuneNote(moved.end, bar.length, None, line=moved.notes[-1].line)
    return _ended(moved._replace(notes=(*moved.notes, rest)), bar.length)


_Begun = TypeVar("_Begun", KeyChange, Tempo, ChordAt)


def _moved(tune: Tune, by: Fraction) -> Tune:
    """Return a tune with all but its beginning later; its first bar is longer."""
    moved = later_tune(tune, by)
    first = tune.bars[0]
    longer = first._replace(length=first.length + by, offset=first.offset - by)
    return moved._replace(
        bars=(longer, *moved.bars[1:]),
        keys=_from_start(moved.keys, by),
        tempos=_from_start(moved.tempos, by),
        locks=_from_start(moved.locks, by),
        symbols=_from_start(moved.symbols, by),
    )


def _from_start(things: tuple[_Begun, ...], by: Fraction) -> tuple[_Begun, ...]:
    """Return things with those back at the start that were moved away from it."""
    return tuple(
        thing._replace(onset=Fraction(0)) if thing.onset == by else thing
        for thing in things
    )


def _ended(tune: Tune, by: Fraction) -> Tune:
    """Return a tune whose last bar is longer, and all that ends with it."""
    old = tune.end
    *others, last = tune.bars
    end = old + by
    locks = [
        lock._replace(end=end if lock.end in (old, max(lock.end, end)) else lock.end)
        for lock in tune.locks
    ]
    return tune._replace(
        bars=(*others, last._replace(length=last.length + by)),
        phrases=(*(line for line in tune.phrases if line < min(old, end)), end),
        locks=tuple(lock for lock in locks if lock.onset < lock.end),
        end_text=tuple(
            (end if onset == old else onset, text) for onset, text in tune.end_text
        ),
    )
