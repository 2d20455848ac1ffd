"""A script played into a MIDI file: keys and times, no names of notes.

Two tracks (or channels) are two hands, the lower one the left; more than two are the
left hand in the lowest and the right hand in the others. In a single track the lowest
note of those that begin together is the left hand's if it lies no higher than G3.
"""

from collections import defaultdict
from fractions import Fraction

from harmonise.errors import MelodyError
from harmonise.notation.reading.midi_bars import lay_bars
from harmonise.notation.reading.midi_file import MidiScore, Played, parse_file
from harmonise.notation.reading.midi_grid import exact_place, set_onsets
from harmonise.notation.reading.midi_lengths import Placed
from harmonise.notation.reading.midi_metre import Metre, read_metre
from harmonise.notation.reading.midi_parts import list_parts
from harmonise.notation.reading.midi_spelling import spell
from harmonise.notation.reading.midi_tempos import pace
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.notation.reading.scripts.script import Script, in_order
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.limits import NEAREST_HIGHEST
from harmonise.theory.tune import Tune

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
        remarks=remarks.told(Tune("", (), page.bars, tune.keys)),
    )


def _by_start(note: Played) -> tuple[int, int]:
    return note.start, note.midi


def _placed(notes: list[Played], score: MidiScore, metre: Metre) -> list[Placed]:
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


def _hands(score: MidiScore) -> dict[Hand, list[Played]]:
    parts = [list(part.notes) for part in list_parts(score)]
    parts = [[n for n in notes if n.end > n.start] for notes in parts]
    if len(parts) > 1:
        parts.sort(key=lambda notes: sum(n.midi for n in notes) / len(notes))
        return {Hand.LEFT: parts[0], Hand.RIGHT: [n for own in parts[1:] for n in own]}
    together: dict[int, list[Played]] = defaultdict(list)
    for note in parts[0] if parts else []:
        together[note.start].append(note)
    lowest = {min(notes, key=lambda note: note.midi) for notes in together.values()}
    left = [note for note in lowest if note.midi <= NEAREST_HIGHEST]
    right = [n for notes in together.values() for n in notes if n not in left]
    return {Hand.LEFT: left, Hand.RIGHT: right}
