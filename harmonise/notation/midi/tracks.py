"""Bytes of a Standard MIDI File as plain values: tracks of notes, and the signs.

Times are whole ticks from the start of the file; `MidiScore.ticks` of them make a
crotchet. mido parses the bytes; all that it raises becomes one sentence of ours. What
the readers have to remark has its codes here.
Source: MIDI Association, Standard MIDI Files 1.0 (RP-001).
"""

import re
from collections.abc import Callable, Iterable, Sequence
from enum import Enum
from io import BytesIO
from operator import attrgetter, itemgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from harmonise.errors import LibraryError, NotationError

if TYPE_CHECKING:
    from mido import Message, MidiFile, MidiTrack

LINE_END = "end of line"
"""The text event that stands where a line of the tune ends."""
COMPOSER = "Composer: "
"""How the text event begins that names the composer."""
DRUMS = 9
"""Channel 10 of General MIDI, counted from 0, is percussion."""

_BROKEN = "Export it again from the program that made it."
_SIGNATURE = re.compile(rb"\xff\x59\x02(..)", re.DOTALL)
_ENDLESS = re.compile(rb"[\x80-\xff]{20000}")
"""A number so long that no program writes it; reading it would take for ever."""

_Events = dict[str, list[tuple[int, Any]]]
"""By kind: tick and value of each event; `Any`, because mido has no types."""


class PlayedNote(NamedTuple):
    """One note as it is played.

    Attributes:
        start: Tick at which it begins.
        end: Tick at which it ends; that of its start for a grace note.
        midi: Note number; C4 is 60.
        channel: Channel, from 0.
    """

    start: int
    end: int
    midi: int
    channel: int


class Track(NamedTuple):
    """One track.

    Attributes:
        name: Its name; "" if it has none.
        notes: Its notes in order, those of channel 10 too.
        lyrics: Ticks and syllables.
        endless: Whether the file says of none of its notes when it ends.
    """

    name: str
    notes: tuple[PlayedNote, ...]
    lyrics: tuple[tuple[int, str], ...]
    endless: bool = False


class MidiScore(NamedTuple):
    """A whole file.

    Attributes:
        kind: 0 for one track of many channels, 1 for tracks that play together.
        ticks: Ticks in a crotchet.
        tracks: The tracks.
        times: Ticks and the two numbers of each time signature.
        keys: Ticks and names of the key signatures, such as "F#m".
        tempos: Ticks and microseconds of a crotchet.
        markers: Ticks and texts of the markers.
        lines: Ticks at which lines of the tune end, where we wrote the file.
        origin: The copyright line; "" if there is none.
        composer: What follows "Composer:" in a text; "" if there is none.
        odd_key: Whether a key signature was left out because no key is meant by it.
    """

    kind: int
    ticks: int
    tracks: tuple[Track, ...]
    times: tuple[tuple[int, tuple[int, int]], ...]
    keys: tuple[tuple[int, str], ...]
    tempos: tuple[tuple[int, int], ...]
    markers: tuple[tuple[int, str], ...]
    lines: tuple[int, ...]
    origin: str
    composer: str
    odd_key: bool


def parse_file(data: bytes) -> MidiScore:
    """Return the values of a Standard MIDI File of type 0 or 1.

    Raises:
        NotationError: If it is broken or of another kind.
        LibraryError: If mido is not installed.
    """
    mended = _SIGNATURE.sub(_without_odd_key, data)
    file = _open(mended)
    _refuse_other_kinds(file)
    return _score(file, odd_key=mended != data)


def _open(data: bytes) -> "MidiFile":
    try:
        from mido import MidiFile  # noqa: PLC0415
    except ImportError as error:
        raise LibraryError("MIDI files need", "mido") from error
    # mido would read such a number for minutes; it belongs to no kind of event.
    if _ENDLESS.search(data):
        raise NotationError("This MIDI file is broken.", None, _BROKEN)
    try:
        return MidiFile(file=BytesIO(data))
    except EOFError as error:
        what = "This MIDI file is broken: it ends too early."
        raise NotationError(what, None, _BROKEN) from error
    except Exception as error:  # A broken file makes mido raise almost anything.
        raise NotationError("This MIDI file is broken.", None, _BROKEN) from error


def _without_odd_key(found: re.Match[bytes]) -> bytes:
    """Return a key signature as it is, or made a private event if it names no key."""
    fifths, mode = found.group(1)
    # Sharps are a signed byte: 249 is seven flats. mido refuses all that is odd.
    if mode in (0, 1) and (fifths <= 7 or fifths >= 249):
        return found.group()
    return b"\xff\x7f\x02" + found.group(1)


def _refuse_other_kinds(file: "MidiFile") -> None:
    if file.type == 2:
        raise NotationError(
            "This MIDI file is of type 2, several pieces that do not belong together; "
            "types 0 and 1 are read.",
            None,
            "Save the tune alone, as type 0 or 1.",
        )
    if file.ticks_per_beat < 0:
        raise NotationError(
            "This MIDI file counts film frames (SMPTE time), not beats, so it has no "
            "bars.",
            None,
            "Export it with a number of ticks in each beat.",
        )
    if file.type not in (0, 1) or file.ticks_per_beat == 0:
        raise NotationError("This MIDI file is broken.", None, _BROKEN)


