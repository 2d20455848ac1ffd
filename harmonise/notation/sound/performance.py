"""What sounds when, as MIDI files and recordings alike play it.

Repeats, endings and jumps are played out in full, or some bars go round in a loop.
Grace notes are not played. A note that is held over the end of a passage stops there;
one that is held into the beginning of a passage is struck there, as a player who comes
back to that place must. All times are exact, in crotchets from the first sound.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.play_order import Passage, once_through, passages, played_bars
from harmonise.theory.tune import Bar, Tempo, Tune

USUAL_TEMPO = Fraction(96)
"""Crotchets a minute where neither the tune nor the user says."""
VELOCITIES = {Voice.TUNE: 96, Voice.INNER: 62, Voice.BASS: 68}
"""How loud each voice is, 1 to 127 as in MIDI: the tune above the rest."""
HIGH_CLICK, LOW_CLICK = 76, 77
"""High and low wood block of General MIDI: first beat, other beats."""

_CLICK_VELOCITY = 80


class Playing(NamedTuple):
    """How an arrangement is played.

    Attributes:
        tempo: Crotchets a minute; None for what the tune says.
        speed: Factor on every tempo: 1/2 is half as fast.
        count_in: Whether a bar of clicks goes before, one a beat.
        hand: The only hand that plays; None for both.
        bars: Printed numbers of the first and last bar of a loop, each bar of which
            is played once a round; None for the whole tune with its repeats.
        times: How often the loop or the tune is played.
        pedal: Whether what sounds under the tune rings until chord or bar change.
    """

    tempo: Fraction | None = None
    speed: Fraction = Fraction(1)
    count_in: bool = False
    hand: Hand | None = None
    bars: tuple[int, int] | None = None
    times: int = 1
    pedal: bool = False


AS_WRITTEN = Playing()


class Struck(NamedTuple):
    """One note as it sounds.

    Attributes:
        at: When it is struck, in crotchets.
        length: How long it is held, in crotchets.
        midi: Note number; of a click, `HIGH_CLICK` or `LOW_CLICK`.
        velocity: How loud, 1 to 127.
        voice: What it is for; None for a click.
        number: Which note of the arrangement it is, from 0; None for a click.
    """

    at: Fraction
    length: Fraction
    midi: int
    velocity: int
    voice: Voice | None
    number: int | None = None


class Speed(NamedTuple):
    """A tempo from a time on.

    Attributes:
        at: From when, in crotchets.
        per_minute: Crotchets a minute.
    """

    at: Fraction
    per_minute: Fraction


class Performance(NamedTuple):
    """An arrangement as it is played.

    Attributes:
        tune: The tune.
        passages: Stretches of the page in playing order, after the count-in.
        notes: The notes in order of time.
        clicks: The clicks of the count-in.
        speeds: The tempos in order; the first at 0.
        pedal: When the pedal is changed, in crotchets, and at the end let go; none if
            it is not used.
    """

    tune: Tune
    passages: tuple[Passage, ...]
    notes: tuple[Struck, ...]
    clicks: tuple[Struck, ...]
    speeds: tuple[Speed, ...]
    pedal: tuple[Fraction, ...] = ()

    def bars(self) -> Iterator[tuple[Fraction, Bar]]:
        """Yield every bar as it is played, with the time of its start."""
        starts = [bar.start for bar in self.tune.bars]
        for part in self.passages:
            first = bisect_left(starts, part.start)
            end = bisect_left(starts, part.end)
            for bar in self.tune.bars[first:end]:
                yield part.at + bar.start - part.start, bar


def perform(
    arrangement: Arrangement,
    playing: Playing = AS_WRITTEN,
    order: Sequence[int] | None = None,
) -> Performance:
    """Return what sounds when.

    Args:
        arrangement: The arrangement.
        playing: Tempo, speed, count-in, hands, bars.
        order: Which bars are played, from 0, in place of what repeats and jumps say.

    Raises:
        OutputError: If there are no such bars, or no such tempo, speed or number of
            times.
    """
    _check(playing)
    tune = arrangement.tune
    if playing.bars:
        bars = once_through(_loop(tune, *playing.bars))
    else:
        bars = tuple(tune.bars[at] for at in order or played_bars(tune))
    first = bars[0]
    lead = first.time.bar_length if playing.count_in else Fraction(0)
    once = passages(bars)
    way = tuple(
        passage._replace(at=passage.at + lead + count * once[-1].stop)
        for count in range(playing.times)
        for passage in once
    )
    played = Performance(
        tune,
        way,
        tuple(in_passages(arrangement.notes, way, playing.hand)),
        tuple(_clicks(first)) if playing.count_in else (),
        tuple(_speeds(tune, way, playing)),
    )
    if not playing.pedal:
        return played
    return played._replace(pedal=_pedal_changes(arrangement, played))


def _pedal_changes(
    arrangement: Arrangement, played: Performance
) -> tuple[Fraction, ...]:
    """Return when the pedal is changed: with each chord and each bar, common practice.

    Where the tune goes alone nothing rings under it.
    """
    slots = arrangement.slots
    onsets = [two.onset for one, two in pairwise(slots) if one.chord != two.chord]
    times = {at for at, _ in played.bars()} | {
        passage.at + onset - passage.start
        for passage in played.passages
        for onset in onsets
        if passage.start < onset < passage.end
    }
    return (*sorted(times), played.passages[-1].stop)


def rung(played: Performance) -> list[Fraction]:
    """Return how long each note sounds under the pedal, in crotchets.

    The tune is let go as it is written, and a key that is struck again sounds anew.
    """
    lengths = []
    struck_next: dict[int, Fraction] = {}
    for note in reversed(played.notes):
        end = note.at + note.length
        change = bisect_left(played.pedal, end)
        until = end
        if note.voice is not Voice.TUNE and change < len(played.pedal):
            until = played.pedal[change]
        until = min(until, struck_next.get(note.midi, until))
        lengths.append(max(until, end) - note.at)
        struck_next[note.midi] = note.at
    return lengths[::-1]


def _check(playing: Playing) -> None:
    if playing.times < 1:
        raise OutputError(
            f"Music cannot be played {playing.times} times.", remedy="Choose 1 or more."
        )
    if playing.speed <= 0 or (playing.tempo is not None and playing.tempo <= 0):
        raise OutputError(
            "The tempo and the speed are more than 0.",
            remedy="Choose a speed such as 1/2 or a tempo such as 96.",
        )


def _loop(tune: Tune, first: int, last: int) -> tuple[Bar, ...]:
    """Return the bars from one printed number to another."""
    numbers = [bar.number for bar in tune.bars]
    low, high = min(numbers), max(numbers)
    for number in (first, last):
        if number not in numbers:
            raise OutputError(
                f"There is no bar {number}: the bars of this tune are {low} to {high}.",
                remedy="Choose bars of the tune.",
            )
    if first > last:
        raise OutputError(
            f"Bar {first} comes after bar {last}.",
            remedy=f"Choose bars {last} to {first}.",
        )
    end = len(numbers) - numbers[::-1].index(last)
    return tune.bars[numbers.index(first) : end]


def in_passages(
    notes: Sequence[SoundingNote], way: Sequence[Passage], hand: Hand | None
) -> Iterator[Struck]:
    """Yield the notes of some passages, at the times when these are played.

    Args:
        notes: Notes in order of their onsets.
        way: The passages.
        hand: The only hand that plays; None for both.
    """
    onsets = [note.onset for note in notes]
    # When the longest-lived of all notes so far ends: never falls.
    held = list(accumulate((note.onset + note.length for note in notes), max))
    for passage in way:
        # Nothing before the first of these still sounds when the passage begins.
        first = bisect_left(held, passage.start)
        for number in range(first, bisect_left(onsets, passage.end)):
            note = notes[number]
            start = max(note.onset, passage.start)
            end = min(note.onset + note.length, passage.end)
            if start < end and hand in (None, note.hand):
                at = passage.at + start - passage.start
                loud = VELOCITIES[note.voice]
                yield Struck(at, end - start, note.pitch.midi, loud, note.voice, number)


def _speeds(
    tune: Tune, order: tuple[Passage, ...], playing: Playing
) -> Iterator[Speed]:
    # Words alone change no speed: nobody knows how slow "slow" is.
    marks = tuple(mark for mark in tune.tempos if mark.pace)
    if playing.tempo is not None:
        marks = (Tempo(Fraction(0), playing.tempo),)
    if not marks or marks[0].onset > 0:
        marks = (Tempo(Fraction(0), USUAL_TEMPO), *marks)
    before = Fraction(0)
    for number, passage in enumerate(order):
        here = [mark for mark in marks if mark.onset <= passage.start][-1:]
        here += [mark for mark in marks if passage.start < mark.onset < passage.end]
        for mark in here:
            per_minute = (mark.pace or Fraction(0)) * playing.speed
            if per_minute != before:
                at = passage.at + max(mark.onset - passage.start, Fraction(0))
                yield Speed(at if number or before else Fraction(0), per_minute)
            before = per_minute


def _clicks(first: Bar) -> Iterator[Struck]:
    """Yield a bar of clicks, as many as it has beats; the first beat sounds high.

    Before a pickup the count begins late in the bar, so that the tune comes in where
    it belongs.
    """
    time = first.time
    beats = ((beat - first.offset) % time.bar_length for beat in time.beat_starts)
    high = -first.offset % time.bar_length
    for at in sorted(beats):
        click = HIGH_CLICK if at == high else LOW_CLICK
        yield Struck(at, time.beat / 4, click, _CLICK_VELOCITY, None)
