"""The tune's notes: tied notes made one, grace notes, slurs, fermatas, words, rests.

A tie binds a note to the next one of the same pitch when the first begins it and the
second ends it; a tie with one end only binds nothing, and a remark says so.

Verses are told apart by the lyric's number. Several lyrics of one number on one note
(a file may also give them names, and the standard does not say which counts) become
verses of their own, so that nothing is lost. Elided syllables stay on their note,
joined by the file's own sign or by an undertie.
Source: W3C, MusicXML 4.0, `tied`, `lyric`, `syllabic`, `elision`, `extend`.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    text,
    whole,
    words,
)
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.notation.musicxml.signatures import Shift, shift_at
from harmonise.notation.musicxml.staff_voices import read_pitch
from harmonise.notation.musicxml.tune_line import LineNote, tell_lost_grace
from harmonise.notation.musicxml.walk import note_length
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace, Syllable, TuneNote

_UNDERTIE = "\u203f"


class Verse(NamedTuple):
    """What tells one verse from another.

    Attributes:
        label: Number or name of the lyric.
        nth: Count from 0 among the lyrics of that label on one note.
    """

    label: str
    nth: int


def read_syllables(struck: LineNote) -> dict[Verse, Syllable]:
    """Return the syllables under a note, by verse."""
    syllables: dict[Verse, Syllable] = {}
    if struck.copied:
        return syllables
    counts: Counter[str] = Counter()
    said: set[tuple[str, Syllable]] = set()
    for note in struck.notes:
        for lyric in note.iterfind("lyric"):
            syllable = _syllable(lyric)
            label = words(lyric.get("number")) or "1"
            # Some programs put the same words on every note of a chord.
            if syllable is None or (label, syllable) in said:
                continue
            said.add((label, syllable))
            syllables[Verse(label, counts[label])] = syllable
            counts[label] += 1
    return syllables


def order_verses(syllables: Sequence[dict[Verse, Syllable]]) -> tuple[Verse, ...]:
    """Return all verses: numbers in order, then names in the order of the page."""
    verses = list(dict.fromkeys(verse for under in syllables for verse in under))
    labels = {verse.label: count for count, verse in enumerate(verses)}

    def rank(verse: Verse) -> tuple[int, int, int]:
        number = whole(verse.label)
        if number is None:
            return (1, labels[verse.label], verse.nth)
        return (0, number, verse.nth)

    return tuple(sorted(verses, key=rank))


def _syllable(lyric: Element) -> Syllable | None:
    """Return the syllable of a lyric; None if it only draws a line."""
    parts = [child for child in lyric if child.tag in ("text", "elision")]
    # An elision without a sign of its own is drawn as a tie between the syllables.
    default = {"elision": _UNDERTIE}
    joined = "".join(part.text or default.get(part.tag, "") for part in parts).strip()
    if not joined or not any(child.text for child in lyric.iterfind("text")):
        return None
    kinds = [text(kind, ".") for kind in lyric.iterfind("syllabic")]
    extend = lyric.find("extend")
    extends = extend is not None and extend.get("type", "start") == "start"
    return Syllable(
        joined, joins=kinds[-1:] in (["begin"], ["middle"]), extends=extends
    )


class _Run(NamedTuple):
    """Written notes that are tied into one."""

    pitch: Pitch
    parts: list[LineNote]

    @property
    def onset(self) -> Fraction:
        return self.parts[0].onset

    @property
    def end(self) -> Fraction:
        return self.parts[-1].end


def read_notes(
    struck: tuple[LineNote, ...],
    shifts: tuple[Shift, ...],
    page: LaidPart,
    remarks: XmlRemarks,
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
    runs = _tied(struck, shifts, page)
    _tell_loose_ties(runs, remarks)
    _tell_lost(runs, struck, remarks)
    under = [read_syllables(run.parts[0]) for run in runs]
    verses = order_verses(under)
    starts, ends = _slurs(runs)
    notes = [
        TuneNote(
            onset=run.onset,
            length=run.end - run.onset,
            pitch=run.pitch,
            syllables=tuple(map(under[number].get, verses)),
            graces=_graces(run.parts[0], shifts, page),
            fermata=any(_has_fermata(part) for part in run.parts),
            slur_starts=starts[number],
            slur_ends=ends[number],
        )
        for number, run in enumerate(runs)
    ]
    # A fermata over a rest is kept on the rest.
    paused = [part.onset for part in struck if part.rest and _has_fermata(part)]
    return tuple(_with_rests(notes, paused, page)), len(verses)


def _sounding(
    note: Element, onset: Fraction, shifts: tuple[Shift, ...], page: LaidPart
) -> Pitch:
    place = page.place(onset)
    return shift_at(shifts, onset).sounding(read_pitch(note, place), place)


def _tied(
    struck: tuple[LineNote, ...], shifts: tuple[Shift, ...], page: LaidPart
) -> list[_Run]:
    runs: list[_Run] = []
    for part in struck:
        if part.rest:
            continue
        pitch = _sounding(part.notes[0], part.onset, shifts, page)
        last = runs[-1] if runs else None
        meets = last is not None and (last.end, last.pitch) == (part.onset, pitch)
        # Both ends must be written: many files leave one of them behind.
        if last and meets and _tie(last.parts[-1], "start") and _tie(part, "stop"):
            last.parts.append(part)
        else:
            runs.append(_Run(pitch, [part]))
    return runs


def _tie(struck: LineNote, kind: str) -> bool:
    """Whether the tune's own note begins ("start") or ends ("stop") a tie.

    `<tie>` is the sound and `<tied>` the sign; some programs write only the sign.
    """
    if struck.copied:
        return False
    note = struck.notes[0]
    signs = [*note.iterfind("tie"), *note.iterfind("notations/tied")]
    return any(sign.get("type") in (kind, "continue") for sign in signs)


def _tell_loose_ties(runs: list[_Run], remarks: XmlRemarks) -> None:
    for run in runs:
        for part, kind in ((run.parts[0], "stop"), (run.parts[-1], "start")):
            if _tie(part, kind):
                what = f"a tie at {run.pitch} has one end only; nothing was tied."
                remedy = "Tie both notes if they are one."
                remarks.add(XmlCode.TIE, what, part.onset, remedy)


def _tell_lost(
    runs: list[_Run], struck: tuple[LineNote, ...], remarks: XmlRemarks
) -> None:
    """Say which grace notes and words stand where no note is struck."""
    # Only the first of tied notes is struck; what hangs on the others is lost.
    unstruck = [part for run in runs for part in run.parts[1:]]
    for part in (*unstruck, *(part for part in struck if part.rest)):
        if part.graces:
            tell_lost_grace(part.onset, remarks)
        under = read_syllables(part)
        if under:
            said = " / ".join(syllable.text for syllable in under.values())
            what = f'"{said}" stands where no note is struck; it was left out.'
            remarks.add(XmlCode.WORDS, what, part.onset)


def _graces(
    struck: LineNote, shifts: tuple[Shift, ...], page: LaidPart
) -> tuple[Grace, ...]:
    graces = []
    for element in struck.graces:
        pitch = _sounding(element, struck.onset, shifts, page)
        mark = element.find("grace")
        slashed = mark is not None and mark.get("slash") == "yes"
        # Without a type it is drawn as a quaver, as most grace notes are.
        value = note_length(text(element, "type")) or Fraction(1, 2)
        graces.append(Grace(pitch, slashed, value))
    return tuple(graces)


def _has_fermata(struck: LineNote) -> bool:
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
                # A slur over a tie alone binds nothing that is struck.
                if start != count:
                    starts[start] += 1
                    ends[count] += 1
    return starts, ends


def _slur_marks(struck: LineNote) -> list[tuple[str, str]]:
    """Return kind and number of each slur on a note; what ends comes first.

    Some programs repeat the slur on every note of a chord; it counts once.
    """
    if struck.copied:
        return []
    marks: list[tuple[str, str]] = []
    for bundle in (*((grace,) for grace in struck.graces), struck.notes):
        slurs = {
            (slur.get("type", ""), slur.get("number", "1"))
            for note in bundle
            for slur in note.iterfind("notations/slur")
        }
        # "stop" before "start"; a slur that is drawn in pieces "continues" between.
        marks += sorted(f for f in slurs if f[0] == "stop")
        marks += sorted(f for f in slurs if f[0] == "start")
    return marks


def _with_rests(
    notes: list[TuneNote], paused: Sequence[Fraction], page: LaidPart
) -> Iterator[TuneNote]:
    """Yield notes and, for every gap, one rest a bar."""
    now = Fraction(0)
    for note in (*notes, None):
        until = note.onset if note else page.end
        while now < until:
            stop = min(until, page.bar_at(now).end)
            index = bisect_left(paused, now)
            fermata = index < len(paused) and paused[index] < stop
            yield TuneNote(now, stop - now, None, fermata=fermata)
            now = stop
        if note:
            yield note
            now = note.end
