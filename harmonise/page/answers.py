"""What the page is answered: plain values as JSON.

Answers that every part of the server gives: JSON, files, refusals.
"""

import re
from collections.abc import Iterator
from typing import Annotated

import msgspec
from msgspec import Meta, Struct
from msgspec.structs import asdict
from starlette.responses import Response

from harmonise.errors import HarmoniseError, OutputError, Place, Remark
from harmonise.notation.paper.blocks import System
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.page.drawing import NotePlaces, Sounding, by_slot
from harmonise.page.memory import fifths_moved, tunes_in
from harmonise.page.playback import TOO_LONG, Playback, playback, too_long
from harmonise.page.requests import ArrangeRequest, ReadRequest, TapRequest
from harmonise.page.tapping import Tapped, is_blank, last_sheet, tapped
from harmonise.theory.arrangement import Arrangement, Hand, HarmonicRhythm
from harmonise.theory.tune import Tune, format_readback

_LINE = re.compile(r'\(line (\d+)(?:: ".*")?\)$')

Count = Annotated[int, Meta(ge=0)]
Midi = Annotated[int, Meta(ge=0, le=127)]
Crotchets = Annotated[
    str,
    Meta(
        pattern="^[0-9]+(/[1-9][0-9]*)?$",
        description="crotchets of the written page",
    ),
]
Ids = tuple[str, ...]


class Answer(Struct, frozen=True, forbid_unknown_fields=True, rename="camel"):
    """A JSON object that the page is answered with; all its fields are always there."""


class ToldPlace(Answer, frozen=True):
    """A sentence about a place in the tune; None where there is no such place."""

    sentence: Annotated[str, Meta(min_length=1)]
    bar: Count | None
    beat: str | None


class ToldFault(ToldPlace, frozen=True):
    """What went wrong: what it is, what to do, and the line of the text."""

    what: str
    remedy: str
    line: Annotated[int, Meta(ge=1)] | None


class Failure(Answer, frozen=True):
    """The answer to what failed."""

    error: ToldFault


class ReadTune(Answer, frozen=True):
    """A tune that was read; its text is None if it cannot be typed."""

    title: str
    readback: str
    text: str | None
    key: str


class ReadTunes(Answer, frozen=True):
    """The tunes of a source; none of a text in which no tune is begun.

    Attributes:
        tunes: The tunes.
        time: The time signature at the end, in which tapping goes on.
    """

    tunes: tuple[ReadTune, ...]
    time: str


class TappedText(Answer, frozen=True):
    """A tapped text, and how much of its last beat was tapped."""

    text: str
    taken: Crotchets


class DrawnLine(Answer, frozen=True):
    """A line of music: an SVG, and the places of its bars in the tune."""

    markup: str
    bars: Annotated[tuple[Count, ...], Meta(min_length=1)]


class DrawnBar(Answer, frozen=True):
    """A bar: its place in the tune, its number, and when it is."""

    index: Count
    number: Count
    start: Crotchets
    length: Crotchets


class OtherChord(Answer, frozen=True):
    """Another good chord, and what the page would lose by it."""

    chord: str
    numeral: str
    cost: int
    reason: str


class ShownSlot(Answer, frozen=True):
    """A chord and all that is told of it.

    Attributes:
        onset: When it begins.
        end: When it ends.
        bar: Number of its bar.
        beat: Its beat.
        chord: Its symbol; None for no chord.
        numeral: Its Roman numeral.
        position: The position of the right hand.
        reason: Why it is there.
        locked: Whether the user locked it.
        kept: The keys that it shares with the chord before.
        alternatives: The other good chords.
        notes: Ids of the heads that sound when it begins.
        symbol: Id of its symbol; None if none is printed.
    """

    onset: Crotchets
    end: Crotchets
    bar: Count | None
    beat: str | None
    chord: str | None
    numeral: str
    position: str
    reason: str
    locked: bool
    kept: tuple[Midi, ...]
    alternatives: tuple[OtherChord, ...]
    notes: Ids
    symbol: str | None


class Arranged(Playback, frozen=True, kw_only=True):
    """An arrangement as it is drawn, told and played.

    Attributes:
        title: The title of the tune.
        readback: The tune read back.
        moved: Fifths upwards that it stands from where the tune is read.
        level: The level of its chords.
        harmonic_rhythm: How often they change.
        svg: Its lines of music.
        bars: Its bars as they are written.
        slots: Its chords.
        remarks: What is to be told about it.
        spoken: The page in words.
    """

    title: str
    readback: str
    moved: int
    level: Annotated[int, Meta(ge=1, le=4)]
    harmonic_rhythm: HarmonicRhythm
    svg: Annotated[tuple[DrawnLine, ...], Meta(min_length=1)]
    bars: Annotated[tuple[DrawnBar, ...], Meta(min_length=1)]
    slots: Annotated[tuple[ShownSlot, ...], Meta(min_length=1)]
    remarks: tuple[ToldPlace, ...]
    spoken: str


def failure(sentence: str, error: HarmoniseError | None = None) -> Failure:
    """Return the answer to what failed, with its place."""
    if error is None:
        return Failure(ToldFault(sentence, None, None, sentence, "", None))
    line = _LINE.search(str(error))
    return Failure(
        ToldFault(
            sentence,
            *_place(error.place),
            error.what,
            error.remedy,
            int(line[1]) if line else None,
        )
    )


