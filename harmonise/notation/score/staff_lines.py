"""The printed voices of a bar: rhythm laid out, stems turned, accidentals set."""

from collections.abc import Iterable, Sequence
from itertools import chain

from harmonise.notation.musicxml.written_notes import grace_name
from harmonise.notation.score.ink import (
    BASS,
    BASS_STAFF,
    INNER,
    TENOR,
    TREBLE_STAFF,
    TUNE,
    Accidental,
    NoteMarks,
    PlacedSign,
    StaffMemory,
)
from harmonise.notation.score.note_values import MetricGrid
from harmonise.notation.score.printed_rhythm import BarPiece, NoteSign, lay_out
from harmonise.notation.score.printed_voices import BarVoices, NoteHead, VoiceSpan
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch

_MIDDLE = {TREBLE_STAFF: 34, BASS_STAFF: 22}
"""Staff step of the middle line of each staff: B4 and D3."""

Line = list[PlacedSign]
"""One voice in one bar."""


def bar_lines(voices: BarVoices, origin: int, grid: MetricGrid) -> list[Line]:
    """Return the voices of one bar, ready to print: tune, perhaps inner, perhaps bass.

    Two voices on a staff turn their stems apart (TRADE N02); a voice alone on its staff
    turns them by the note furthest from the middle line.

    Args:
        voices: What sounds.
        origin: Tick of the bar line; of the whole bar's in a part bar.
        grid: The metre.
    """
    parts = [(TUNE, TREBLE_STAFF, voices.treble, "up" if voices.inner else "")]
    if voices.inner:
        parts.append((INNER, TREBLE_STAFF, voices.inner, "down"))
    if voices.tenor:
        parts.append((TENOR, BASS_STAFF, voices.tenor, "up"))
    if voices.bass:
        turned = "down" if voices.tenor else ""
        parts.append((BASS, BASS_STAFF, voices.bass, turned))
    lines = []
    for voice, staff, spans, fixed in parts:
        signs = lay_out(_stretches(spans, origin), grid)
        stems = _stems(signs, spans, _MIDDLE[staff], fixed)
        place = (voice, staff)
        rows = zip(signs, stems, strict=True)
        lines.append([_spot(place, origin, sign, spans, stem) for sign, stem in rows])
    return lines


def _spot(
    place: tuple[str, str],
    origin: int,
    sign: NoteSign,
    spans: Sequence[VoiceSpan],
    stem: str,
) -> PlacedSign:
    start, end = origin + sign.start, origin + sign.end
    return PlacedSign(*place, start, end, sign, spans[sign.stretch], stem)


def _stretches(spans: Sequence[VoiceSpan], origin: int) -> tuple[BarPiece, ...]:
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
    lines: Iterable[Line],
    memory: StaffMemory,
    marks: Sequence[NoteMarks],
    keys: Sequence[tuple[int, Key]],
) -> dict[str, Accidental]:
    """Return the accidentals of one staff in one bar, by id of the note.

    Args:
        lines: The voices of the staff.
        memory: What its reader remembers from the bars before.
        marks: Marks of the tune's notes, for their grace notes.
        keys: Signatures that begin in the bar, with their ticks.
    """
    spots = sorted(chain(*lines), key=lambda spot: (spot.start, spot.voice))
    memory.enter_bar(_held(spots))
    waiting = list(keys)
    found: dict[str, Accidental] = {}
    for spot in spots:
        while waiting and waiting[0][0] <= spot.start:
            memory.enter_key(waiting.pop(0)[1])
        found.update(_struck(spot, memory, marks))
    for _, key in waiting:
        memory.enter_key(key)
    return found


def _held(spots: Sequence[PlacedSign]) -> list[Pitch]:
    """Return the notes that are tied over the bar line before the first spots."""
    start = spots[0].start
    return [
        head.pitch
        for spot in spots
        if spot.start == start
        for head in spot.span.heads
        if head.start < start
    ]


def _struck(
    spot: PlacedSign, memory: StaffMemory, marks: Sequence[NoteMarks]
) -> dict[str, Accidental]:
    found = {}
    for head in spot.span.heads:
        if head.start != spot.start:
            continue
        graces = marks[head.tune].graces if head.tune is not None else ()
        struck = [(grace_name(head, at), own.pitch) for at, own in enumerate(graces)]
        for name, pitch in (*struck, (head.name, head.pitch)):
            accidental = memory.strike(pitch)
            if accidental:
                found[name] = accidental
    return found
