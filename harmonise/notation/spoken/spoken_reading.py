"""The spoken score read back: from words to every note that both hands play.

Strict: a line that the spoken score would not say is refused with its number, and what
the text says twice (notes held, the number of bars) must agree.
"""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError, Place, seen_at
from harmonise.notation.signed import is_signature
from harmonise.notation.spoken.spoken_words import (
    hear_beats,
    hear_number,
    hear_pitch,
    hear_place,
    hear_time,
    is_chord,
)
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.metre import TimeSignature

_HAND = r"(right|left) hand (.+)"
_NOTE = r"(?:(tune|inner|bass) )?([A-G].*?)(?: finger ([1-5]))?"
_VOICES = {Hand.RIGHT: Voice.INNER, Hand.LEFT: Voice.BASS}
"""The voice of each hand that is not named."""


class Hearing(NamedTuple):
    """What a hand begins.

    Attributes:
        hand: The hand.
        notes: Its new notes.
        holding: What it is said to hold besides; None if nothing is said of it.
    """

    hand: Hand
    notes: tuple[SoundingNote, ...]
    holding: tuple[SoundingNote, ...] | None = None


def hear_hand(text: str, onset: Fraction, unit: Fraction) -> Hearing | str:
    """Return what a hand begins, or what is wrong with the words.

    Args:
        text: Such as "right hand C 4, E 4, tune G 4, one beat".
        onset: Where it begins, in crotchets.
        unit: Length of a beat in crotchets.
    """
    match = re.fullmatch(_HAND, text)
    if match is None:
        return f'"{text}" names no hand.'
    hand = Hand(match[1])
    if match[2].startswith("rests, "):
        beats = hear_beats(match[2].removeprefix("rests, "))
        return Hearing(hand, ()) if beats else f'"{text}" is no rest.'
    struck, _, kept = match[2].partition(", while holding ")
    # What a hand holds is said besides, and must agree with the beats before.
    holding = _held_by(hand, kept) if kept else ()
    if holding is None:
        return f'"{kept}" are no notes to hold.'
    words = struck.split(", ")
    # A rest of the tune ends what the right hand does.
    if words[-2:-1] == ["tune rests"] and hear_beats(words[-1]):
        words = words[:-2]
    heard = _hear_notes(hand, words)
    if isinstance(heard, str):
        return heard
    notes = tuple(n._replace(onset=onset, length=n.length * unit) for n in heard)
    return Hearing(hand, notes, holding if notes else None)


def _hear_notes(hand: Hand, words: list[str]) -> list[SoundingNote] | str:
    """Return notes with their lengths in beats; a length is said once for several."""
    notes: list[SoundingNote] = []
    waiting: list[SoundingNote] = []
    for word in words:
        note = _hear_note(hand, word)
        beats = hear_beats(word)
        if note is not None:
            waiting.append(note)
        # One length is said for all the notes in front of it.
        elif beats and waiting:
            notes += [bare._replace(length=beats) for bare in waiting]
            waiting = []
        else:
            return f'"{word}" is no note and no length here.'
    return f'no length is said of "{", ".join(words)}".' if waiting else notes


def _hear_note(hand: Hand, text: str) -> SoundingNote | None:
    found = re.fullmatch(_NOTE, text)
    pitch = hear_pitch(found[2]) if found else None
    if found is None or pitch is None:
        return None
    voice = Voice(found[1]) if found[1] else _VOICES[hand]
    return SoundingNote(
        Fraction(0), Fraction(1), pitch, hand, voice, int(found[3] or 0)
    )


def _held_by(hand: Hand, text: str) -> tuple[SoundingNote, ...] | None:
    heard = [_hear_note(hand, word) for word in text.split(", ")]
    notes = tuple(note for note in heard if note is not None)
    return notes if len(notes) == len(heard) else None


