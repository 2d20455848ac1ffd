"""An arrangement as a Standard MIDI File, format 1: a track for the tune and each hand.

Track 0 holds tempo, time and key signatures, and the clicks of a count-in bar; track 1
the tune, track 2 what else the right hand plays, track 3 the left hand. The tune sounds
louder than the rest. Repeats are not unfolded: the file plays the written page once.
Grace notes are not played. The same arrangement gives the same bytes.

A crotchet has 10,080 ticks, 2^5 · 3^2 · 5 · 7, so that everything down to a
hemidemisemiquaver (1/16), its triplets, and quintuplets and septuplets of quavers have
whole numbers of ticks. What has not begins and ends at the nearest tick, so that no
error adds up; `rounded` tells how many notes that concerns.
"""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from harmonise.errors import OutputError
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.tune import Tempo, Tune

if TYPE_CHECKING:
    from mido import MidiFile

    from harmonise.theory.metre import TimeSignature

TICKS = 10_080
"""Ticks in a crotchet."""
USUAL_TEMPO = Fraction(96)
"""Crotchets a minute where neither the tune nor the user says."""

_LOUD = {Voice.TUNE: 96, Voice.INNER: 62, Voice.BASS: 68}
"""Velocities, 1 to 127."""
_DRUMS = 9
"""Channel 10 of General MIDI, counted from 0, is percussion."""
_CLICKS = (76, 77)
"""High and low wood block of General MIDI: first beat, other beats."""
_CLICK_VELOCITY = 80
_NAMES = ("Tune", "Right hand", "Left hand")

_Event = tuple[int, int, int, str, Mapping[str, object]]
"""Tick, rank at the same tick, note number, kind of message, its fields."""


class Playing(NamedTuple):
    """How an arrangement is played.

    Attributes:
        tempo: Crotchets a minute; None for what the tune says.
        speed: Factor on every tempo: 1/2 is half as fast.
        count_in: Whether a bar of clicks goes before, one a beat.
        hand: The only hand that plays; None for both.
    """

    tempo: Fraction | None = None
    speed: Fraction = Fraction(1)
    count_in: bool = False
    hand: Hand | None = None


AS_WRITTEN = Playing()


def format_midi(arrangement: Arrangement, playing: Playing = AS_WRITTEN) -> bytes:
    """Return an arrangement as a Standard MIDI File.

    Args:
        arrangement: The arrangement.
        playing: Tempo, speed, count-in, hands.

    Raises:
        OutputError: If mido is not installed.
    """
    packed = BytesIO()
    _midi_file(arrangement, playing).save(file=packed)
    return packed.getvalue()


def write_midi(
    arrangement: Arrangement,
    path: Path,
    playing: Playing = AS_WRITTEN,
    *,
    force: bool = False,
) -> None:
    """Write an arrangement as a Standard MIDI File.

    Args:
        arrangement: The arrangement.
        path: Where to; .mid or .midi.
        playing: Tempo, speed, count-in, hands.
        force: Whether an existing file is replaced.

    Raises:
        OutputError: If the ending is another, mido is not installed, the file exists
            (without force) or cannot be written.
    """
    from harmonise.notation.writing.files import write_whole  # noqa: PLC0415

    if path.suffix.lower() not in (".mid", ".midi"):
        raise OutputError(
            f'"{path.name}" does not end in .mid or .midi.',
            remedy=f"Call it {path.stem}.mid.",
        )
    write_whole(path, format_midi(arrangement, playing), force=force)


def rounded(arrangement: Arrangement) -> int:
    """Return how many notes begin or end between two ticks."""
    return sum(
        bool(
            (time * TICKS).denominator > 1 or ((time + length) * TICKS).denominator > 1
        )
        for time, length, *_ in arrangement.notes
    )


def _midi_file(arrangement: Arrangement, playing: Playing) -> "MidiFile":
    try:
        from mido import Message, MetaMessage, MidiFile, MidiTrack  # noqa: PLC0415
    except ImportError as error:
        raise OutputError(
            "MIDI files need the library mido, which is not installed.",
            remedy="Install it with: pip install mido",
        ) from error

    file = MidiFile(type=1, ticks_per_beat=TICKS)
    for events in _tracks(arrangement, playing):
        track = MidiTrack()
        now = 0
        for tick, _, _, kind, fields in sorted(events, key=lambda event: event[:3]):
            make = Message if kind.startswith(("note", "program")) else MetaMessage
            track.append(make(kind, time=tick - now, **fields))
            now = tick
        file.tracks.append(track)
    return file


