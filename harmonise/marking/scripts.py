"""Whole scripts: both hands with all that a pupil wrote beside them.

    script  the value: notes, bars, chord symbols, words
    score   MusicXML of any notation editor
    played  MIDI, which knows keys and no names of notes
    typed   chord by chord as text; or the score in words
    door    which of them it is, by its content

The readers of tunes take one line and leave the rest; a script is taken as it stands,
faults and all, so nothing here mends or refuses what a teacher would mark.

Which reader a script needs, decided by its content.

A script played into a MIDI file: keys and times, no names of notes.

Two tracks (or channels) are two hands, the lower one the left; more than two are the
left hand in the lowest and the right hand in the others. In a single track the lowest
note of those that begin together is the left hand's if it lies no higher than G3.
"""

from collections import defaultdict
from fractions import Fraction
from pathlib import Path

from harmonise.errors import MelodyError, NotationError, RemarkList
from harmonise.marking.script import (
    Script,
    Written,
    in_order,
    is_typed,
    parse_typed,
    script_of,
)
from harmonise.notation.formats import LARGEST, decode, read_bytes
from harmonise.notation.midi.beat_grid import Metre, exact_place, read_metre, set_onsets
from harmonise.notation.midi.events import pace
from harmonise.notation.midi.parts import list_parts
from harmonise.notation.midi.placing import Placed, lay_bars
from harmonise.notation.midi.spelling import spell
from harmonise.notation.midi.tracks import MidiScore, PlayedNote, parse_file
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.limits import NEAREST_HIGHEST
from harmonise.theory.tune import Tune

ENDINGS = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".txt")
"""What the names of scripts end in."""
_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_script(path: Path, tune: Tune) -> Script:
    """Return the script that a file holds.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    return parse_script(read_bytes(path), tune)


def parse_script(data: bytes, tune: Tune) -> Script:
    """Return the script that some bytes hold; pure.

    Args:
        data: MusicXML, MIDI, or text.
        tune: The tune of the task, whose bars and key are meant where the script has
            none of its own.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If there is nothing in it.
    """
    if len(data) > LARGEST:
        raise NotationError("This file is larger than 2 MB.", None, "Hand in one work.")
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:4]
    if start[:2] == b"PK" or start[:1] == b"<" or (data[:2] in _MARKS and b"<" in data):
        from harmonise.marking.printed_script import parse_score  # noqa: PLC0415

        return parse_score(data)
    if start == b"MThd":
        return parse_played(data, tune)
    text = decode(data)
    if is_typed(text):
        return parse_typed(text, tune)
    return _spoken(text)


def _spoken(text: str) -> Script:
    """Return the score in words as a script.

    Raises:
        NotationError: If it is none; both forms of text are told.
    """
    if "Bar " not in text:
        raise NotationError(
            "This text is no work that can be marked.",
            None,
            "Write lines such as: 1.3: F | C4 F4 A4 | F2",
        )
    from harmonise.notation.spoken.spoken_reading import parse_spoken  # noqa: PLC0415

    return Script(tuple(sorted(parse_spoken(text), key=in_order)))


__all__ = ["Script", "Written", "parse_script", "read_script", "script_of"]


_ENDS = Fraction(1, 4)
"""Ends that lie on no plain place are set to the nearest quarter of a crotchet."""


def parse_played(data: bytes, tune: Tune) -> Script:
    """Return the script that a MIDI file holds.

    Args:
        data: The file.
        tune: The tune of the task, in whose key notes are named.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If there is no note in it.
    """
    remarks = RemarkList()
    score = parse_file(data)
    hands = _hands(score)
    every = sorted((n for notes in hands.values() for n in notes), key=_by_start)
    if not every:
        raise MelodyError("There is no note in this work.", None, "Record it again.")
    placed = _placed(every, score, read_metre(score, remarks))
    page = lay_bars(placed, read_metre(score, RemarkList()), remarks)
    left = set(hands[Hand.LEFT])
    notes = [
        SoundingNote(
            own.onset - page.start,
            own.end - own.onset,
            spell([own.played.midi], [tune.key_at(own.onset - page.start)])[0],
            Hand.LEFT if own.played in left else Hand.RIGHT,
            Voice.BASS if own.played in left else Voice.INNER,
        )
        for own in placed
    ]
    return Script(
        tuple(sorted(notes, key=in_order)),
        page.bars,
        spelled=False,
        remarks=remarks.told(Tune("", (), page.bars, tune.keys).place),
    )


def _by_start(note: PlayedNote) -> tuple[int, int]:
    return note.start, note.midi


def _placed(notes: list[PlayedNote], score: MidiScore, metre: Metre) -> list[Placed]:
    """Return the notes on paper; notes that begin together stand at one place."""
    starts = sorted({note.start for note in notes})
    grid = set_onsets(starts, score.ticks, metre, pace(score))
    at = dict(zip(starts, grid.onsets, strict=True))
    found = []
    for note in notes:
        end = exact_place(note.end, score.ticks)
        if end is None:
            end = round(Fraction(note.end, score.ticks) / _ENDS) * _ENDS
        found.append(Placed(at[note.start], max(end, at[note.start] + _ENDS), note))
    return found


def _hands(score: MidiScore) -> dict[Hand, list[PlayedNote]]:
    parts = [list(part.notes) for part in list_parts(score)]
    parts = [[n for n in notes if n.end > n.start] for notes in parts]
    if len(parts) > 1:
        parts.sort(key=lambda notes: sum(n.midi for n in notes) / len(notes))
        return {Hand.LEFT: parts[0], Hand.RIGHT: [n for own in parts[1:] for n in own]}
    together: dict[int, list[PlayedNote]] = defaultdict(list)
    for note in parts[0] if parts else []:
        together[note.start].append(note)
    lowest = {min(notes, key=lambda note: note.midi) for notes in together.values()}
    left = [note for note in lowest if note.midi <= NEAREST_HIGHEST]
    right = [n for notes in together.values() for n in notes if n not in left]
    return {Hand.LEFT: left, Hand.RIGHT: right}
