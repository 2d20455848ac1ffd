"""What begins on each beat, in one line: right hand, left hand, chord, words."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from fractions import Fraction
from itertools import groupby

from harmonise.notation.spoken_words import (
    say_beats,
    say_chord,
    say_pitch,
    say_place,
)
from harmonise.notation.writing.spoken_bars import one_line
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.tune import Bar, TuneNote

OWN_VOICE = {Hand.RIGHT: Voice.INNER, Hand.LEFT: Voice.BASS}
"""The voice of each hand that is not named."""

_Stretch = tuple[Fraction, Fraction]


class Beats:
    """The beats of an arrangement as lines of words."""

    def __init__(self, arrangement: Arrangement) -> None:
        """Sort everything that happens by its onset."""
        tune = arrangement.tune
        self._notes = sorted(arrangement.notes, key=lambda note: note.onset)
        self._onsets = [note.onset for note in self._notes]
        self._chords = {slot.onset: slot.chord for slot in arrangement.changes}
        self._changes = sorted(self._chords)
        self._tune = {note.onset: note for note in tune.sounding}
        self._longest = max((note.length for note in self._notes), default=Fraction(0))
        rests = [(n.onset, n.end) for n in tune.notes if n.pitch is None]
        self._silences = {
            "right hand": _gaps(self._of(Hand.RIGHT), tune.end),
            "tune": _joined(rests),
            "left hand": _gaps(self._of(Hand.LEFT), tune.end),
        }

    def _of(self, hand: Hand) -> list[_Stretch]:
        return [(n.onset, n.onset + n.length) for n in self._notes if n.hand is hand]

    def _between(self, start: Fraction, end: Fraction) -> list[SoundingNote]:
        first = bisect_left(self._onsets, start)
        return self._notes[first : bisect_left(self._onsets, end, first)]

    def _sounding(self, onset: Fraction, hand: Hand) -> list[SoundingNote]:
        """Return what a hand still holds at an onset, lowest first."""
        earlier = self._between(onset - self._longest, onset)
        held = [n for n in earlier if n.hand is hand and n.onset + n.length > onset]
        return sorted(held, key=_height)

    def held(self, bar: Bar) -> Iterator[str]:
        """Yield what both hands hold over the bar line, in one line."""
        hands = [(hand, self._sounding(bar.start, hand)) for hand in Hand]
        said = [
            f"{hand.value} hand {', '.join(_name(note) for note in notes)}"
            for hand, notes in hands
            if notes
        ]
        if said:
            yield f"Held over: {'; '.join(said)}."

    def lines(self, bar: Bar) -> Iterator[tuple[Fraction, str]]:
        """Yield the onset and the line of every beat on which something happens."""
        struck = {
            onset: list(notes)
            for onset, notes in groupby(
                self._between(bar.start, bar.end), key=lambda note: note.onset
            )
        }
        rests = {
            who: dict(_inside(stretches, bar))
            for who, stretches in self._silences.items()
        }
        first = bisect_left(self._changes, bar.start)
        chords = self._changes[first : bisect_left(self._changes, bar.end, first)]
        onsets = {*struck, *chords, *(o for own in rests.values() for o in own)}
        for onset in sorted(onsets):
            silent = {who: own[onset] for who, own in rests.items() if onset in own}
            yield onset, self._line(bar, onset, struck.get(onset, []), silent)

    def _line(
        self,
        bar: Bar,
        onset: Fraction,
        notes: list[SoundingNote],
        silent: dict[str, Fraction],
    ) -> str:
        unit = bar.time.unit
        hands = [
            self._hand(hand, onset, notes, unit, silent)
            for hand in (Hand.RIGHT, Hand.LEFT)
        ]
        said = "; ".join(text for text in hands if text) or "no new notes"
        place = say_place((onset - bar.start) / unit + 1)
        return " ".join([f"Beat {place}: {said}.", *self._besides(onset)])

    def _hand(
        self,
        hand: Hand,
        onset: Fraction,
        notes: list[SoundingNote],
        unit: Fraction,
        silent: dict[str, Fraction],
    ) -> str:
        """Return what a hand begins; "" for nothing."""
        who = f"{hand.value} hand"
        if who in silent:
            return f"{who} rests, {say_beats(silent[who] / unit)}"
        own = [note for note in notes if note.hand is hand]
        said = list(_groups(own, unit))
        if hand is Hand.RIGHT and "tune" in silent:
            said.append(f"tune rests, {say_beats(silent['tune'] / unit)}")
        if not said:
            return ""
        held = self._sounding(onset, hand) if own else []
        holding = f", while holding {', '.join(map(_name, held))}" if held else ""
        return f"{who} {', '.join(said)}{holding}"

    def _besides(self, onset: Fraction) -> Iterator[str]:
        """Yield the chord, the marks of the tune's note and its words."""
        chord = self._chords.get(onset)
        if chord:
            yield f"Chord {say_chord(chord)}."
        note = self._tune.get(onset)
        if note is not None:
            yield from _marks(note)


def _groups(notes: Iterable[SoundingNote], unit: Fraction) -> Iterator[str]:
    """Yield notes from the lowest up, the tune last; equal lengths are said once."""
    ordered = sorted(notes, key=_height)
    for length, group in groupby(ordered, key=lambda note: note.length):
        names = [_name(note) for note in group]
        yield f"{', '.join(names)}, {say_beats(length / unit)}"


def _height(note: SoundingNote) -> tuple[bool, int]:
    return note.voice is Voice.TUNE, note.pitch.midi


def _name(note: SoundingNote) -> str:
    voice = "" if note.voice is OWN_VOICE[note.hand] else f"{note.voice.value} "
    finger = f" finger {note.finger}" if note.finger else ""
    return f"{voice}{say_pitch(note.pitch)}{finger}"


def _marks(note: TuneNote) -> Iterator[str]:
    if note.graces:
        names = ", ".join(say_pitch(grace.pitch) for grace in note.graces)
        yield f"Before the tune, grace {names}."
    if note.fermata:
        yield "Pause."
    if note.slur_ends:
        yield "Slur ends."
    if note.slur_starts:
        yield "Slur begins."
    words = [
        (verse, one_line(word.text))
        for verse, word in enumerate(note.syllables, 1)
        if word and word.text.split()
    ]
    if words:
        alone = len(note.syllables) == 1
        yield "Sing: " + "; ".join(
            text if alone else f"verse {verse}, {text}" for verse, text in words
        )


def _gaps(sounding: list[_Stretch], end: Fraction) -> list[_Stretch]:
    """Return where nothing sounds."""
    found: list[_Stretch] = []
    at = Fraction(0)
    for start, stop in sounding:
        if start > at:
            found.append((at, start))
        at = max(at, stop)
    return [*found, (at, end)] if at < end else found


def _joined(stretches: list[_Stretch]) -> list[_Stretch]:
    """Return stretches with those side by side as one."""
    found: list[_Stretch] = []
    for start, end in stretches:
        if found and found[-1][1] == start:
            start = found.pop()[0]  # noqa: PLW2901 (it begins earlier)
        found.append((start, end))
    return found


def _inside(stretches: list[_Stretch], bar: Bar) -> Iterator[tuple[Fraction, Fraction]]:
    """Yield onset and length of the parts of stretches that lie in a bar."""
    first = max(bisect_left(stretches, (bar.start, bar.start)) - 1, 0)
    for start, end in stretches[first:]:
        if start >= bar.end:
            break
        onset = max(start, bar.start)
        if min(end, bar.end) > onset:
            yield onset, min(end, bar.end) - onset
