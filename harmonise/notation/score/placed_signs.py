"""Printed notes, chords and rests in their places, with all that hangs on them.

The voices of a bar are laid out in note values, their stems turned, their accidentals
set, and words, slurs, fingers, numerals and labels hung on them. A sign knows all that
is printed of it: writers, copies with blanks and the page read it, and none of them
works anything out again.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from harmonise.notation.score.note_marks import (
    Accidental,
    NoteMarks,
    PrintedSyllable,
    StaffMemory,
)
from harmonise.notation.score.note_values import MetricGrid, Value, value_of
from harmonise.notation.score.printed_rhythm import BarPiece, NoteSign, lay_out
from harmonise.notation.score.printed_voices import (
    BASS,
    INNER,
    TENOR,
    TUNE,
    NoteHead,
    VoicePart,
    VoiceSpan,
)
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace

TREBLE_STAFF, BASS_STAFF = "1", "2"

_STAFF = {
    TUNE: TREBLE_STAFF, INNER: TREBLE_STAFF, TENOR: BASS_STAFF, BASS: BASS_STAFF
}  # fmt: skip
_MIDDLE = {TREBLE_STAFF: 34, BASS_STAFF: 22}
"""Staff step of the middle line of each staff: B4 and D3."""


class PrintedGrace(NamedTuple):
    """A grace note before a note.

    Attributes:
        name: Its id.
        pitch: Its pitch.
        value: Its note value.
        slashed: Whether its flag is slashed.
        beams: MusicXML beam values, primary beam first.
        accidental: Its accidental; None for none.
    """

    name: str
    pitch: Pitch
    value: Value
    slashed: bool
    beams: tuple[str, ...]
    accidental: Accidental | None


class PrintedNote(NamedTuple):
    """One head: a struck note or a tied part of one.

    Attributes:
        name: Its id.
        number: Number of the sounding note; None if the tune has it alone.
        pitch: Its pitch.
        tied_back: Whether a tie leads to it.
        tied_on: Whether a tie leads on from it.
        accidental: Its accidental; None for none.
        finger: The finger that is printed, 1 to 5; 0 for none.
        words: Syllables under it.
        slur_stops: Numbers of the slurs that end on it.
        slur_starts: Numbers of the slurs that begin on it.
        graces: Grace notes before it.
    """

    name: str
    number: int | None
    pitch: Pitch
    tied_back: bool = False
    tied_on: bool = False
    accidental: Accidental | None = None
    finger: int = 0
    words: tuple[PrintedSyllable, ...] = ()
    slur_stops: tuple[int, ...] = ()
    slur_starts: tuple[int, ...] = ()
    graces: tuple[PrintedGrace, ...] = ()


class PlacedSign(NamedTuple):
    """A note, chord or rest in its place.

    Attributes:
        voice: `TUNE`, `INNER`, `TENOR` or `BASS`.
        staff: `TREBLE_STAFF` or `BASS_STAFF`.
        start: Ticks from the start.
        end: Ticks from the start.
        sign: Its value, tuplet and beams.
        stem: "up" or "down"; "" for rests, or to leave it to the engraver.
        notes: Its heads from the lowest up; () for a rest.
        fermata: Whether a fermata stands over or under it.
        numeral: Roman numeral under it; "" for none.
        numeral_apart: Whether the numeral is words under the staff, not a lyric.
        label: Label of the right hand's shape under it; "" for none.
        hidden: Whether it takes its room and is not seen.
    """

    voice: str
    staff: str
    start: int
    end: int
    sign: NoteSign
    stem: str
    notes: tuple[PrintedNote, ...] = ()
    fermata: bool = False
    numeral: str = ""
    numeral_apart: bool = False
    label: str = ""
    hidden: bool = False


_Laid = tuple[PlacedSign, VoiceSpan]
"""A sign with nothing on it yet, and what it is a part of."""
Line = list[PlacedSign]
"""One voice in one bar."""


@dataclass(slots=True)
class Placer:
    """Places the signs of a score, one bar after the other.

    Attributes:
        notes: Marks of the tune's notes, by number.
        fermatas: Ticks at which a fermata stands over both staves.
        numerals: Roman numerals under the bass, by tick.
        labels: Labels of the right hand's shape under the treble staff, by tick; each
            is taken out when it is placed.
        fingering: Whether fingers are printed.
        memories: What the readers of both staves remember.
        parts: How many tied parts of each note are placed: its id counts them.
    """

    notes: Sequence[NoteMarks]
    fermatas: set[int]
    numerals: dict[int, str]
    labels: dict[int, str]
    fingering: bool
    memories: tuple[StaffMemory, StaffMemory] = field(
        default_factory=lambda: (StaffMemory(), StaffMemory())
    )
    parts: Counter[str] = field(default_factory=Counter)

    def place(
        self,
        voices: Sequence[VoicePart],
        origin: int,
        grid: MetricGrid,
        keys: Sequence[tuple[int, Key]],
    ) -> list[Line]:
        """Return the voices of the next bar: tune, perhaps inner, tenor, bass.

        Args:
            voices: What sounds.
            origin: Tick of the bar line; of the whole bar's in a part bar.
            grid: The metre.
            keys: Signatures that begin in the bar, with their ticks.
        """
        rows = [_lay_out_voice(part, origin, grid) for part in voices]
        accidentals: dict[str, Accidental] = {}
        for staff, memory in zip(_MIDDLE, self.memories, strict=True):
            laid = [entry for row in rows for entry in row if entry[0].staff == staff]
            if laid:
                accidentals |= _set_accidentals(laid, memory, self.notes, keys)
        return [[self._sign(*laid, accidentals) for laid in row] for row in rows]

    def _sign(
        self, sign: PlacedSign, span: VoiceSpan, accidentals: dict[str, Accidental]
    ) -> PlacedSign:
        start = sign.start
        treble = span.heads and sign.staff == TREBLE_STAFF
        return sign._replace(
            notes=tuple(self._note(head, sign, accidentals) for head in span.heads),
            fermata=start in self.fermatas,
            numeral=self.numerals.get(start, "") if sign.voice == BASS else "",
            # The first sign at its place takes the label; a second voice gets none.
            label=self.labels.pop(start, "") if treble else "",
        )

    def _note(
        self, head: NoteHead, sign: PlacedSign, accidentals: dict[str, Accidental]
    ) -> PrintedNote:
        self.parts[head.name] += 1
        part = self.parts[head.name]
        struck, last = head.start == sign.start, head.end == sign.end
        marks = NoteMarks() if head.tune is None else self.notes[head.tune]
        # Few notes have grace notes; looking for them takes as long as all the rest.
        graces: tuple[PrintedGrace, ...] = ()
        if struck and marks.graces:
            graces = _graces(head, marks.graces, accidentals)
        return PrintedNote(
            head.name if part == 1 else f"{head.name}-{part}",
            head.number,
            head.pitch,
            tied_back=head.start < sign.start,
            tied_on=head.end > sign.end,
            accidental=accidentals.get(head.name) if struck else None,
            finger=head.finger if struck and self.fingering else 0,
            words=marks.words if struck else (),
            # A slur leads from the first part of a tied note to the last of another.
            slur_stops=marks.slur_stops if last else (),
            slur_starts=marks.slur_starts if struck else (),
            graces=graces,
        )


def _graces(
    head: NoteHead, graces: Sequence[Grace], accidentals: dict[str, Accidental]
) -> tuple[PrintedGrace, ...]:
    names = [_grace_name(head, number) for number in range(len(graces))]
    values = [value_of(grace.value) or Value("eighth") for grace in graces]
    return tuple(
        PrintedGrace(
            name, grace.pitch, value, grace.slashed, beams, accidentals.get(name)
        )
        for name, grace, value, beams in zip(
            names, graces, values, _grace_beams(values), strict=True
        )
    )


def _grace_name(head: NoteHead, number: int) -> str:
    return f"{head.name}g{number + 1}"


def _grace_beams(values: Sequence[Value]) -> list[tuple[str, ...]]:
    """Return the beams of grace notes before one note: several share them all."""
    if len(values) < 2:
        return [()] * len(values)
    shared = min(value.beams for value in values)
    kinds = ["begin", *["continue"] * (len(values) - 2), "end"]
    return [(kind,) * shared for kind in kinds]


def _lay_out_voice(part: VoicePart, origin: int, grid: MetricGrid) -> list[_Laid]:
    """Return a voice of one bar in note values, stems turned.

    A voice alone on its staff turns them by the note furthest from the middle line.
    """
    voice, spans, _ = part
    pieces = tuple(
        BarPiece(span.start - origin, span.end - origin, not span.heads)
        for span in spans
    )
    signs = lay_out(pieces, grid)
    staff = _STAFF[voice]
    places = ((origin + sign.start, origin + sign.end) for sign in signs)
    return [
        (PlacedSign(voice, staff, *place, sign, stem), spans[sign.stretch])
        for place, sign, stem in zip(
            places, signs, _stems(signs, part, _MIDDLE[staff]), strict=True
        )
    ]


def _stems(signs: Sequence[NoteSign], part: VoicePart, middle: int) -> list[str]:
    """Return stem directions by the furthest note; one for all under a beam."""
    stems: list[str] = []
    group: list[NoteHead] = []
    size = 0
    for sign in signs:
        group += part.spans[sign.stretch].heads
        size += 1
        if sign.beams[:1] not in (("begin",), ("continue",)):
            direction = part.stem or _direction(group, middle)
            stems += [direction if group else ""] * size
            group, size = [], 0
    return stems


def _direction(heads: Sequence[NoteHead], middle: int) -> str:
    """Return "down" if the furthest note is above the middle line, or on a tie."""
    steps = [head.pitch.staff_step for head in heads] or [middle]
    return "down" if max(steps) - middle >= middle - min(steps) else "up"


def _set_accidentals(
    laid: Iterable[_Laid],
    memory: StaffMemory,
    marks: Sequence[NoteMarks],
    keys: Sequence[tuple[int, Key]],
) -> dict[str, Accidental]:
    """Return the accidentals of one staff in one bar, by id of the note.

    Args:
        laid: The signs of the staff.
        memory: What its reader remembers from the bars before.
        marks: Marks of the tune's notes, for their grace notes.
        keys: Signatures that begin in the bar, with their ticks.
    """
    # Two voices of a staff share its lines: their notes count in the order of time.
    ordered = sorted(laid, key=lambda entry: (entry[0].start, entry[0].voice))
    begin = ordered[0][0].start
    memory.enter_bar(
        head.pitch
        for sign, span in ordered
        if sign.start == begin
        for head in span.heads
        if head.start < begin
    )
    waiting = list(keys)
    accidentals: dict[str, Accidental] = {}
    for sign, span in ordered:
        while waiting and waiting[0][0] <= sign.start:
            memory.enter_key(waiting.pop(0)[1])
        for head in span.heads:
            if head.start != sign.start:
                continue
            for name, pitch in _struck(head, marks):
                accidental = memory.strike(pitch)
                if accidental:
                    accidentals[name] = accidental
    for _, key in waiting:
        memory.enter_key(key)
    return accidentals


def _struck(head: NoteHead, marks: Sequence[NoteMarks]) -> Iterator[tuple[str, Pitch]]:
    """Yield a struck note with its id, its grace notes before it."""
    for number, grace in enumerate(
        () if head.tune is None else marks[head.tune].graces
    ):
        yield _grace_name(head, number), grace.pitch
    yield head.name, head.pitch