def _place(place: Place | None) -> tuple[int | None, str | None]:
    if place is None:
        return None, None
    return place.bar, None if place.beat is None else str(place.beat)


def told_tunes(asked: ReadRequest) -> ReadTunes:
    """Return what was read.

    Raises:
        HarmoniseError: If it cannot be.
    """
    text = asked.source.text
    if isinstance(text, str) and is_blank(text):
        return ReadTunes((), str(last_sheet(text).passages[-1].time))
    tunes = tunes_in(asked.source)
    return ReadTunes(tuple(map(_tune, tunes)), str(tunes[-1].bars[-1].time))


def told_tapped(asked: TapRequest) -> TappedText:
    """Return a text with something tapped at its end.

    Raises:
        NotationError: If it cannot be tapped into.
    """
    found = tapped(Tapped(asked.text, asked.taken), asked.put, asked.length)
    return TappedText(found.text, str(found.taken))


def _tune(tune: Tune) -> ReadTune:
    try:
        text = format_tune_text(tune)
    except OutputError:
        text = None
    return ReadTune(tune.title, format_readback(tune), text, str(tune.key))


def told_arrangement(
    asked: ArrangeRequest,
    done: Arrangement,
    systems: tuple[System, ...],
    marks: NotePlaces,
) -> Arranged:
    """Return an arrangement with its engraving.

    Args:
        asked: What was asked for.
        done: The arrangement.
        systems: Its lines of music.
        marks: Where its notes and symbols stand in them.
    """
    tune, style = done.tune, done.style
    return Arranged(
        **asdict(playback(done, marks)),
        title=tune.title,
        readback=format_readback(tune),
        moved=fifths_moved(asked, done),
        level=style.level,
        harmonic_rhythm=style.harmonic_rhythm,
        svg=tuple(map(_line, systems)),
        bars=tuple(
            DrawnBar(index, bar.number, str(bar.start), str(bar.length))
            for index, bar in enumerate(tune.bars)
        ),
        slots=tuple(_slots(done, marks)),
        remarks=tuple(
            ToldPlace(str(remark), *_place(remark.place))
            for remark in (*done.remarks, *_long(tune))
        ),
        spoken=format_spoken(done),
    )


def _line(system: System) -> DrawnLine:
    return DrawnLine(system.svg, tuple(int(name[1:]) for name in system.bars))


def _long(tune: Tune) -> tuple[Remark, ...]:
    return (TOO_LONG,) if too_long(tune) else ()


def _slots(done: Arrangement, marks: NotePlaces) -> Iterator[ShownSlot]:
    shared = kept(done)
    for index, slot in enumerate(done.slots):
        yield ShownSlot(
            str(slot.onset),
            str(slot.end),
            *_place(slot.place),
            chord=str(slot.chord) if slot.chord else None,
            numeral=slot.numeral,
            position=slot.position.value if slot.position else "",
            reason=slot.reason,
            locked=slot.locked,
            kept=tuple(shared[index]),
            alternatives=tuple(
                OtherChord(str(other.chord), other.numeral, other.cost, other.reason)
                for other in slot.alternatives
            ),
            notes=marks.at_slots[index],
            symbol=marks.symbols.get(slot.onset),
        )


def kept(done: Arrangement) -> list[list[int]]:
    """Return for each slot the keys that its chord shares with the one before.

    A key is the MIDI number of a note of the right hand that sounds when the slot
    begins, sounded in the slot before and belongs to both chords. Where the chord goes
    on there are none.
    """
    notes = [
        Sounding(float(note.onset), float(note.onset + note.length), note.pitch.midi)
        for note in done.notes
        if note.hand is Hand.RIGHT
    ]
    spans = [(float(slot.onset), float(slot.end)) for slot in done.slots]
    found: list[list[int]] = []
    was: set[int] = set()
    chord = None
    for slot, sounding in zip(done.slots, by_slot(notes, spans), strict=True):
        own = slot.chord.pitch_classes if slot.chord else ()
        now = {note.note for note in sounding if note.note % 12 in own}
        begins = {note.note for note in sounding if note.start <= float(slot.onset)}
        found.append(sorted(was & now & begins) if slot.chord != chord else [])
        was, chord = now, slot.chord
    return found


def told(value: Struct, status: int = 200) -> Response:
    """Return a value as JSON."""
    return Response(msgspec.json.encode(value), status, None, "application/json")


def refused(status: int, sentence: str, wait: int = 0) -> Response:
    """Return a refusal in one sentence.

    Args:
        status: Its HTTP status.
        sentence: What is wrong.
        wait: Seconds after which it is worth asking again; 0 for none.
    """
    reply = told(failure(sentence), status)
    if wait:
        reply.headers["Retry-After"] = str(wait)
    return reply


def attached(content: bytes, name: str, media: str) -> Response:
    """Return a file to keep.

    Args:
        content: What it holds.
        name: Its name; letters, digits, hyphens and full stops.
        media: Its media type.
    """
    reply = Response(content, 200, None, media)
    reply.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return reply


def slug(title: str) -> str:
    """Return a title as the name of a file, without its ending.

    >>> slug("The Water of Tyne!")
    'the-water-of-tyne'
    """
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60] or "tune"
