"""The whole score in words, for a pianist who hears it through a speech synthesiser.

One thought a line, always in the same order: the right hand from its lowest note up,
the tune last as it lies on top, then the left hand, then the chord and what is sung.
Every bar has a heading of its own, so that one can jump; its repeats, endings, labels
and jumps are said around its beats. The text is exact: `parse_spoken` reads it back to
the same notes.
"""

from bisect import bisect_left
from collections import deque
from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby

from harmonise.notation.score.printed_labels import format_decimal
from harmonise.notation.spoken.spoken_walk import format_walk
from harmonise.notation.spoken.spoken_words import (
    say_beats,
    say_chord,
    say_name,
    say_number,
    say_pace,
    say_pitch,
    say_place,
    say_time,
)
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.key import Key
from harmonise.theory.tune import Bar, Tempo, Tune, TuneNote

__all__ = ["format_spoken", "format_walk"]

_JUMPS = {
    "D.C.": "da capo",
    "D.S.": "dal segno",
    "d.c.": "da capo",
    "d.s.": "dal segno",
}
_TIMES = {2: "twice", 3: "three times"}


def one_line(text: str) -> str:
    """Return a text of the user's on one line."""
    return " ".join(text.split())


def before_bar(tune: Tune, number: int) -> Iterator[str]:
    """Yield what is said before the notes of a bar, its heading first."""
    bar = tune.bars[number]
    before = tune.bars[number - 1] if number else None
    # The parts of a bar that a repeat sign splits share its number.
    goes_on = before is not None and before.number == bar.number
    kind = ", going on" if goes_on else ", the pickup" if bar.number == 0 else ""
    yield f"Bar {bar.number}{kind}."
    if before is not None and before.time != bar.time:
        yield f"Time changes to {say_time(bar.time)}"
    # Only what is not usual is said.
    if bar.length != bar.time.bar_length:
        yield f"This bar has {say_beats(bar.length / bar.time.unit)}."
    if bar.section.split():
        yield f"Label: {one_line(bar.section)}"
    if bar.repeat_start:
        yield "A repeat begins here."
    if bar.ending and (goes_on or before is None or before.ending != bar.ending):
        endings = " and ".join(say_number(ending) for ending in bar.ending)
        yield f"Ending {endings} begins here."


def after_bar(tune: Tune, number: int) -> Iterator[str]:
    """Yield what is said after the notes of a bar, its phrase end left out."""
    bar = tune.bars[number]
    after = tune.bars[number + 1] if number + 1 < len(tune.bars) else None
    if bar.ending and (after is None or after.ending != bar.ending):
        yield "The ending is over."
    if bar.repeat_end > 1:
        times = _TIMES.get(bar.repeat_end, f"{say_number(bar.repeat_end)} times")
        yield f"The repeat ends here, played {times} in all."
    if bar.double:
        yield "A double bar."
    for onset, words in tune.end_text:
        if bar.start < onset <= bar.end or onset == bar.start == 0:
            # Speech synthesisers stumble over points: "D.C. al Fine" is "da capo".
            said = one_line(words)
            for sign, meaning in _JUMPS.items():
                said = said.replace(sign, meaning)
            yield f"After this bar: {said}"


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
        self._silences = {"tune": _joined(rests)}
        for hand in Hand:
            mine = [n for n in self._notes if n.hand is hand]
            sounding = [(n.onset, n.onset + n.length) for n in mine]
            self._silences[f"{hand.value} hand"] = _gaps(sounding, tune.end)

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
        onsets = {*struck, *chords, *(o for rest in rests.values() for o in rest)}
        for onset in sorted(onsets):
            silent = {who: rest[onset] for who, rest in rests.items() if onset in rest}
            yield onset, self._line(bar, onset, struck.get(onset, []), silent)

    def _line(
        self,
        bar: Bar,
        onset: Fraction,
        notes: list[SoundingNote],
        silent: dict[str, Fraction],
    ) -> str:
        unit = bar.time.unit
        hands = (
            self._hand(hand, onset, notes, unit, silent)
            for hand in (Hand.RIGHT, Hand.LEFT)
        )
        said = "; ".join(filter(None, hands)) or "no new notes"
        place = say_place((onset - bar.start) / unit + 1)
        chord, note = self._chords.get(onset), self._tune.get(onset)
        besides = [f"Chord {say_chord(chord)}."] if chord else []
        besides += _marks(note) if note else []
        return " ".join([f"Beat {place}: {said}.", *besides])

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
        struck = sorted((note for note in notes if note.hand is hand), key=_height)
        said = []
        # From the lowest note up, the tune last; equal lengths are said once.
        for length, group in groupby(struck, key=lambda note: note.length):
            said.append(f"{', '.join(map(_name, group))}, {say_beats(length / unit)}")
        if hand is Hand.RIGHT and "tune" in silent:
            said.append(f"tune rests, {say_beats(silent['tune'] / unit)}")
        if not said:
            return ""
        held = self._sounding(onset, hand) if struck else []
        holding = f", while holding {', '.join(map(_name, held))}" if held else ""
        return f"{who} {', '.join(said)}{holding}"


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
        # One verse needs no number.
        alone = len(note.syllables) == 1
        yield "Sing: " + "; ".join(
            text if alone else f"verse {verse}, {text}" for verse, text in words
        )


