"""A heard line on paper: bars, places, lengths and key, as of any performance.

The reader of MIDI files does this for all that is played: its grid, with quarters of a
beat and triplets where they fit better, its lengths, its pickup, its key and spelling.
Here the line is handed to it, and what is doubtful is told with bar and beat.
"""

import math
from collections.abc import Iterator, Sequence
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import RemarkList
from harmonise.notation.midi.beat_grid import Metre, MetreStretch, OnsetGrid, fit_onsets
from harmonise.notation.midi.events import MidiWords
from harmonise.notation.midi.placing import MidiBars, Placed, lay_bars, set_lengths
from harmonise.notation.midi.reading import paper_notes
from harmonise.notation.midi.spelling import guess_key, spell
from harmonise.notation.midi.tracks import PlayedNote, count
from harmonise.notation.recording.click import Click
from harmonise.notation.recording.line import HeardLine, HeardNote, is_doubtful
from harmonise.notation.recording.pickup import likely_pickup
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.phrases import find_lines
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import KeyChange, Tempo, Tune

_QUARTER = Fraction(1, 4)
_TICKS = 960
"""Ticks of a crotchet, as a performance is handed on."""
_STRAY = 0.03
"""Seconds by which singers stray from a click, the ear's own error included."""
_PLAIN = 5.5
"""Price of the finest division that is tried: quarters, and triplets."""
_DOUBT, _FOREIGN_DOUBT = 0.8, 0.45
"""Doubts from which a pitch is asked about, in the key and outside it."""


class EarCode(Enum):
    """What a remark is about; the value is its short name."""

    HEARD = "R01"
    GUESS = "R02"
    KEY = "R03"
    OCTAVE = "R04"
    TUNING = "R05"
    CLIPPED = "R06"
    PITCH = "R07"
    STRUCK = "R08"
    HELD = "R09"
    LOST = "R10"
    PICKUP = "R11"
    TIME = "R12"


class _Paper(NamedTuple):
    """Notes as heard and as they stand on paper."""

    heard: Sequence[HeardNote]
    placed: Sequence[Placed]
    page: MidiBars
    key: Key
    shift: int


def set_on_paper(
    line: HeardLine, click: Click, shift: int, remarks: RemarkList
) -> Tune:
    """Return a heard line as a tune.

    Args:
        line: The notes, at least one.
        click: How they are counted.
        shift: Semitones by which they are written higher.
        remarks: What was told of them until now; told on.
    """
    paper = _laid(_begun(line, click), click, shift, remarks)
    keys = (KeyChange(Fraction(0), paper.key),)
    none = MidiWords({}, frozenset())
    notes = paper_notes(paper.placed, paper.page, keys, none)
    beat = click.metre.beat
    tempo = click.tempo or Fraction(round(60 / line.crotchet / beat))
    _tell_count(click, tempo, remarks)
    if click.pickup is None and click.down is None:
        _ask_pickup(likely_pickup(paper.placed, click.metre), remarks)
    what = f"Nobody named the key: read as {paper.key}, which is a guess by the notes."
    remarks.add(EarCode.KEY, what, None, "Name the key if it is another.")
    for onset, code, told in _doubts(paper):
        remarks.add(code, told, onset - paper.page.start)
    tune = Tune(
        title="",
        notes=notes,
        bars=paper.page.bars,
        keys=keys,
        tempos=(Tempo(Fraction(0), tempo, beat),),
        phrases=find_lines(notes, paper.page.bars),
        key_guessed=True,
    )
    return tune._replace(remarks=remarks.told(tune.place))


