"""A recording of the page becomes typed text, whole or a few bars of it.

The sound is heard and forgotten: nothing of it is written anywhere. Bars that are sung
again take the place of the same bars of the text; all else stays as it stands, the
marks of what is doubtful among it.
"""

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction

from harmonise.errors import HarmoniseError, NotationError, Place, Remark
from harmonise.notation.formats import parse_tunes
from harmonise.notation.midi.spelling import spell
from harmonise.notation.recording.click import DOUBTS, QUESTIONS, Click
from harmonise.notation.recording.hearing import parse_recording
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.page.requests import HearRequest, PageAnswer
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune, TuneNote

_MARK = re.compile(
    r"^% \? (?:Bar (\d{1,5})|(The pickup)), beat ([\d /]{1,12}): (.+)$", re.MULTILINE
)
"""A doubtful place, as tune text has it."""
_ASKED = re.compile(r"^% \? ((?!Bar \d|The pickup, beat ).+)$", re.MULTILINE)
"""A question about the whole tune."""
_ANY, _QUESTION = min(DOUBTS), min(QUESTIONS)


class HeardText(PageAnswer, frozen=True):
    """What was heard.

    Attributes:
        text: The tune as typed text, its doubtful places marked.
        told: What is to be said of it.
    """

    text: str
    told: tuple[str, ...]


def heard_text(asked: HearRequest) -> HeardText:
    """Return a recording as typed text, or a text with some bars sung anew.

    Raises:
        HarmoniseError: If no tune is heard, or the text has no such bars.
    """
    (heard,) = parse_recording(asked.base64, _click(asked))
    if not asked.bars:
        return HeardText(_titled(heard, asked.text), _told(heard.remarks))
    (tune, *_) = parse_tunes(asked.text.encode())
    first, last = _bars(asked.bars)
    mended = _with_bars(_marked(tune, asked.text), heard, first, last)
    return HeardText(format_tune_text(mended), _told(heard.remarks))


def _click(asked: HearRequest) -> Click:
    time = None
    if asked.time is not None:
        upper, lower = asked.time.split("/")
        time = TimeSignature(int(upper), int(lower))
    tempo = None if asked.tempo is None else Fraction(asked.tempo)
    return Click(tempo, time, None, asked.down if tempo else None)


def _titled(heard: Tune, text: str) -> str:
    """Return a heard tune as text under the title that the page has now."""
    try:
        title = parse_tunes(text.encode())[0].title
    except HarmoniseError:
        found = re.search(r"^Title:[ \t]*(.*)$", text, re.MULTILINE)
        title = found[1] if found else ""
    return format_tune_text(heard._replace(title=title))


def _told(remarks: Sequence[Remark]) -> tuple[str, ...]:
    return tuple(str(remark) for remark in remarks)


def _bars(typed: str) -> tuple[int, int]:
    numbers = [int(number) for number in re.findall(r"\d+", typed)]
    return numbers[0], numbers[-1]


def _marked(tune: Tune, text: str) -> Tune:
    """Return a typed tune with the doubtful places that its text marks."""
    marks = tuple(
        Remark(_ANY, what, Place(int(bar or 0), _beat(beat)))
        for bar, _, beat, what in _MARK.findall(text)
    )
    asked = tuple(Remark(_QUESTION, what) for what in _ASKED.findall(text))
    return tune._replace(remarks=(*tune.remarks, *asked, *marks))


def _beat(told: str) -> Fraction:
    """Return a beat as sentences tell it: "2 1/2"."""
    try:
        return sum(map(Fraction, told.split()), Fraction(0))
    except (ValueError, ZeroDivisionError):
        return Fraction(1)


def _with_bars(tune: Tune, heard: Tune, first: int, last: int) -> Tune:
    """Return a tune in which some bars are as they were heard, with their doubts."""
    there = [bar for bar in tune.bars if first <= bar.number <= last]
    if not there or first > last:
        what = f"The tune has no bars {first}-{last}."
        remedy = f"It has bars {tune.bars[0].number} to {tune.bars[-1].number}."
        raise NotationError(what, None, remedy)
    start, end = there[0].start, there[-1].end
    _assert_metre(heard.bars[-1], there[0])
    sung = tuple(_sung(tune, heard, start, end))
    notes = (*_before(tune, start), *sung, *_after(tune, end))
    number = there[0].number - 1
    kept = [
        mark
        for mark in tune.remarks
        if mark.code not in DOUBTS
        or not mark.place
        or not first <= mark.place.bar <= last
    ]
    new = [
        mark._replace(place=mark.place._replace(bar=mark.place.bar + number))
        for mark in heard.remarks
        if mark.code in DOUBTS and mark.place and 0 < mark.place.bar <= len(there)
    ]
    return tune._replace(notes=_filled(notes, tune.end), remarks=(*kept, *new))


def _assert_metre(heard: Bar, there: Bar) -> None:
    if heard.time.bar_length != there.time.bar_length:
        what = f"These bars are in {there.time}, and were sung in {heard.time}."
        remedy = f"Choose {there.time} and sing them again."
        raise NotationError(what, Place(there.number), remedy)


def _before(tune: Tune, start: Fraction) -> Iterator[TuneNote]:
    for note in tune.notes:
        if note.onset < start:
            yield note._replace(length=min(note.length, start - note.onset))


def _after(tune: Tune, end: Fraction) -> Iterator[TuneNote]:
    return (note for note in tune.notes if note.onset >= end)


def _sung(
    tune: Tune, heard: Tune, start: Fraction, end: Fraction
) -> Iterator[TuneNote]:
    """Yield the heard notes of some bars, spelled in the key that is in force there."""
    first = heard.bars[0]
    downbeat = first.end if first.offset else Fraction(0)
    notes = [
        note._replace(onset=note.onset - downbeat + start)
        for note in heard.sounding
        if 0 <= note.onset - downbeat < end - start
    ]
    shift = _octaves(tune, notes, start, end)
    midis = [note.pitch.midi + shift for note in notes if note.pitch]
    pitches = spell(midis, [tune.key_at(note.onset) for note in notes])
    none = (None,) * tune.verses
    for note, pitch in zip(notes, pitches, strict=True):
        length = min(note.length, end - note.onset)
        yield TuneNote(note.onset, length, pitch, none)


def _octaves(
    tune: Tune, notes: Sequence[TuneNote], start: Fraction, end: Fraction
) -> int:
    """Return the octaves, in semitones, that bring notes to those they stand for."""
    old = [n.pitch.midi for n in tune.sounding if n.pitch and start <= n.onset < end]
    old = old or [n.pitch.midi for n in tune.sounding if n.pitch]
    new = [note.pitch.midi for note in notes if note.pitch]
    if not old or not new:
        return 0
    return 12 * round((sum(old) / len(old) - sum(new) / len(new)) / 12)


def _filled(notes: Sequence[TuneNote], end: Fraction) -> tuple[TuneNote, ...]:
    """Return notes with rests wherever none of them sounds."""
    whole: list[TuneNote] = []
    now = Fraction(0)
    for note in (*notes, TuneNote(end, Fraction(1), None)):
        if note.onset > now:
            whole.append(TuneNote(now, note.onset - now, None))
        whole.append(note)
        now = note.end
    return tuple(whole[:-1])