def _gaps(sounding: list[_Stretch], end: Fraction) -> list[_Stretch]:
    """Return where nothing sounds."""
    gaps: list[_Stretch] = []
    at = Fraction(0)
    for start, stop in sounding:
        if start > at:
            gaps.append((at, start))
        at = max(at, stop)
    return [*gaps, (at, end)] if at < end else gaps


def _joined(stretches: list[_Stretch]) -> list[_Stretch]:
    """Return stretches with those side by side as one."""
    joined: list[_Stretch] = []
    for start, end in stretches:
        if joined and joined[-1][1] == start:
            start = joined.pop()[0]  # noqa: PLW2901 (it begins earlier)
        joined.append((start, end))
    return joined


def _inside(stretches: list[_Stretch], bar: Bar) -> Iterator[tuple[Fraction, Fraction]]:
    """Yield onset and length of the parts of stretches that lie in a bar."""
    # The stretch before may reach into the bar.
    first = max(bisect_left(stretches, (bar.start, bar.start)) - 1, 0)
    for start, end in stretches[first:]:
        if start >= bar.end:
            break
        onset = max(start, bar.start)
        if min(end, bar.end) > onset:
            yield onset, min(end, bar.end) - onset


PHRASE_ENDS = "A phrase ends here."
MANNER = (
    "How to listen: the right hand is said from its lowest note up, the tune last, "
    "as it is on top; then the left hand. C 4 is middle C."
)


def format_spoken(arrangement: Arrangement) -> str:
    """Return the score in words; `parse_spoken` reads the notes back.

    Args:
        arrangement: What was arranged.

    Returns:
        A heading, then every bar with a line for each beat on which something begins.
    """
    tune = arrangement.tune
    beats = Beats(arrangement)
    phrases = {*tune.phrases}
    lines = list(_heading(tune))
    changes = deque(_changes(tune))
    for number, bar in enumerate(tune.bars):
        lines += ["", *before_bar(tune, number), *beats.held(bar)]
        for onset, line in beats.lines(bar):
            lines += _taken(changes, onset, through=True)
            lines.append(line)
        lines += _taken(changes, bar.end, through=False)
        lines += [PHRASE_ENDS] if bar.end in phrases else []
        lines += after_bar(tune, number)
    return "\n".join([*lines, "", "End of the score."]) + "\n"


def _heading(tune: Tune) -> Iterator[str]:
    yield f"Title: {one_line(tune.title)}" if tune.title.split() else "Untitled."
    if tune.composer.split():
        yield f"Composer: {one_line(tune.composer)}"
    if tune.origin.split():
        yield f"From: {one_line(tune.origin)}"
    yield f"Key: {_key(tune.key)}."
    yield f"Time: {say_time(tune.bars[0].time)}"
    for tempo in tune.tempos[:1]:
        if tempo.onset == 0:
            yield f"Tempo: {_tempo(tempo)}."
    yield f"Length: {_length(tune)}."
    yield MANNER


def _key(key: Key) -> str:
    return f"{say_name(key.tonic)} {key.mode.value}"


def _tempo(tempo: Tempo) -> str:
    said = [one_line(tempo.words)] if tempo.words.split() else []
    if tempo.per_minute is not None:
        said.insert(0, say_pace(format_decimal(tempo.per_minute), tempo.beat))
    return ", ".join(said)


def _length(tune: Tune) -> str:
    """Return how many bars there are; the parts of a split bar count as one."""
    # The parts of a split bar count as one, as in the headings.
    numbers = dict.fromkeys(bar.number for bar in tune.bars)
    count = len(numbers) - (0 in numbers)
    bars = "one bar" if count == 1 else f"{say_number(count)} bars"
    return f"a pickup and {bars}" if 0 in numbers else bars


def _changes(tune: Tune) -> list[tuple[Fraction, str]]:
    """Return later keys and tempos, and phrases that end inside bars, by onset."""
    bar_ends = {bar.end for bar in tune.bars}
    changes = [(onset, PHRASE_ENDS) for onset in tune.phrases if onset not in bar_ends]
    changes += [
        (change.onset, f"The key changes to {_key(change.key)}.")
        for change in tune.keys[1:]
    ]
    changes += [
        (tempo.onset, f"The tempo changes to {_tempo(tempo)}.")
        for tempo in tune.tempos
        if tempo.onset
    ]
    return sorted(changes)


def _taken(
    changes: deque[tuple[Fraction, str]], last: Fraction, *, through: bool
) -> Iterator[str]:
    """Take the changes before a place, and those at it if it counts itself."""
    while changes and (changes[0][0] < last or (through and changes[0][0] == last)):
        yield changes.popleft()[1]