def _tracks(arrangement: Arrangement, playing: Playing) -> Iterator[list[_Event]]:
    tune = arrangement.tune
    clicks = _clicks(tune) if playing.count_in else []
    lead = _tick(tune.bars[0].time.bar_length) if playing.count_in else 0
    title = {"name": _latin(tune.title or "Arrangement")}
    yield [
        (0, 0, 0, "track_name", title),
        *_signs(tune, lead),
        *_tempos(tune, playing, lead),
        *clicks,
    ]
    for channel, (name, voice) in enumerate(zip(_NAMES, _LOUD, strict=True)):
        own = [note for note in arrangement.notes if note.voice is voice]
        if playing.hand is not None:
            own = [note for note in own if note.hand is playing.hand]
        yield [
            (0, 0, 0, "track_name", {"name": name}),
            (0, 0, 1, "program_change", {"program": 0, "channel": channel}),
            *_notes(own, channel, lead),
        ]


def _latin(text: str) -> str:
    """Return text with the letters that MIDI files carry; others become "?"."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _tick(time: Fraction) -> int:
    """Return crotchets as ticks, to the nearest."""
    return round(time * TICKS)


def _notes(notes: Iterable[SoundingNote], channel: int, lead: int) -> Iterator[_Event]:
    """Yield the beginnings and ends of notes; an end goes before a beginning."""
    for note in notes:
        start = _tick(note.onset)
        end = max(_tick(note.onset + note.length), start + 1)
        midi = note.pitch.midi
        struck = {"note": midi, "velocity": _LOUD[note.voice], "channel": channel}
        let_go = {"note": midi, "velocity": 0, "channel": channel}
        yield start + lead, 4, midi, "note_on", struck
        yield end + lead, 3, midi, "note_off", let_go


def _signs(tune: Tune, lead: int) -> Iterator[_Event]:
    """Yield time and key signatures."""
    before: TimeSignature | None = None
    for bar in tune.bars:
        if bar.time != before:
            at = _tick(bar.start) + lead if before else 0
            fields = {
                "numerator": bar.time.beats,
                "denominator": bar.time.beat_type,
                "clocks_per_click": round(24 * bar.time.beat),
            }
            yield at, 1, 0, "time_signature", fields
        before = bar.time
    for number, change in enumerate(tune.keys):
        at = _tick(change.onset) + lead if number else 0
        yield at, 1, 1, "key_signature", {"key": _key_name(change.key)}


def _key_name(key: Key) -> str:
    """Return a key as mido names it; modes by the major key of their signature."""
    if key.mode is Mode.MINOR:
        return f"{key.tonic}m"
    return str(key_of_signature(key.fifths, Mode.MAJOR).tonic)


def _tempos(tune: Tune, playing: Playing, lead: int) -> Iterator[_Event]:
    marks = tune.tempos
    if playing.tempo is not None:
        marks = (Tempo(Fraction(0), playing.tempo),)
    if not marks or marks[0].onset > 0:
        marks = (Tempo(Fraction(0), USUAL_TEMPO), *marks)
    for number, mark in enumerate(marks):
        speed = mark.per_minute * mark.beat * playing.speed
        at = _tick(mark.onset) + lead if number else 0
        # The format has three bytes for the microseconds of a crotchet.
        crotchet = min(round(60_000_000 / speed), (1 << 24) - 1)
        yield at, 1, 2, "set_tempo", {"tempo": crotchet}


def _clicks(tune: Tune) -> list[_Event]:
    """Return a bar of clicks, as many as it has beats; the first beat sounds high.

    Before a pickup the count begins late in the bar, so that the tune comes in where
    it belongs.
    """
    first = tune.bars[0]
    time = first.time
    found: list[_Event] = []
    for place in time.beat_starts:
        in_bar = (place + first.offset) % time.bar_length
        note = _CLICKS[0] if in_bar < time.beat else _CLICKS[1]
        start, end = _tick(place), _tick(place + time.beat / 4)
        struck = {"note": note, "velocity": _CLICK_VELOCITY, "channel": _DRUMS}
        let_go = {"note": note, "velocity": 0, "channel": _DRUMS}
        found += [
            (start, 4, note, "note_on", struck),
            (end, 3, note, "note_off", let_go),
        ]
    return found
