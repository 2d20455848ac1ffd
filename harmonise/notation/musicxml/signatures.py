"""Keys as they sound: signatures, modes, and what transposing instruments make of them.

A signature without a mode, or with one that is not among our five, is named by the
tune under it, as every key that no page tells. Such a key is a guess, and a remark says
so.

`<transpose>` gives the way from written to sounding pitch in letters (diatonic) and
semitones (chromatic), and octaves on top. Where the letters would lead to a key of more
than seven sharps or flats, the next letter is taken (written G flat for an instrument
in E flat sounds in A, not in B double flat). Source: W3C, MusicXML 4.0, `transpose`.
"""

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    decimal,
    whole,
    words,
)
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.theory.key import Key, Mode, key_of_signature, major_fifths
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import KeyChange, TuneNote

_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters of the plainest interval of so many semitones; common practice."""
_MODES = {
    "major": Mode.MAJOR,
    "ionian": Mode.MAJOR,
    "minor": Mode.MINOR,
    "dorian": Mode.DORIAN,
    "mixolydian": Mode.MIXOLYDIAN,
    "aeolian": Mode.AEOLIAN,
}
_SHARPS = "FCGDAEB"


class Shift(NamedTuple):
    """A transposition from a place on.

    Attributes:
        onset: Crotchets from the start.
        steps: Letters upwards from written to sounding pitch.
        semitones: Semitones upwards.
    """

    onset: Fraction
    steps: int = 0
    semitones: int = 0

    def sounding(self, pitch: Pitch, place: Place) -> Pitch:
        """Return the sounding pitch of a written one.

        Args:
            pitch: As written.
            place: Where, for the error.

        Raises:
            NotationError: If it is too low or high, or needs three sharps or flats.
        """
        if not (self.steps or self.semitones):
            return pitch
        midi = pitch.midi + self.semitones
        # Letters and semitones move apart, so the accidental is what is left between.
        octave, letter = divmod(pitch.staff_step + self.steps, 7)
        alter = midi - Pitch(letter, 0, octave).midi
        if abs(alter) > 2 or not 0 <= octave <= 9:
            what = f"written {pitch} has no ordinary sounding pitch on this instrument."
            raise NotationError(what, place, "Export the part at sounding pitch.")
        return Pitch(letter, alter, octave)

    def sounding_name(self, name: PitchName) -> PitchName:
        """Return the sounding pitch class of a written one."""
        return name.up(self.steps % 7, self.semitones)

    @property
    def fifths(self) -> int:
        """Sharps (flats negative) that sounding keys have more than written ones."""
        return major_fifths(self.sounding_name(PitchName(0)))


def read_shifts(page: LaidPart) -> tuple[Shift, ...]:
    """Return the transpositions of a part in order, spelled for its keys.

    Raises:
        NotationError: If one is no number of semitones, with its bar.
    """
    written = [Shift(Fraction(0))]
    for onset, element in page.attributes("transpose"):
        written.append(_read_shift(element, onset, page.place(onset)))
    signatures = read_signatures(page)
    spelled = []
    onsets = {row.onset for row in written} | {row.onset for row in signatures}
    for onset in sorted(onsets):
        shift = shift_at(written, onset)
        fifths = [row.fifths for row in signatures if row.onset <= onset][-1] or 0
        # The neighbouring letter gives the same sound in a key that people read.
        if abs(fifths + shift.fifths) > 7:
            near = [shift._replace(steps=shift.steps + step) for step in (1, -1)]
            shift = min(near, key=lambda other: abs(fifths + other.fifths))
        spelled.append(shift._replace(onset=onset))
    return tuple(spelled)


def shift_at(shifts: Sequence[Shift], onset: Fraction) -> Shift:
    """Return the transposition in force at an onset."""
    return shifts[bisect_right(shifts, onset, key=attrgetter("onset")) - 1]


def _read_shift(element: Element, onset: Fraction, place: Place) -> Shift:
    chromatic = whole(element.findtext("chromatic"))
    octaves = whole(element.findtext("octave-change") or "0")
    if chromatic is None or octaves is None or abs(chromatic) + 12 * abs(octaves) > 60:
        written = words(element.findtext("chromatic"))[:20]
        what = f'the instrument transposes by "{written}" semitones.'
        raise NotationError(what, place, "Export the part at sounding pitch.")
    diatonic = whole(element.findtext("diatonic"))
    if diatonic is None:
        # Only the semitones are told: the plainest interval of that size is meant.
        sign, size = (-1, -chromatic) if chromatic < 0 else (1, chromatic)
        diatonic = sign * (7 * (size // 12) + _STEPS[size % 12])
    return Shift(onset, diatonic + 7 * octaves, chromatic + 12 * octaves)


class Signature(NamedTuple):
    """A key signature as written, before any transposition.

    Attributes:
        onset: Crotchets from the start.
        fifths: Sharps, flats negative; None where the file has no signature at all.
        mode: The mode's name in the file, in small letters; "" if it has none.
    """

    onset: Fraction
    fifths: int | None
    mode: str = ""


def read_signatures(page: LaidPart) -> tuple[Signature, ...]:
    """Return the key signatures of the tune's staff in order, the first at 0.

    Raises:
        NotationError: If one is none of the fifteen usual ones, with its place.
    """
    found = {
        onset: _read_signature(key, onset, page)
        for onset, key in page.attributes("key")
    }
    # Before the first signature there is none at all, not that of C major.
    found.setdefault(Fraction(0), Signature(Fraction(0), None))
    return tuple(found[onset] for onset in sorted(found))


def name_keys(
    signatures: tuple[Signature, ...],
    shifts: tuple[Shift, ...],
    notes: Sequence[TuneNote],
    page: LaidPart,
    remarks: XmlRemarks,
) -> tuple[tuple[KeyChange, ...], bool]:
    """Return the sounding keys, and whether the first was guessed.

    Args:
        signatures: As written.
        shifts: Transpositions, spelled for these signatures.
        notes: The tune's notes at sounding pitch.
        page: The part.
        remarks: Told of each guess.
    """
    changes: list[KeyChange] = []
    guessed = False
    # Each signature is judged by the notes under it alone.
    ends = [*(signature.onset for signature in signatures[1:]), page.end]
    for signature, end in zip(signatures, ends, strict=True):
        under = [n for n in notes if signature.onset <= n.onset < end and n.pitch]
        shift = shift_at(shifts, signature.onset)
        mode, fifths = _MODES.get(signature.mode), signature.fifths
        if fifths is not None:
            fifths += shift.fifths
        if mode is not None and fifths is not None:
            key = key_of_signature(fifths, mode)
        else:
            first = page.bar_at(signature.onset)
            downbeat = first.end if first.offset else first.start
            key = guess_keys(under, downbeat, fifths)[0]
            _tell_guess(signature, key, under, remarks)
            guessed = guessed or signature.onset == 0
        # Programs repeat a signature at each new line of print.
        if not changes or changes[-1].key != key:
            changes.append(KeyChange(signature.onset, key))
    return tuple(changes), guessed


def _read_signature(key: Element, onset: Fraction, page: LaidPart) -> Signature:
    written = key.findtext("fifths")
    fifths = _listed(key) if written is None else whole(written)
    if fifths is None or abs(fifths) > 7:
        raise NotationError(
            f"the key signature ({_shown(key)}) is none of the usual ones.",
            page.place(onset)._replace(beat=None),
            "Take one of up to seven sharps or flats and write other accidentals "
            "beside the notes.",
        )
    return Signature(onset, fifths, words(key.findtext("mode")).lower())


def _listed(key: Element) -> int | None:
    """Return the sharps of a signature listed sign by sign, if it is a usual one."""
    steps = "".join(words(step.text) for step in key.iterfind("key-step"))
    alters = {decimal(alter.text) for alter in key.iterfind("key-alter")}
    # The signs must be those of a usual signature, in whichever order they stand.
    if alters == {Fraction(1)} and set(steps) == set(_SHARPS[: len(steps)]):
        return len(steps)
    if alters == {Fraction(-1)} and set(steps) == set(_SHARPS[::-1][: len(steps)]):
        return -len(steps)
    return None


def _shown(key: Element) -> str:
    fifths = key.findtext("fifths")
    count = whole(fifths)
    if count is not None:
        return f"{abs(count)} {'flats' if count < 0 else 'sharps'}"
    if fifths is not None:
        return f'"{words(fifths)[:20]}" fifths'
    steps = [words(step.text)[:2] for step in key.iterfind("key-step")]
    alters = [words(alter.text)[:5] for alter in key.iterfind("key-alter")]
    signs = {"1": "#", "-1": "b", "2": "##", "-2": "bb", "0": " natural"}
    names = [
        step + signs.get(alter, f" {alter}")
        for step, alter in zip(steps, alters, strict=False)
    ]
    return ", ".join(names) or "no signs"


def _tell_guess(
    signature: Signature, key: Key, notes: Sequence[TuneNote], remarks: XmlRemarks
) -> None:
    at_start = signature.onset == 0
    if signature.fifths is None:
        why = "the file gives no key"
    elif signature.mode in ("", "none"):
        why = "the key signature names no mode"
    else:
        why = f"the mode {signature.mode[:20]} is not one of ours"
    last = notes[-1].pitch if notes else None
    what = "the tune" if at_start else "the passage"
    ends = f"; {what} ends on {last.name}" if last else ""
    remarks.add(
        XmlCode.KEY,
        f"{why}{ends}: read as {key}, which is a guess.",
        None if at_start else signature.onset,
        "Name the key if it is another.",
    )
