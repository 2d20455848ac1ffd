"""An arrangement as a Standard MIDI File, format 1: a track for the tune and each hand.

Track 0 holds tempo, time and key signatures, and the clicks of a count-in bar; track 1
the tune with its words, track 2 what else the right hand plays, track 3 the left hand.
The tune sounds louder than the rest. Repeats and endings are played out in full. A
pickup has a time signature of its own, so that any reader finds the first down-beat.
The same arrangement gives the same bytes.

A crotchet has 10,080 ticks, 2^5 · 3^2 · 5 · 7, so that everything down to a
hemidemisemiquaver (1/16), its triplets, and quintuplets and septuplets of quavers have
whole numbers of ticks. What has not begins and ends at the nearest tick, so that no
error adds up.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from io import BytesIO
from itertools import zip_longest
from typing import TYPE_CHECKING

from harmonise.errors import LibraryError, OutputError, Place
from harmonise.notation.midi.tracks import COMPOSER, LINE_END
from harmonise.notation.signed import UNSIGNED, sign_bytes
from harmonise.notation.sound.performance import (
    AS_WRITTEN,
    VELOCITIES,
    Performance,
    Playing,
    Speed,
    Struck,
    perform,
)
from harmonise.theory.arrangement import Arrangement, Voice
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.metre import TimeSignature

if TYPE_CHECKING:
    from mido import MidiFile

__all__ = ["AS_WRITTEN", "TICKS", "Playing", "format_midi"]

TICKS = 10_080
"""Ticks in a crotchet."""

_MOST_BEATS = 255
"""A time signature is four bytes (Standard MIDI Files 1.0, "FF 58 04")."""
_DRUMS = 9
"""Channel 10 of General MIDI, counted from 0, is percussion."""
_NAMES = ("Tune", "Right hand", "Left hand")

_Event = tuple[int, int, int, str, Mapping[str, object]]
"""Tick, rank at the same tick, note number, kind of message, its fields."""


def format_midi(arrangement: Arrangement, playing: Playing = AS_WRITTEN) -> bytes:
    """Return an arrangement as a Standard MIDI File.

    Args:
        arrangement: The arrangement.
        playing: Tempo, speed, count-in, hands, bars.

    Raises:
        LibraryError: If mido is not installed.
        OutputError: If there are no such bars, tempo or
            speed.
    """
    packed = BytesIO()
    _midi_file(arrangement, playing).save(file=packed)
    return sign_bytes(packed.getvalue())


def _midi_file(arrangement: Arrangement, playing: Playing) -> "MidiFile":
    try:
        from mido import Message, MetaMessage, MidiFile, MidiTrack  # noqa: PLC0415
    except ImportError as error:
        raise LibraryError("MIDI files need", "mido") from error

    file = MidiFile(type=1, ticks_per_beat=TICKS)
    for events in _tracks(perform(arrangement, playing)):
        track = MidiTrack()
        now = 0
        # Ends go before beginnings and signatures before both, as some players need.
        for tick, _, _, kind, fields in sorted(events, key=lambda event: event[:3]):
            make = (
                Message
                if kind.startswith(("note", "program", "control"))
                else MetaMessage
            )
            track.append(make(kind, time=tick - now, **fields))
            now = tick
        file.tracks.append(track)
    return file


def _tracks(performance: Performance) -> Iterator[list[_Event]]:
    title = _latin(performance.tune.title)
    named = [(0, 0, 0, "track_name", {"name": title})] if title else []
    composer = _latin(" ".join(performance.tune.composer.split()))
    if composer:
        named.append((0, 0, 1, "text", {"text": f"{COMPOSER}{composer}"}))
    # A text event, which players pass over (RP-001, "Text Event").
    named.append((0, 0, 2, "text", {"text": UNSIGNED}))
    yield [
        *named,
        *_time_signatures(performance),
        *_key_signatures(performance),
        *_markers(performance),
        *_line_ends(performance),
        *_tempos(performance.speeds),
        *_notes(performance.clicks, _DRUMS),
    ]
    for channel, (name, voice) in enumerate(zip(_NAMES, VELOCITIES, strict=True)):
        notes = [note for note in performance.notes if note.voice is voice]
        yield [
            (0, 0, 0, "track_name", {"name": name}),
            (0, 0, 1, "program_change", {"program": 0, "channel": channel}),
            *_notes(notes, channel),
            *(() if voice is Voice.TUNE else _pedal(performance.pedal, channel)),
            *(_words(performance) if voice is Voice.TUNE else ()),
        ]


def _latin(text: str) -> str:
    """Return text with the letters that MIDI files carry; others become "?"."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _tick(time: Fraction) -> int:
    """Return crotchets as ticks, to the nearest."""
    return round(time * TICKS)


def _notes(notes: Iterable[Struck], channel: int) -> Iterator[_Event]:
    """Yield the beginnings and ends of notes; an end goes before a beginning."""
    for note in notes:
        start = _tick(note.at)
        end = max(_tick(note.at + note.length), start + 1)
        struck = {"note": note.midi, "velocity": note.velocity, "channel": channel}
        let_go = {"note": note.midi, "velocity": 0, "channel": channel}
        yield start, 4, note.midi, "note_on", struck
        yield end, 3, note.midi, "note_off", let_go


