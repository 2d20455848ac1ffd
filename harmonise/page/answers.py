"""What the page is answered: typed values as JSON, files, and refusals.

The classes describe the answers, as those of `requests` describe what is asked.
"""

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Annotated
from urllib.parse import quote

import msgspec
from msgspec import Meta, Struct
from msgspec.structs import asdict
from starlette.responses import Response

from harmonise.errors import HarmoniseError, OutputError, Place
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.page.drawing import Engraved, NotePlaces, PageLine
from harmonise.page.lesson_requests import EarAnswerRequest, PracticeRequest
from harmonise.page.making import (
    fifths_moved,
    parts_in,
    read_source,
    song_order,
    tune_at,
    verse_begins,
)
from harmonise.page.playback import TOO_LONG, Playback, playback, too_long
from harmonise.page.requests import (
    ArrangeRequest,
    DrawRequest,
    PageAnswer,
    ReadRequest,
    Settings,
    Stretch,
)
from harmonise.page.tapping import is_blank, last_sheet, note_places
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Voice
from harmonise.theory.tune import ChordAt, Tune, format_readback

_LINE = re.compile(r'\(line (\d+)(?:: ".*")?\)$')

Count = Annotated[int, Meta(ge=0)]
Midi = Annotated[int, Meta(ge=0, le=127)]
Ids = tuple[str, ...]


class ToldPlace(PageAnswer, frozen=True):
    """A sentence about a place in the tune; None where there is no such place."""

    sentence: Annotated[str, Meta(min_length=1)]
    bar: Count | None
    beat: str | None


class ToldFault(ToldPlace, frozen=True):
    """What went wrong: what it is, what to do, and the line of the text."""

    what: str
    remedy: str
    line: Annotated[int, Meta(ge=1)] | None


class Failure(PageAnswer, frozen=True):
    """The answer to what failed."""

    error: ToldFault


class WrittenLock(PageAnswer, frozen=True):
    """A chord as the page locks it; see `Lock`."""

    onset: Fraction
    end: Fraction
    chord: str
    moved: int = 0


class CarriedChords(PageAnswer, frozen=True):
    """Locked chords after a change of the tune, and in words those that are gone."""

    locks: tuple[WrittenLock, ...]
    lost: tuple[str, ...]


class OpenedWork(PageAnswer, frozen=True):
    """A piece of work that was kept as a file: a text, or a file of another kind."""

    text: str
    name: str
    base64: str
    tune: Count
    settings: Settings
    locks: tuple[WrittenLock, ...]


class ReadTune(PageAnswer, frozen=True):
    """A tune that was read.

    Attributes:
        title: Its title.
        readback: What was understood, in a line.
        text: The tune as it would be typed; None if it cannot be.
        key: Its key.
        chords: The chords that stand over it in its file, which lock nothing yet.
        locked: Those of them that were locked when our own file was written.
        places: From where to where each of its notes stands in the text that was
            typed, as browsers count letters; () for a file.
    """

    title: str
    readback: str
    text: str | None
    key: str
    chords: tuple[WrittenLock, ...]
    locked: tuple[WrittenLock, ...]
    places: tuple[Stretch, ...]


class OfferedPart(PageAnswer, frozen=True):
    """A part of a file: the word by which it is asked for, and what it is called."""

    value: str
    title: str


class ReadTunes(PageAnswer, frozen=True):
    """The tunes of a source; none of a text in which no tune is begun.

    Attributes:
        tunes: The tunes.
        failed: Tunes of a book that cannot be read, each with its reason.
        parts: The parts from which the tune can be taken; () if there is one line.
        time: The time signature at the end, in which tapping goes on.
    """

    tunes: tuple[ReadTune, ...]
    failed: tuple[str, ...]
    parts: tuple[OfferedPart, ...]
    time: str


class DrawnLine(PageAnswer, frozen=True):
    """A line of music.

    Attributes:
        key: The same for the same picture in the same place, for no other.
        markup: The picture, an SVG; None where the page has it already.
        bars: The places of its bars in the tune.
    """

    key: str
    markup: str | None
    bars: Annotated[tuple[Count, ...], Meta(min_length=1)]