def hear_held(text: str) -> dict[Hand, tuple[SoundingNote, ...]] | None:
    """Return the notes that hands hold over a bar line; None if it is no such list.

    Args:
        text: Such as "right hand E 4, tune C 5; left hand C 3".
    """
    held: dict[Hand, tuple[SoundingNote, ...]] = {}
    for part in text.split("; "):
        match = re.fullmatch(_HAND, part)
        hand = Hand(match[1]) if match else Hand.RIGHT
        notes = _held_by(hand, match[2]) if match else None
        if notes is None:
            return None
        held[hand] = notes
    return held


_KEY = r"[A-G](?: (?:double )?(?:sharp|flat))? [a-z]+"
_FREE = re.compile(
    r"Title: .+|Untitled\.|Composer: .+|From: .+|Key: .+\.|Tempo: .+\.|"
    r"How to listen: .+|Label: .+|"
    r"After this bar: .+|A repeat begins here\.|Ending [a-z0-9 -]+ begins here\.|"
    r"The ending is over\.|The repeat ends here, played .+ in all\.|A double bar\.|"
    rf"A phrase ends here\.|The key changes to {_KEY}\.|The tempo changes to .+\.|"
    r"End of the score\."
)
"""Lines that tell nothing of the notes."""
_BESIDES = re.compile(
    r"Chord (?P<chord>[^.]+)|Before the tune, grace [^.]+|Pause|Slur (?:ends|begins)"
)
_HEADING = re.compile(r"Bar (\d{1,6})(, the pickup|, going on)?\.")
_LENGTH = re.compile(r"Length: (a pickup and )?(\S+) bars?\.")


def parse_spoken(text: str) -> tuple[SoundingNote, ...]:
    """Return the notes of a score in words, by onset and then from the lowest up.

    Args:
        text: What `format_spoken` wrote.

    Raises:
        NotationError: If a line cannot be understood; the line is named.
        MelodyError: If there is no note.
    """
    hearing = _HeardScore()
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            hearing.take(number, line.strip())
    hearing.finish()
    notes = sorted(hearing.notes, key=lambda note: (note.onset, note.pitch.midi))
    if not notes:
        raise MelodyError("There is no note in this text.")
    return tuple(notes)


