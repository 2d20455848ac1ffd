"""What is told of the notes of a typed tune although the reader went on.

Each remark (E13 to E16, E23, E26, E27) looks at one habit of people who type tunes,
such as copying from paper without the key signature, forgetting an octave figure,
writing the raised seventh as a flat.
"""

from collections.abc import Callable, Sequence
from itertools import islice
from typing import NamedTuple

from harmonise.errors import Place, Remark, listed
from harmonise.notation.tune_text.typed_bars import TypedBar
from harmonise.notation.tune_text.typed_lines import TypedSheet
from harmonise.notation.tune_text.typed_notes import Typed, doh_key, typed_word
from harmonise.notation.tune_text.word_faults import (
    NoteKind,
)
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTERS, Pitch, PitchName

USUAL_TOP = 96
USUAL_BOTTOM = 48
"""MIDI notes C7 and C3: beyond them a tune for two hands is seldom meant (our own)."""

_INTERVALS = {6: "a seventh", 14: "two octaves"} | dict(
    enumerate(
        [
            "a ninth",
            "a tenth",
            "an eleventh",
            "a twelfth",
            "a thirteenth",
            "a fourteenth",
        ],
        8,
    )
)
"""Names of leaps by their steps; an octave needs none."""
_LIKELY_MODES = {
    Mode.MAJOR: (Mode.MIXOLYDIAN, Mode.DORIAN, Mode.AEOLIAN),
    Mode.MIXOLYDIAN: (Mode.DORIAN, Mode.AEOLIAN),
    Mode.DORIAN: (Mode.AEOLIAN,),
    Mode.MINOR: (Mode.DORIAN, Mode.MIXOLYDIAN, Mode.MAJOR),
    Mode.AEOLIAN: (Mode.DORIAN, Mode.MIXOLYDIAN, Mode.MAJOR),
}


class TypedTune(NamedTuple):
    """A tune as typed, with what was understood.

    Attributes:
        sheet: Its lines.
        bars: Its bars, with numbers.
        notes: Its notes and rests.
        keys: The key in force in each line.
        kind: How its notes are typed.
    """

    sheet: TypedSheet
    bars: list[TypedBar]
    notes: list[Typed]
    keys: list[Key]
    kind: NoteKind = NoteKind.LETTERS

    def place(self, note: Typed) -> Place:
        """Return bar and beat of a note."""
        bar = self.bars[note.bar]
        return Place(bar.number, (note.onset - bar.start) / bar.time.unit + 1)


def guess_remark(tune: TypedTune, guesses: tuple[Key, ...]) -> Remark:
    """Return the remark about a key that no line tells (E13)."""
    using = f"(using {guesses[0]})"
    if tune.kind.by_key:
        first = "do" if tune.kind is NoteKind.NAMES else "1"
        return Remark("E13", "No Key: line.", None, f"{first} is read as C. {using}")
    pitches = [note.pitch.name for note in tune.notes if note.pitch]
    last, names = pitches[-1], set(pitches)
    uses = listed(_by_fifths(names)) or "no sharps or flats"
    keys = ", or ".join(str(key) for key in guesses[:2])
    remedy = f"The tune ends on {last} and uses {uses}: {keys}? {using}"
    return Remark("E13", "No Key: line.", None, remedy)


def _by_fifths(names: set[PitchName]) -> list[str]:
    """Return altered names in the order of key signatures, sharps first."""
    sharps = [name for name in names if name.alter > 0]
    flats = [name for name in names if name.alter < 0]
    order = "FCGDAEB"
    sharps.sort(key=lambda name: (name.alter, order.index(LETTERS[name.letter])))
    flats.sort(key=lambda name: (-name.alter, -order.index(LETTERS[name.letter])))
    return [str(name) for name in sharps + flats]


def _as_typed(tune: TypedTune, pitch: Pitch, note: Typed) -> str:
    # A remark about octaves names them, so that nobody need guess the usual one.
    octave = tune.sheet.octave if tune.kind.by_key else -1
    return typed_word(pitch, tune.keys[note.passage], octave, tune.kind)