def _score(file: "MidiFile", *, odd_key: bool) -> MidiScore:
    events = [_events(track) for track in file.tracks]

    def all_of(kind: str) -> tuple[tuple[int, Any], ...]:
        found = [event for track in events for event in track.get(kind, ())]
        return tuple(sorted(found, key=itemgetter(0)))

    origins = (plain_line(text) for _, text in all_of("copyright"))
    # The format has no field for it; the text event is what other programs show.
    texts = (plain_line(text).partition(COMPOSER) for _, text in all_of("text"))
    composers = (after.strip() for before, _, after in texts if not before)
    return MidiScore(
        kind=file.type,
        ticks=file.ticks_per_beat,
        tracks=tuple(_track(track, file.ticks_per_beat) for track in events),
        times=all_of("time_signature"),
        keys=all_of("key_signature"),
        tempos=all_of("set_tempo"),
        markers=all_of("marker"),
        lines=tuple(tick for tick, text in all_of("text") if text == LINE_END),
        origin=next(origins, ""),
        composer=next(filter(None, composers), ""),
        odd_key=odd_key,
    )


def _events(track: "MidiTrack") -> _Events:
    """Return tick and value of all that is read in a track, by its kind."""
    events: _Events = {}
    now = 0
    for message in track:
        now += message.time
        if message.type in _VALUES:
            value = _VALUES[message.type](message)
            # A note ends by "note_off" or by "note_on" without velocity: one kind.
            events.setdefault(message.type.replace("_off", "_on"), []).append(
                (now, value)
            )
    events["end"] = [(now, None)]
    return events


def _track(events: _Events, ticks: int) -> Track:
    # Some programs write an empty name first and the real one after it.
    names = [plain_line(name) for _, name in events.get("track_name", ())]
    end = events["end"][0][0]
    strokes = events.get("note_on", [])
    endless = bool(strokes) and all(struck for _, (_, _, struck) in strokes)
    notes = _until_the_next(strokes) if endless else _notes(strokes)
    return Track(
        name=next(filter(None, names), ""),
        notes=tuple(_ended(notes, end, ticks)),
        lyrics=tuple(events.get("lyrics", ())),
        endless=endless,
    )


_Strokes = Sequence[tuple[int, tuple[int, int, bool]]]
"""Ticks, with number and channel of a note and whether it begins."""
_HELD = -1
"""End of a note that is never let go of."""


def _until_the_next(strokes: _Strokes) -> list[PlayedNote]:
    """Return notes of which none has an end: each holds to the next of its channel."""
    notes: list[PlayedNote] = []
    following: dict[int, tuple[int, int]] = {}
    for now, (midi, channel, _) in reversed(strokes):
        after, then = following.get(channel, (now, _HELD))
        # Notes that are struck together end together.
        end = after if now != after else then
        following[channel] = (now, end)
        notes.append(PlayedNote(now, end, midi, channel))
    return notes


def _notes(strokes: _Strokes) -> list[PlayedNote]:
    """Return the notes of a track; a note struck again ends the one before.

    Some programs write notes without length (grace notes) with their end first.
    """
    sounding: dict[tuple[int, int], int] = {}
    ended: dict[tuple[int, int], int] = {}
    notes: list[PlayedNote] = []
    for now, (midi, channel, struck) in strokes:
        tone = midi, channel
        start = sounding.pop(tone, None)
        if start is not None:
            notes.append(PlayedNote(start, now, midi, channel))
        elif not struck:
            ended[tone] = now
        if struck and ended.pop(tone, None) == now:
            notes.append(PlayedNote(now, now, midi, channel))
        elif struck:
            sounding[tone] = now
    held = [PlayedNote(at, _HELD, *tone) for tone, at in sounding.items()]
    return [*notes, *held]


def _ended(notes: Iterable[PlayedNote], end: int, ticks: int) -> list[PlayedNote]:
    """Return notes in order, where what is never let go of sounds to the end.

    Args:
        notes: The notes.
        end: Tick at which the track ends.
        ticks: Ticks in a crotchet: so long is a note that begins where the track ends.
    """
    made = [
        note._replace(end=end if end > note.start else note.start + ticks)
        if note.end == _HELD
        else note
        for note in notes
    ]
    # First those without length, which are grace notes, then the highest.
    return sorted(made, key=lambda n: (n.start, n.end > n.start, -n.midi, n.end))


def _text(text: str) -> str:
    """Return text that mido took for Latin-1, as UTF-8 if it is that."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text


def plain_line(text: str) -> str:
    """Return text on one line, without signs that do not print."""
    kept = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(kept.split())


def _stroke(message: "Message") -> tuple[int, int, bool]:
    """Return number and channel of a note, and whether it begins."""
    struck = message.type == "note_on" and message.velocity > 0
    return message.note, message.channel, struck


_VALUES: dict[str, Callable[[Any], object]] = {
    "note_on": _stroke,
    "note_off": _stroke,
    "track_name": lambda message: _text(message.name),
    "lyrics": lambda message: _text(message.text),
    "text": attrgetter("text"),
    "marker": lambda message: _text(message.text),
    "copyright": lambda message: _text(message.text),
    "time_signature": attrgetter("numerator", "denominator"),
    "key_signature": attrgetter("key"),
    "set_tempo": attrgetter("tempo"),
}
"""What is read of each kind of message."""


class MidiCode(Enum):
    """What a remark is about; the value is its short name."""

    PART = "Q01"
    CHORD = "Q02"
    NO_TIME = "Q03"
    SILENCE = "Q04"
    MOVED = "Q05"
    FAR = "Q06"
    GRACE = "Q07"
    KEY = "Q08"
    TEMPO = "Q09"
    WORDS = "Q10"
    LATE = "Q11"
    OVER = "Q12"
    STACCATO = "Q13"
    ENDLESS = "Q14"


def count(number: int, noun: str) -> str:
    """Return a number with its noun: "1 note", "2 notes"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