def _pedal(changes: Sequence[Fraction], channel: int) -> Iterator[_Event]:
    """Yield the pedal let go at each change and, but for the last, put down after it.

    Source: MIDI 1.0, controller 64, damper pedal; a pianist puts it down again once the
    new chord is struck (common practice).
    """
    fields = {"control": 64, "channel": channel}
    for at, until in zip_longest(changes, changes[1:]):
        yield _tick(at), 3, -1, "control_change", {**fields, "value": 0}
        if until is not None:
            down = at + min(Fraction(1, 8), (until - at) / 2)
            yield _tick(down), 5, 0, "control_change", {**fields, "value": 127}


def _time_signatures(performance: Performance) -> Iterator[_Event]:
    """Yield the time signatures; a pickup has one of its own length.

    A file tells bar lines in no other way than by its time signatures.
    """
    bars = list(performance.bars())
    before = bars[0][1].time
    rows = [(Fraction(0), before)]
    start, pickup = bars[0]
    short = _part_signature(pickup.length) if pickup.offset else None
    if short and len(bars) > 1:
        rows = [(start, short), (start + pickup.length, before)]
        if start:
            rows.insert(0, (Fraction(0), before))
    for at, bar in bars:
        if bar.time != before:
            rows.append((at, bar.time))
        before = bar.time
    # At one time the last one counts.
    for at, time in dict(rows).items():
        if time.beats > _MOST_BEATS:
            place = next(
                (Place(bar.number) for start, bar in bars if start == at), None
            )
            what = f"{time} has more beats than MIDI can count."
            raise OutputError(what, place, "Divide the bar by bar lines.")
        fields = {
            "numerator": time.beats,
            "denominator": time.beat_type,
            "clocks_per_click": round(24 * time.beat),
        }
        yield _tick(at), 1, 0, "time_signature", fields


def _part_signature(length: Fraction) -> TimeSignature | None:
    """Return the time signature of a bar that lasts so long, in crotchets.

    There is none for triplets, and none that other programs read below a
    hemidemisemiquaver.
    """
    semibreves = length / 4
    beat_type = max(semibreves.denominator, 4)
    if beat_type & (beat_type - 1) or beat_type > 64:
        return None
    return TimeSignature(int(semibreves * beat_type), beat_type)


def _key_signatures(performance: Performance) -> Iterator[_Event]:
    tune = performance.tune
    before = None
    for passage in performance.passages:
        here = tune.key_at(passage.start)
        changes = [(passage.start, here)] if here != before else []
        changes += [row for row in tune.keys if passage.start < row.onset < passage.end]
        for onset, key in changes:
            at = _tick(passage.at + onset - passage.start) if before else 0
            yield at, 1, 1, "key_signature", {"key": _key_name(key)}
            before = key


def _markers(performance: Performance) -> Iterator[_Event]:
    """Yield the labels of sections, such as "Chorus", each time they are played."""
    for at, bar in performance.bars():
        if bar.section:
            yield _tick(at), 1, 3, "marker", {"text": _latin(bar.section)}


def _line_ends(performance: Performance) -> Iterator[_Event]:
    """Yield where lines of the tune end, as an event that no program shows."""
    for passage in performance.passages:
        for end in performance.tune.phrases:
            if passage.start < end <= passage.end:
                at = _tick(passage.at + end - passage.start)
                yield at, 1, 4, "text", {"text": LINE_END}


def _words(performance: Performance) -> Iterator[_Event]:
    """Yield the syllables that are sung: each time round those of the next verse.

    Source: RP-017, "SMF Lyric Meta Event Definition", 1997: a syllable inside a word
    ends in a hyphen, the last of a word in a space.
    """
    rounds: Counter[Fraction] = Counter()
    for passage in performance.passages:
        for note in performance.tune.notes:
            if not note.syllables or not passage.start <= note.onset < passage.end:
                continue
            verse = min(rounds[note.onset], len(note.syllables) - 1)
            rounds[note.onset] += 1
            syllable = note.syllables[verse]
            if syllable and syllable.text:
                text = _latin(syllable.text) + ("-" if syllable.joins else " ")
                at = _tick(passage.at + note.onset - passage.start)
                yield at, 2, 0, "lyrics", {"text": text}


def _key_name(key: Key) -> str:
    """Return a key as mido names it; modes by the major key of their signature."""
    if key.mode is Mode.MINOR:
        return f"{key.tonic}m"
    return str(key_of_signature(key.fifths, Mode.MAJOR).tonic)


def _tempos(speeds: Iterable[Speed]) -> Iterator[_Event]:
    for speed in speeds:
        # The format has three bytes for the microseconds of a crotchet.
        crotchet = min(round(60_000_000 / speed.per_minute), (1 << 24) - 1)
        yield _tick(speed.at), 1, 2, "set_tempo", {"tempo": crotchet}