def remarks_on(tune: TypedTune) -> list[Remark]:
    """Return what is to be told about the notes of a tune."""
    remarks = [*octave_slips(tune, _as_typed), *far_notes(tune), *_flat_sevenths(tune)]
    if tune.sheet.signature:
        remarks += _signs_that_end(tune)
    if not tune.kind.by_key and not tune.sheet.signature:
        remarks[:0] = _missing_signature(tune)
    remarks[:0] = _kind_remarks(tune)
    return remarks


def _kind_remarks(tune: TypedTune) -> list[Remark]:
    """Tell how small letters and names are read (E27)."""
    doh = doh_key(tune.keys[0]).tonic
    if tune.kind is NoteKind.NAMES and str(doh) != "C":
        what = f"The names are read by the key: do is {doh}."
        return [
            Remark("E27", what, None, "If you mean C by do in every key, type letters.")
        ]
    if tune.kind is NoteKind.SMALL:
        what = f"Small letters are read as capitals: c is C{tune.sheet.octave}."
        return [Remark("E27", what)]
    return []


def _missing_signature(tune: TypedTune) -> list[Remark]:
    """Tell of letters that the key alters and that are always typed bare (E14)."""
    key = tune.keys[0]
    # Another key later has other signs; it is looked at in its own right.
    notes = [note for note in tune.notes if tune.keys[note.passage] == key]
    used = {note.pitch.name for note in notes if note.pitch}
    missed = [
        name
        for degree, name in enumerate(key.scale, 1)
        if name.alter
        and name not in used
        and not _is_melodic(key, degree, used)
        and any(_is_bare(note, name.letter) for note in notes)
    ]
    if not missed:
        return []
    bare = [note for note in notes for name in missed if _is_bare(note, name.letter)]
    letters = listed([LETTERS[name.letter] for name in missed])
    sign = "sharp" if missed[0].alter > 0 else "flat"
    times = "once" if len(bare) == 1 else f"{len(bare)} times"
    what = (
        f"Key {key.tonic if key.mode is Mode.MAJOR else key}, and {letters} "
        f"{'is' if len(missed) == 1 else 'are'} written without a {sign} {times}, "
        f"{listed([str(name) for name in missed])} never."
    )
    meant = _mode_that_fits(key, used)
    remedy = (
        f'From paper? Add "Signature: on". Meant {letters} natural? '
        f"{f'Then this is {meant}.' if meant else 'Then leave it so.'}"
    )
    return [Remark("E14", what, None, remedy)]


def _is_bare(note: Typed, letter: int) -> bool:
    return note.bare and note.pitch is not None and note.pitch.letter == letter


def _is_melodic(key: Key, degree: int, used: set[PitchName]) -> bool:
    """Whether a minor tune may raise the degree: the 7th, and the 6th on its way."""
    if key.mode is not Mode.MINOR:
        return False
    # Melodic minor is no slip of the signature.
    raised = key.name_at(7, 1) in used
    return raised and degree in (6, 7)


def _mode_that_fits(key: Key, used: set[PitchName]) -> Key | None:
    for mode in _LIKELY_MODES[key.mode]:
        other = Key(key.tonic, mode)
        # The mode of the same keynote that has all the notes is what was meant.
        if used <= set(other.scale):
            return other
    return None


def octave_slips(
    tune: TypedTune, spell: Callable[[TypedTune, Pitch, Typed], str]
) -> list[Remark]:
    """Tell of notes that are likely an octave off (E15).

    A note that a seventh or more than an octave leads to is doubted if it stands alone
    or with one other: then the tune leaps back, rests or ends. A leap after which it
    goes on up there is no slip, for every note has an octave of its own.

    Args:
        tune: The tune.
        spell: Spells a pitch in place of a note as the notation of the tune does.
    """
    remarks, back = [], 0
    for at in range(1, len(tune.notes)):
        steps = _leap(tune.notes, at)
        # Sixths and octaves are common in tunes; sevenths and more are seldom.
        if abs(steps) < 6 or abs(steps) == 7 or at == back:
            continue
        if after := _leaps_back(tune.notes, at):
            back = after
            remarks.append(_octave_slip(tune, at, steps, spell))
    return remarks