def _begun(line: HeardLine, click: Click) -> HeardLine:
    """Return a line whose first note stands where the tune begins."""
    first = line.notes[0]
    if click.down is None:
        # However early it came, the tune begins with it.
        opening = first._replace(place=-float(click.before))
        return line._replace(notes=(opening, *line.notes[1:]))
    full = click.metre.bar_length
    # Who came in bars too early did not mean a pickup of bars.
    ahead = Fraction(round(-4 * first.place), 4)
    early = float(max(ahead // full, 0) * full)
    return line._replace(
        notes=tuple(
            note._replace(
                place=note.place + early,
                end=note.end + early,
                unstruck=tuple(place + early for place in note.unstruck),
            )
            for note in line.notes
        )
    )


def _laid(line: HeardLine, click: Click, shift: int, remarks: RemarkList) -> _Paper:
    """Return the notes of a line on their places; what has none is told."""
    before = _pickup(line.notes, click)
    metre = _metre(click.metre, before)
    played = [_played(note, before, shift) for note in line.notes]
    onsets, kept = _apart(_grid(played, line, metre))
    rows = [row for row, stays in zip(line.notes, kept, strict=True) if stays]
    played = [note for note, stays in zip(played, kept, strict=True) if stays]
    if lost := kept.count(False):
        what = f"Too short to have a place of their own, so left out: {lost} of "
        remarks.add(EarCode.LOST, f"{what}{count(len(kept), 'note')}.")
    grid = OnsetGrid(onsets, is_exact=False)
    placed = set_lengths(played, grid, _TICKS, metre)
    page = lay_bars(placed, metre, RemarkList())
    first = page.bars[0]
    downbeat = page.start + (first.end if first.offset else Fraction(0))
    return _Paper(rows, placed, page, guess_key(placed, downbeat), shift)


def _pickup(notes: Sequence[HeardNote], click: Click) -> Fraction:
    """Return the crotchets before the first full bar, whole beats of the text."""
    unit, full = click.metre.unit, click.metre.bar_length
    before = Fraction(0)
    if click.pickup:
        # Typed tunes have no pickup of half a beat; a rest fills it up.
        before = math.ceil(click.pickup) * unit
    elif click.down is not None and notes[0].place < 0:
        quarters = Fraction(round(-notes[0].place * 4), 4)
        before = math.ceil(quarters / unit) * unit
    # A count-in of a bar or more has no notes of the tune in it.
    return before % full


def _metre(time: TimeSignature, before: Fraction) -> Metre:
    if not before:
        return Metre((MetreStretch(Fraction(0), time),))
    beats = before / time.unit
    # Parts of a beat have a signature of smaller notes.
    finer = beats.denominator
    short = TimeSignature(int(beats * finer), time.beat_type * finer)
    return Metre((MetreStretch(Fraction(0), short), MetreStretch(before, time)))


def _played(note: HeardNote, before: Fraction, shift: int) -> PlayedNote:
    start = max(round((note.place + float(before)) * _TICKS), 0)
    end = max(round((note.end + float(before)) * _TICKS), start + 1)
    return PlayedNote(start, end, note.midi + shift, 0)


def _apart(
    onsets: Sequence[Fraction],
) -> tuple[tuple[Fraction, ...], tuple[bool, ...]]:
    """Return onsets of which no two are one, and which of the notes have one.

    Of two notes on one place the second goes to the next quarter if that is free, or
    the first to the one before it; else the second is left out.
    """
    places: list[Fraction] = []
    kept: list[bool] = []
    for number, onset in enumerate(onsets):
        place, stays = onset, True
        if places and place <= places[-1]:
            place = places[-1] + _QUARTER
            after = onsets[number + 1] if number + 1 < len(onsets) else place + 1
            before = places[-2] if len(places) > 1 else -_QUARTER
            if place >= after and places[-1] - _QUARTER > before:
                places[-1], place = places[-1] - _QUARTER, onset
            elif place >= after:
                stays = False
        kept.append(stays)
        if stays:
            places.append(place)
    return tuple(places), tuple(kept)


def _grid(
    played: Sequence[PlayedNote], line: HeardLine, metre: Metre
) -> tuple[Fraction, ...]:
    onsets = [Fraction(note.start, _TICKS) for note in played]
    if line.pulse and not line.pulse.is_steady:
        # The pulse was laid through these very notes: they stand on their places.
        return tuple(Fraction(round(4 * onset), 4) for onset in onsets)
    stray = _STRAY / line.crotchet
    return fit_onsets(onsets, metre, stray, dearest=_PLAIN).onsets


def _tell_count(click: Click, tempo: Fraction, remarks: RemarkList) -> None:
    time = click.metre
    if click.tempo is None:
        remarks.add(
            EarCode.GUESS,
            f"Nobody gave the beat, so the rhythm is a guess: {time}, {tempo} beats a "
            "minute. Is the beat this fast?",
            None,
            "If it is not, sing the tune to a click, and name tempo and time.",
        )
        return
    first = "the first note is taken for the first beat of a bar"
    if click.pickup:
        beats = f"{float(click.pickup):g} beat{'s' * (click.pickup > 1)}"
        first = f"a pickup of {beats} comes before bar 1"
    elif click.down is not None:
        first = "bar 1 begins where the count-in ended"
    remarks.add(EarCode.HEARD, f"Heard to a click of {tempo} in {time}; {first}.")


def _ask_pickup(beats: Fraction, remarks: RemarkList) -> None:
    if not beats:
        return
    told = f"{beats} beat{'s' * (beats > 1)}"
    what = f"Is there a pickup of {told}? Then longer notes would begin the bars."
    remarks.add(EarCode.PICKUP, what, None, f"If there is, name a pickup of {told}.")


def _doubts(paper: _Paper) -> Iterator[tuple[Fraction, EarCode, str]]:
    scale = {name.pitch_class for name in paper.key.scale}
    for note, placed in zip(paper.heard, paper.placed, strict=True):
        here, maybe = (
            _named(midi + paper.shift, paper.key) for midi in (note.midi, note.other)
        )
        foreign = here.midi % 12 not in scale and maybe.midi % 12 in scale
        if note.odds is None and note.doubt > (_FOREIGN_DOUBT if foreign else _DOUBT):
            yield placed.onset, EarCode.PITCH, f"{here}, maybe {maybe}."
        if is_doubtful(note):
            yield placed.onset, EarCode.STRUCK, f"{here}, maybe held on, not struck."
        for place in note.unstruck:
            quarters = Fraction(round(4 * (place - note.place)), 4)
            at = placed.onset + quarters
            if placed.onset < at < placed.end:
                yield at, EarCode.HELD, f"{here} goes on, maybe struck again here."


def _named(midi: int, key: Key) -> Pitch:
    return spell([midi], [key])[0]
