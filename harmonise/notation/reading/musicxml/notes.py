"""The tune's notes: tied notes made one, grace notes, slurs, fermatas, words, rests.

A tie binds a note to the next one of the same pitch when the first begins it and the
second ends it; a tie with one end only binds nothing, and a remark says so.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.reading.musicxml.bars import Page
from harmonise.notation.reading.musicxml.line import Struck, tell_lost_grace
from harmonise.notation.reading.musicxml.lyrics import (
    Verse,
    line_up,
    order_verses,
    read_syllables,
)
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.shift import Shift, shift_at
from harmonise.notation.reading.musicxml.tree import Element, read_pitch, text
from harmonise.notation.reading.musicxml.walk import note_length
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace, Syllable, TuneNote


class _Run(NamedTuple):
    """Written notes that are tied into one."""

    pitch: Pitch
    parts: list[Struck]

    @property
    def onset(self) -> Fraction:
        return self.parts[0].onset

    @property
    def end(self) -> Fraction:
        return self.parts[-1].end


def read_notes(
    struck: tuple[Struck, ...],
    shifts: tuple[Shift, ...],
    page: Page,
    remarks: Remarks,
) -> tuple[tuple[TuneNote, ...], int]:
    """Return the notes and rests of the tune, without gaps, and the number of verses.

    Args:
        struck: What the file strikes, in order.
        shifts: Transpositions to sounding pitch.
        page: The part.
        remarks: Told of ties, grace notes and words that lead nowhere.

    Raises:
        NotationError: If a note has no pitch that a piano has, with its place.
    """
    runs = list(_tied(struck, shifts, page))
    _tell_loose_ties(runs, remarks)
    _tell_lost(runs, struck, remarks)
    under = [_words_under(run.parts[0]) for run in runs]
    verses = order_verses(under)
    starts, ends = _slurs(runs)
    notes = [
        TuneNote(
            onset=run.onset,
            length=run.end - run.onset,
            pitch=run.pitch,
            syllables=line_up(under[number], verses),
            graces=_graces(run.parts[0], shifts, page),
            fermata=any(_has_fermata(part) for part in run.parts),
            slur_starts=starts[number],
            slur_ends=ends[number],
        )
        for number, run in enumerate(runs)
    ]
    paused = [part.onset for part in struck if part.rest and _has_fermata(part)]
    return tuple(_with_rests(notes, paused, page)), len(verses)


def _sounding(
    note: Element, onset: Fraction, shifts: tuple[Shift, ...], page: Page
) -> Pitch:
    place = page.place(onset)
    return shift_at(shifts, onset).sounding(read_pitch(note, place), place)


def _tied(
    struck: tuple[Struck, ...], shifts: tuple[Shift, ...], page: Page
) -> Iterator[_Run]:
    run: _Run | None = None
    for part in struck:
        if part.rest:
            continue
        pitch = _sounding(part.notes[0], part.onset, shifts, page)
        if run is not None and _binds(run, part) and run.pitch == pitch:
            run.parts.append(part)
            continue
        if run is not None:
            yield run
        run = _Run(pitch, [part])
    if run is not None:
        yield run


def _binds(run: _Run, part: Struck) -> bool:
    meets = run.end == part.onset
    return meets and _tie(run.parts[-1], "start") and _tie(part, "stop")


def _tie(struck: Struck, kind: str) -> bool:
    """Whether the tune's own note begins ("start") or ends ("stop") a tie.

    `<tie>` is the sound and `<tied>` the sign; some programs write only the sign.
    """
    if struck.copied:
        return False
    note = struck.notes[0]
    signs = [*note.iterfind("tie"), *note.iterfind("notations/tied")]
    return any(sign.get("type") in (kind, "continue") for sign in signs)


def _tell_loose_ties(runs: list[_Run], remarks: Remarks) -> None:
    for run in runs:
        for part, kind in ((run.parts[0], "stop"), (run.parts[-1], "start")):
            if _tie(part, kind):
                remarks.add(
                    Code.TIE,
                    f"a tie at {run.pitch} has one end only; nothing was tied.",
                    part.onset,
                    "Tie both notes if they are one.",
                )


def _tell_lost(runs: list[_Run], struck: tuple[Struck, ...], remarks: Remarks) -> None:
    """Say which grace notes and words stand where no note is struck."""
    unstruck = [part for run in runs for part in run.parts[1:]]
    for part in (*unstruck, *(part for part in struck if part.rest)):
        if part.graces:
            tell_lost_grace(part.onset, remarks)
        under = _words_under(part)
        if under:
            said = " / ".join(syllable.text for syllable in under.values())
            remarks.add(
                Code.WORDS,
                f'"{said}" stands where no note is struck; it was left out.',
                part.onset,
            )


def _words_under(struck: Struck) -> dict[Verse, Syllable]:
    return {} if struck.copied else read_syllables(struck)


def _graces(struck: Struck, shifts: tuple[Shift, ...], page: Page) -> tuple[Grace, ...]:
    graces = []
    for element in struck.graces:
        pitch = _sounding(element, struck.onset, shifts, page)
        mark = element.find("grace")
        slashed = mark is not None and mark.get("slash") == "yes"
        value = note_length(text(element, "type")) or Fraction(1, 2)
        graces.append(Grace(pitch, slashed, value))
    return tuple(graces)


def _has_fermata(struck: Struck) -> bool:
    return any(note.find("notations/fermata") is not None for note in struck.notes)


def _slurs(runs: list[_Run]) -> tuple[Counter[int], Counter[int]]:
    """Return how many slurs begin and end on each note, both ends on tune notes.

    A slur on a grace note counts for the note that it leads to; a slur that begins and
    ends on one note, as over a tie, is no slur of the tune.
    """
    opened: dict[str, int] = {}
    starts: Counter[int] = Counter()
    ends: Counter[int] = Counter()
    for count, run in enumerate(runs):
        marks = [mark for part in run.parts for mark in _slur_marks(part)]
        for kind, number in marks:
            if kind == "start":
                opened[number] = count
            elif number in opened:
                start = opened.pop(number)
                if start != count:
                    starts[start] += 1
                    ends[count] += 1
    return starts, ends


def _slur_marks(struck: Struck) -> list[tuple[str, str]]:
    """Return kind and number of each slur on a note; what ends comes first.

    Some programs repeat the slur on every note of a chord; it counts once.
    """
    if struck.copied:
        return []
    marks: list[tuple[str, str]] = []
    for bundle in (*((grace,) for grace in struck.graces), struck.notes):
        found = {
            (slur.get("type", ""), slur.get("number", "1"))
            for note in bundle
            for slur in note.iterfind("notations/slur")
        }
        marks += sorted((f for f in found if f[0] == "stop"), key=lambda f: f[1])
        marks += sorted((f for f in found if f[0] == "start"), key=lambda f: f[1])
    return marks


def _with_rests(
    notes: list[TuneNote], paused: Sequence[Fraction], page: Page
) -> Iterator[TuneNote]:
    """Yield notes and, for every gap, one rest a bar."""
    now = Fraction(0)
    for note in notes:
        yield from _rests(now, note.onset, paused, page)
        yield note
        now = note.end
    yield from _rests(now, page.end, paused, page)


def _rests(
    start: Fraction, end: Fraction, paused: Sequence[Fraction], page: Page
) -> Iterator[TuneNote]:
    while start < end:
        stop = min(end, page.bar_at(start).end)
        found = bisect_left(paused, start)
        fermata = found < len(paused) and paused[found] < stop
        yield TuneNote(start, stop - start, None, fermata=fermata)
        start = stop