def _leap(notes: Sequence[Typed], at: int) -> int:
    """Return the staff steps from the note before; 0 beside a rest or the end."""
    before = notes[at - 1].pitch
    here = notes[at].pitch if at < len(notes) else None
    return here.staff_step - before.staff_step if before and here else 0


def _leaps_back(notes: Sequence[Typed], at: int) -> int | None:
    """Return where the tune leaps back, rests or ends, one or two notes on."""
    way = _leap(notes, at)
    for after in (at + 1, at + 2):
        if after >= len(notes) or notes[after].pitch is None:
            return after
        out = _leap(notes, after)
        if way * out < 0 and abs(out) >= _SIXTH:
            return after
    return None


_SIXTH = 5
"""Staff steps of a sixth."""


def _octave_slip(
    tune: TypedTune,
    at: int,
    steps: int,
    spell: Callable[[TypedTune, Pitch, Typed], str],
) -> Remark:
    before, note = tune.notes[at - 1].pitch, tune.notes[at]
    if note.pitch is None:
        msg = "a leap leads to a note"
        raise AssertionError(msg)
    way = "up" if steps > 0 else "down"
    size = _INTERVALS.get(abs(steps), "more than two octaves")
    what = f"{before} to {note.pitch} is {size} {way}."
    # An octave figure was forgotten: the same letter nearby is what was meant.
    nearer = -7 * round(steps / 7)
    meant = note.pitch._replace(octave=note.pitch.octave + nearer // 7)
    remedy = f"Did you mean {spell(tune, meant, note)}?"
    return Remark("E15", what, tune.place(note), remedy)


def far_notes(tune: TypedTune) -> list[Remark]:
    """Tell of the first note far up and the first far down (E16)."""
    sides = (
        (USUAL_TOP, 1, "above the top", "Put the tune an octave lower."),
        (USUAL_BOTTOM, -1, "below the bottom", "Put the tune an octave higher."),
    )
    remarks = []
    for limit, way, side, remedy in sides:
        far = (n for n in tune.notes if n.pitch and way * (n.pitch.midi - limit) > 0)
        for note in islice(far, 1):
            what = f"{note.pitch} is {side} of the piano's usual tune range."
            place = Place(tune.bars[note.bar].number)
            remarks.append(Remark("E16", what, place, remedy))
    return remarks


def _flat_sevenths(tune: TypedTune) -> list[Remark]:
    """Tell of a raised seventh that is typed as a flat of the keynote (E23)."""
    by_bar: dict[int, Remark] = {}
    for note in tune.notes:
        key = tune.keys[note.passage]
        if note.pitch is None or key.mode is not Mode.MINOR or note.bar in by_bar:
            continue
        # In A minor nobody means A flat below A: it is the leading note G sharp.
        if key.degree(note.pitch.name) == (1, -1):
            by_bar[note.bar] = Remark(
                "E23",
                f"{note.pitch.name} in {key} — the raised 7th is written "
                f"{key.name_at(7, 1)}.",
                Place(tune.bars[note.bar].number),
                "Changed for the harmony; your tune is left as typed.",
            )
    return list(by_bar.values())


def _signs_that_end(tune: TypedTune) -> list[Remark]:
    """Tell where a sign would still hold on paper but does not here (E26)."""
    remarks = []
    signed: dict[tuple[int, int, int], Pitch] = {}
    for note in tune.notes:
        if note.pitch is None:
            continue
        where = (note.bar, note.pitch.letter, note.pitch.octave)
        if not note.bare:
            signed[where] = note.pitch
        # On paper the sign would hold to the end of the bar; typed text has no such
        # rule.
        elif where in signed and signed[where] != note.pitch:
            names = [pitch.name for pitch in (signed[where], note.pitch)]
            before, now = (str(n) if n.alter else f"{n} natural" for n in names)
            letter = LETTERS[note.pitch.letter]
            what = f"{letter} after {before} is read as {now}."
            remedy = "A sign holds for one note; type it again if you meant it."
            remarks.append(Remark("E26", what, tune.place(note), remedy))
    return remarks