class _HeardScore:
    """A score that grows line by line."""

    _time: TimeSignature | None

    def __init__(self) -> None:
        self.notes: list[SoundingNote] = []
        self._time = None
        self._bar = 0
        self._counted: set[int] = set()
        self._start = self._end = self._at = Fraction(0)
        self._in_bar = False
        self._line = (0, "")
        self._promised: tuple[tuple[int, str], int, bool] | None = None
        self._sounding: list[SoundingNote] = []

    def take(self, number: int, line: str) -> None:
        """Take one line."""
        self._line = (number, line)
        word = line.partition(" ")[0]
        if word == "Bar":
            self._heading(line)
        elif word == "Beat":
            self._beat(line)
        elif line.startswith("Held over: "):
            self._held(line)
        elif line.startswith("This bar has "):
            self._bar_length(line)
        elif line.startswith(("Time: ", "Time changes to ")):
            self._set_time(line)
        elif word == "Length:":
            self._length(line)
        elif not (_FREE.fullmatch(line) or is_signature(line)):
            raise self._fault("this line is none of the spoken score.")

    def _fault(self, what: str, remedy: str = "") -> NotationError:
        number, line = self._line
        place = None
        if self._in_bar and self._time:
            place = Place(self._bar)
        said = what if place else f"{what[0].upper()}{what[1:]}"
        return NotationError(said, place, f"{remedy} {seen_at(number, line)}".strip())

    def _heading(self, line: str) -> None:
        match = _HEADING.fullmatch(line)
        if match is None:
            raise self._fault("this heading names no bar.", 'Write one as "Bar 5."')
        # Without a time nobody knows how long a bar is.
        if self._time is None:
            raise self._fault("a bar begins before the time is told.")
        self._start, self._in_bar = self._end, True
        self._bar = int(match[1])
        self._counted.add(self._bar)
        self._end = self._start + self._time.bar_length
        # A first beat must come after it, and lies at the very start of the bar.
        self._at = self._start - 1
        self._sounding = [n for n in self._sounding if _end(n) > self._start]

    def _set_time(self, line: str) -> None:
        time = hear_time(line.removeprefix("Time: ").removeprefix("Time changes to "))
        if time is None:
            raise self._fault(
                "this is no time.", 'Write one as "Time: four four. A beat is …"'
            )
        self._time = time
        # The time changes inside the heading of its bar.
        self._end = self._start + time.bar_length if self._in_bar else self._end

    def _bar_length(self, line: str) -> None:
        said = line.removeprefix("This bar has ").removesuffix(".")
        beats = hear_beats(said)
        if beats is None or not self._in_bar:
            raise self._fault("this is no length of a bar.")
        self._end = self._start + beats * self._unit

    def _length(self, line: str) -> None:
        found = _LENGTH.fullmatch(line)
        count = hear_number("no" if found is None else found[2])
        if found is None or count is None:
            raise self._fault("this is no number of bars.")
        self._promised = (self._line, count, bool(found[1]))

    @property
    def _unit(self) -> Fraction:
        return self._time.unit if self._time else Fraction(1)

    def _held(self, line: str) -> None:
        said = hear_held(line.removeprefix("Held over: ").removesuffix("."))
        if said is None:
            raise self._fault("these are no notes that a hand holds.")
        for hand in Hand:
            self._compare(hand, said.get(hand, ()), self._start)

    def _compare(
        self, hand: Hand, said: tuple[SoundingNote, ...], onset: Fraction
    ) -> None:
        """Do nothing if a hand holds at an onset what is said of it."""
        held = {
            _identity(n)
            for n in self._sounding
            if n.hand is hand and n.onset < onset < _end(n)
        }
        # A slip in one line would shift all that follows; here it shows.
        if held != {_identity(note) for note in said}:
            raise self._fault(
                f"the {hand.value} hand is said to hold other notes than the beats "
                "before leave it."
            )

    def _beat(self, line: str) -> None:
        place, _, rest = line.removeprefix("Beat ").partition(": ")
        beat = hear_place(place)
        if beat is None or not self._in_bar:
            raise self._fault("this line names no beat of a bar.")
        onset = self._start + (beat - 1) * self._unit
        # Beats come in order, so that a listener never goes back.
        if onset <= self._at or not self._start <= onset < self._end:
            raise self._fault(
                f"beat {place} is not in this bar, or not after the beat before."
            )
        self._at = onset
        # Words that are sung may hold any sign, so they are cut off before the
        # sentences.
        hands, *besides = re.split(r"\.(?: |$)", rest.partition(" Sing: ")[0])
        for said in filter(None, besides):
            match = _BESIDES.fullmatch(said)
            if not match or (match["chord"] and not is_chord(match["chord"])):
                raise self._fault(f'"{said}" is nothing that stands beside notes.')
        for said in hands.split("; ") if hands != "no new notes" else ():
            heard = hear_hand(said, onset, self._unit)
            if isinstance(heard, str):
                raise self._fault(heard)
            if heard.holding is not None:
                self._compare(heard.hand, heard.holding, onset)
            self.notes += heard.notes
            self._sounding += heard.notes

    def finish(self) -> None:
        """See that all bars have come that the heading promises."""
        if self._promised is None:
            return
        self._line, count, pickup = self._promised
        self._in_bar = False
        found = len(self._counted) - (0 in self._counted)
        if (found, 0 in self._counted) != (count, pickup):
            raise self._fault(f"{found} bars follow, not as many as this line says.")


def _end(note: SoundingNote) -> Fraction:
    return note.onset + note.length


def _identity(note: SoundingNote) -> SoundingNote:
    return note._replace(onset=Fraction(0), length=Fraction(1))