class Drawn(PageAnswer, frozen=True):
    """The lines of music of an arrangement, before all that is told of it."""

    svg: Annotated[tuple[DrawnLine, ...], Meta(min_length=1)]


class DrawnBar(PageAnswer, frozen=True):
    """A bar: its place in the tune, its number, and when it is."""

    index: Count
    number: Count
    start: Fraction
    length: Fraction


class OtherChord(PageAnswer, frozen=True):
    """Another good chord, and what the page would lose by it."""

    chord: str
    numeral: str
    cost: int
    reason: str


class ShownSlot(PageAnswer, frozen=True):
    """A chord and all that is told of it.

    Attributes:
        onset: When it begins.
        end: When it ends.
        written: From when to when it lasts in the tune as written, where it can be
            locked; None for what an introduction, a last verse or an Amen adds.
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

    onset: Fraction
    end: Fraction
    written: Annotated[tuple[Fraction, ...], Meta(min_length=2, max_length=2)] | None
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
        by: Who made it.
        key: The key that it stands in.
        order: In which order verses and the rest are sung; "" for a tune as it is.
        readback: The tune read back.
        moved: Fifths upwards that it stands from where the tune is read.
        level: The level of its chords.
        harmonic_rhythm: How often they change.
        svg: Its lines of music.
        bars: Its bars as they are written.
        tune: Ids of the heads of each note of the tune as written.
        slots: Its chords.
        remarks: What is to be told about it.
        spoken: The page in words.
    """

    title: str
    by: str
    key: str
    order: str
    readback: str
    moved: int
    level: Annotated[int, Meta(ge=1, le=4)]
    harmonic_rhythm: HarmonicRhythm
    svg: Annotated[tuple[DrawnLine, ...], Meta(min_length=1)]
    bars: Annotated[tuple[DrawnBar, ...], Meta(min_length=1)]
    tune: tuple[Ids, ...]
    slots: Annotated[tuple[ShownSlot, ...], Meta(min_length=1)]
    remarks: tuple[ToldPlace, ...]
    spoken: str


def failure(sentence: str, error: HarmoniseError | None = None) -> Failure:
    """Return the answer to what failed, with its place."""
    if error is None:
        return Failure(ToldFault(sentence, None, None, sentence, "", None))
    match = _LINE.search(str(error))
    line = int(match[1]) if match else None
    place = _place(error.place)
    return Failure(ToldFault(sentence, *place, error.what, error.remedy, line))


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
        return ReadTunes((), (), (), str(last_sheet(text).passages[-1].time))
    tunes, failed = read_source(asked.source)
    places = note_places(text, tunes) if isinstance(text, str) else [()] * len(tunes)
    read = tuple(map(_tune, tunes, places))
    parts = tuple(OfferedPart(*part) for part in parts_in(asked.source))
    return ReadTunes(read, failed, parts, str(tunes[-1].bars[-1].time))


def _tune(tune: Tune, places: tuple[Stretch, ...]) -> ReadTune:
    try:
        text = format_tune_text(tune)
    except OutputError:
        text = None
    return ReadTune(
        tune.title,
        format_readback(tune),
        text,
        str(tune.key),
        written_locks(tune.symbols),
        written_locks(tune.were_locked),
        places,
    )


def written_locks(locks: Iterable[ChordAt]) -> tuple[WrittenLock, ...]:
    """Return locked chords as the page keeps them."""
    return tuple(WrittenLock(one.onset, one.end, one.chord.symbol) for one in locks)


def drawn_lines(
    asked: DrawRequest | PracticeRequest | EarAnswerRequest, lines: Iterable[PageLine]
) -> tuple[DrawnLine, ...]:
    """Return lines of music as they are sent: what the page has goes without markup."""
    known = set(asked.known)
    return tuple(
        DrawnLine(line.key, None if line.key in known else line.markup, line.bars)
        for line in lines
    )


