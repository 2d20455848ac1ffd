"""The names of tonic sol-fa and the notes they stand for.

Names stand for degrees above doh: `d r m f s l t`; the vowel e raises a note by a
semitone (`de re fe se le`), the vowel a lowers it (`ra ma sa la ta`), and `ba` is the
raised sixth of the minor, below `se`. Doh lies in C4–B4 when it bears no octave mark.
Tables of the Standard Course of tonic sol-fa, 19th century (common practice).
"""

import re

from harmonise.errors import NotationError
from harmonise.theory.key import Key, Mode, key_of_signature, parse_key
from harmonise.theory.pitch import Pitch, PitchName

NAMES = {
    "d": (0, 0),
    "r": (1, 0),
    "m": (2, 0),
    "f": (3, 0),
    "s": (4, 0),
    "l": (5, 0),
    "t": (6, 0),
    "de": (0, 1),
    "re": (1, 1),
    "fe": (3, 1),
    "se": (4, 1),
    "le": (5, 1),
    "ra": (1, -1),
    "ma": (2, -1),
    "sa": (4, -1),
    "la": (5, -1),
    "ta": (6, -1),
    "ba": (3, 1),
}
"""Steps above doh and the alteration against its major scale."""

NAME = "de|re|fe|se|le|ra|ma|sa|la|ta|ba|[drmfslt]"
"""The names as a pattern, the longer first."""

UP_SIGNS, DOWN_SIGNS = "¹²³⁴", "₁₂₃₄"
_MOST_OCTAVES = 4

_TONICS = {"ray": Mode.DORIAN, "soh": Mode.MIXOLYDIAN, "lah": Mode.AEOLIAN}
_VALUE = re.compile(
    r"([A-G](?:##|bb|[#b♯♭]?))[\s,(]*(?:(ray|soh|lah)\s+mode)?\)?\.?$", re.IGNORECASE
)


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
    found = [name for name, own in NAMES.items() if own == (step, alter)]
    if not found or abs(octaves) > _MOST_OCTAVES:
        return ""
    name = found[-1] if key.mode is Mode.MINOR else found[0]
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
    found = _VALUE.match(value)
    if not found or (found.group(2) and header == "Lah"):
        raise NotationError(
            f"{header}: one letter A–G, with # or b, such as {header}: Eb.",
            None,
            "In minor keys tell lah: Lah: C is C minor.",
        )
    tonic = found.group(1)[0].upper() + found.group(1)[1:]
    if header == "Lah":
        return parse_key(f"{tonic} minor")
    key = parse_key(tonic)
    if not found.group(2):
        return key
    return key_of_signature(key.fifths, _TONICS[found.group(2).lower()])


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
