"""Printed notes, chords and rests in their places, with all that hangs on them.

The voices of a bar are laid out in note values, their stems turned, their accidentals
set, and words, slurs, fingers, numerals and labels hung on them. A sign knows all that
is printed of it: writers, copies with blanks and the page read it, and none of them
works anything out again.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import chain
from typing import NamedTuple

from harmonise.notation.score.note_marks import (
    Accidental,
    NoteMarks,
    PrintedSyllable,
    StaffMemory,
)
from harmonise.notation.score.note_values import MetricGrid, Value, value_of
from harmonise.notation.score.printed_rhythm import BarPiece, NoteSign, lay_out
from harmonise.notation.score.printed_voices import BarVoices, NoteHead, VoiceSpan
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace

TUNE, INNER, TENOR, BASS = "1", "2", "4", "5"
"""MusicXML's numbers of the voices."""
TREBLE_STAFF, BASS_STAFF = "1", "2"

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


class ScoreMarks(NamedTuple):
    """What is hung on the notes of a score, besides what they are.

    Attributes:
        notes: Marks of the tune's notes, by number.
        fermatas: Ticks at which a fermata stands over both staves.
        numerals: Roman numerals under the bass, by tick.
        labels: Labels of the right hand's shape under the treble staff, by tick.
        fingering: Whether fingers are printed.
    """

    notes: Sequence[NoteMarks]
    fermatas: set[int]
    numerals: dict[int, str]
    labels: dict[int, str]
    fingering: bool


class _Laid(NamedTuple):
    """A stretch of a voice as it is laid out, before anything hangs on it."""

    voice: str
    staff: str
    start: int
    end: int
    sign: NoteSign
    span: VoiceSpan
    stem: str


Line = list[PlacedSign]
"""One voice in one bar."""