def told_arrangement(
    asked: DrawRequest, arrangement: Arrangement, drawn: Engraved
) -> Arranged:
    """Return an arrangement with its engraving.

    Args:
        asked: What was asked for.
        arrangement: The arrangement.
        drawn: Its lines of music, and where its notes and symbols stand in them.
    """
    tune, style = arrangement.tune, arrangement.style
    arranging = asked.arranging
    return Arranged(
        **asdict(playback(arrangement, drawn.places)),
        title=tune.title,
        by=tune.composer,
        key=str(tune.key),
        order=song_order(arranging),
        readback=format_readback(tune),
        moved=fifths_moved(arranging, arrangement),
        level=style.level,
        harmonic_rhythm=style.harmonic_rhythm,
        svg=drawn_lines(asked, drawn.lines),
        bars=tuple(
            DrawnBar(index, bar.number, bar.start, bar.length)
            for index, bar in enumerate(tune.bars)
        ),
        tune=tuple(_tune_notes(arrangement, drawn.places, arranging)),
        slots=tuple(_slots(arrangement, drawn.places, arranging)),
        remarks=tuple(
            ToldPlace(str(remark), *_place(remark.place))
            for remark in (
                *arrangement.remarks,
                *([TOO_LONG] if too_long(tune) else ()),
            )
        ),
        spoken=format_spoken(arrangement),
    )


def _tune_notes(
    arrangement: Arrangement, marks: NotePlaces, asked: ArrangeRequest
) -> Iterator[Ids]:
    begins = verse_begins(asked, arrangement)
    end = begins + tune_at(asked.source, asked.tune).end
    for note, ids in zip(arrangement.notes, marks.names, strict=True):
        if note.voice is Voice.TUNE and begins <= note.onset < end:
            yield ids


def _slots(
    arrangement: Arrangement, marks: NotePlaces, asked: ArrangeRequest
) -> Iterator[ShownSlot]:
    begins = verse_begins(asked, arrangement)
    length = tune_at(asked.source, asked.tune).end
    for index, slot in enumerate(arrangement.slots):
        written = (slot.onset - begins, slot.end - begins)
        yield ShownSlot(
            slot.onset,
            slot.end,
            written if 0 <= written[0] < length else None,
            *_place(slot.place),
            chord=str(slot.chord) if slot.chord else None,
            numeral=slot.numeral,
            position=slot.position.value if slot.position else "",
            reason=slot.reason,
            locked=slot.locked,
            kept=marks.kept[index],
            alternatives=tuple(
                OtherChord(str(other.chord), other.numeral, other.cost, other.reason)
                for other in slot.alternatives
            ),
            notes=marks.at_slots[index],
            symbol=marks.symbols.get(slot.onset),
        )


def json_reply(value: Struct, status: int = 200) -> Response:
    """Return a value as JSON."""
    content = msgspec.json.encode(value, enc_hook=str)
    return Response(content, status, None, "application/json")


def refused(status: int, sentence: str, wait: int = 0) -> Response:
    """Return a refusal in one sentence.

    Args:
        status: Its HTTP status.
        sentence: What is wrong.
        wait: Seconds after which it is worth asking again; 0 for none.
    """
    reply = json_reply(failure(sentence), status)
    if wait:
        reply.headers["Retry-After"] = str(wait)
    return reply


def attached(content: bytes, name: str, media: str) -> Response:
    """Return a file to keep.

    Args:
        content: What it holds.
        name: Its name.
        media: Its media type.
    """
    reply = Response(content, 200, None, media)
    # Letters of all languages go as RFC 6266 has it; old readers get a plain name.
    plain = re.sub(r"[^A-Za-z0-9.-]+", "", name).lstrip("-.") or "tune"
    told = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}"
    reply.headers["Content-Disposition"] = told
    return reply


def slug(title: str) -> str:
    """Return a title as the name of a file, without its ending.

    >>> slug("The Water of Tyne!"), slug("Калинка моя")
    ('the-water-of-tyne', 'калинка-моя')
    """
    return re.sub(r"[^\w]+|_+", "-", title.lower()).strip("-")[:60] or "tune"