class Placer:
    """Places the signs of a score, one bar after the other."""

    def __init__(self, marks: ScoreMarks) -> None:
        """Begin at the first bar."""
        self._marks = marks
        self._labels = dict(marks.labels)
        self._memories = (StaffMemory(), StaffMemory())
        # How many tied parts of each note are placed: its id counts them.
        self._parts: Counter[str] = Counter()

    def place(
        self,
        voices: BarVoices,
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
        rows = _lay_out_bar(voices, origin, grid)
        accidentals: dict[str, Accidental] = {}
        for staff, memory in zip(_MIDDLE, self._memories, strict=True):
            own = [row for row in rows if row[0].staff == staff]
            if own:
                accidentals |= set_accidentals(own, memory, self._marks.notes, keys)
        return [[self._sign(laid, accidentals) for laid in row] for row in rows]

    def _sign(self, laid: _Laid, accidentals: dict[str, Accidental]) -> PlacedSign:
        voice, staff, start, end, sign, span, stem = laid
        notes = tuple(self._note(head, laid, accidentals) for head in span.heads)
        marks = self._marks
        label = ""
        if notes and staff == TREBLE_STAFF:
            # The first sign at its place takes the label; a second voice gets none.
            label = self._labels.pop(start, "")
        numeral = marks.numerals.get(start, "") if voice == BASS else ""
        fermata = start in marks.fermatas
        return PlacedSign(
            voice, staff, start, end, sign, stem, notes, fermata, numeral, label=label
        )

    def _note(
        self, head: NoteHead, laid: _Laid, accidentals: dict[str, Accidental]
    ) -> PrintedNote:
        self._parts[head.name] += 1
        part = self._parts[head.name]
        struck, last = head.start == laid.start, head.end == laid.end
        marks = NoteMarks() if head.tune is None else self._marks.notes[head.tune]
        return PrintedNote(
            head.name if part == 1 else f"{head.name}-{part}",
            head.number,
            head.pitch,
            tied_back=head.start < laid.start,
            tied_on=head.end > laid.end,
            accidental=accidentals.get(head.name) if struck else None,
            finger=head.finger if struck and self._marks.fingering else 0,
            words=marks.words if struck else (),
            # A slur leads from the first part of a tied note to the last of another.
            slur_stops=marks.slur_stops if last else (),
            slur_starts=marks.slur_starts if struck else (),
            graces=_graces(head, marks.graces, accidentals) if struck else (),
        )


def _graces(
    head: NoteHead, graces: Sequence[Grace], accidentals: dict[str, Accidental]
) -> tuple[PrintedGrace, ...]:
    names = [_grace_name(head, number) for number in range(len(graces))]
    values = [value_of(grace.value) or Value("eighth") for grace in graces]
    return tuple(
        PrintedGrace(
            name, grace.pitch, value, grace.slashed, own, accidentals.get(name)
        )
        for name, grace, value, own in zip(
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


def _lay_out_bar(voices: BarVoices, origin: int, grid: MetricGrid) -> list[list[_Laid]]:
    """Return the voices of one bar in note values, stems turned.

    Two voices on a staff turn their stems apart (TRADE N02); a voice alone on its staff
    turns them by the note furthest from the middle line.
    """
    parts = [(TUNE, TREBLE_STAFF, voices.treble, "up" if voices.inner else "")]
    if voices.inner:
        parts.append((INNER, TREBLE_STAFF, voices.inner, "down"))
    if voices.tenor:
        parts.append((TENOR, BASS_STAFF, voices.tenor, "up"))
    if voices.bass:
        turned = "down" if voices.tenor else ""
        parts.append((BASS, BASS_STAFF, voices.bass, turned))
    rows = []
    for voice, staff, spans, fixed in parts:
        signs = lay_out(_pieces(spans, origin), grid)
        stems = _stems(signs, spans, _MIDDLE[staff], fixed)
        rows.append(
            [
                _Laid(
                    voice, staff, origin + sign.start, origin + sign.end,
                    sign, spans[sign.stretch], stem,
                )
                for sign, stem in zip(signs, stems, strict=True)
            ]
        )  # fmt: skip
    return rows


def _pieces(spans: Sequence[VoiceSpan], origin: int) -> tuple[BarPiece, ...]:
    return tuple(
        BarPiece(span.start - origin, span.end - origin, not span.heads)
        for span in spans
    )


def _stems(
    signs: Sequence[NoteSign], spans: Sequence[VoiceSpan], middle: int, fixed: str
) -> list[str]:
    """Return stem directions by the furthest note; one for all under a beam."""
    stems: list[str] = []
    group: list[NoteHead] = []
    size = 0
    for sign in signs:
        group += spans[sign.stretch].heads
        size += 1
        if sign.beams[:1] not in (("begin",), ("continue",)):
            direction = fixed or _direction(group, middle)
            stems += [direction if group else ""] * size
            group, size = [], 0
    return stems


def _direction(heads: Sequence[NoteHead], middle: int) -> str:
    """Return "down" if the furthest note is above the middle line, or on a tie."""
    steps = [head.pitch.staff_step for head in heads] or [middle]
    return "down" if max(steps) - middle >= middle - min(steps) else "up"


def set_accidentals(
    rows: Iterable[Sequence[_Laid]],
    memory: StaffMemory,
    marks: Sequence[NoteMarks],
    keys: Sequence[tuple[int, Key]],
) -> dict[str, Accidental]:
    """Return the accidentals of one staff in one bar, by id of the note.

    Args:
        rows: The voices of the staff.
        memory: What its reader remembers from the bars before.
        marks: Marks of the tune's notes, for their grace notes.
        keys: Signatures that begin in the bar, with their ticks.
    """
    # Two voices of a staff share its lines: their notes count in the order of time.
    ordered = sorted(chain(*rows), key=lambda laid: (laid.start, laid.voice))
    memory.enter_bar(_held(ordered))
    waiting = list(keys)
    found: dict[str, Accidental] = {}
    for laid in ordered:
        while waiting and waiting[0][0] <= laid.start:
            memory.enter_key(waiting.pop(0)[1])
        found.update(_struck(laid, memory, marks))
    for _, key in waiting:
        memory.enter_key(key)
    return found


def _held(ordered: Sequence[_Laid]) -> list[Pitch]:
    """Return the notes that are tied over the bar line before the first signs."""
    start = ordered[0].start
    return [
        head.pitch
        for laid in ordered
        if laid.start == start
        for head in laid.span.heads
        if head.start < start
    ]


def _struck(
    laid: _Laid, memory: StaffMemory, marks: Sequence[NoteMarks]
) -> dict[str, Accidental]:
    found = {}
    for head in laid.span.heads:
        if head.start != laid.start:
            continue
        graces = marks[head.tune].graces if head.tune is not None else ()
        struck = [(_grace_name(head, at), own.pitch) for at, own in enumerate(graces)]
        for name, pitch in (*struck, (head.name, head.pitch)):
            accidental = memory.strike(pitch)
            if accidental:
                found[name] = accidental
    return found
