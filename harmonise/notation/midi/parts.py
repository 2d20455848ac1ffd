"""Which part of a MIDI file holds the tune, and which of its notes.

The part that was asked for; else the one whose name says it; else the highest, judged
by its top notes and the time they sound. A part is a track, or a channel where one
track holds everything. Channel 10, percussion, is never the tune.

Of notes that sound together the highest is the tune. A note that holds on into the next
one for no more than an eighth of a crotchet, or a quarter of the next note's length, is
bound to it and cut; notes that sound together for longer are chords, of which the top
is kept. Notes of a chord may be struck up to a sixteenth of a crotchet apart.
"""

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import MelodyError, RemarkList
from harmonise.notation.midi.tracks import DRUMS, MidiCode, MidiScore, PlayedNote, count
from harmonise.notation.part_names import find_parts

LEGATO = Fraction(1, 8)
"""Crotchets that a note may hold on into the next one."""
TOGETHER = Fraction(1, 16)
"""Crotchets between notes of a chord that is struck as one."""
_TUNE_NAMES = (
    re.compile(r"\b(tune|melod(y|ie|ia|ies)|mélodie|air|theme)\b", re.IGNORECASE),
    re.compile(r"\b(lead|solo|vocals?|voice|vox|singer|song)\b", re.IGNORECASE),
    re.compile(r"\b(soprano|treble|cantus|canto|superius|discantus)\b", re.IGNORECASE),
)
"""Names that say it, the plainest first (common practice)."""
_OTHER_NAMES = re.compile(
    r"\b(back(ing)?|harmony|accomp\w*|bass|alto|tenor|left)\b", re.IGNORECASE
)
_SHORTEST_SHARE = Fraction(1, 4)
"""A part that sounds for less of the time of the busiest one is no tune."""


class TopLine(NamedTuple):
    """Notes that follow one another.

    Attributes:
        notes: In order, without overlap.
        dropped: Number of notes left out because others sounded above them.
        cut: Number of notes cut where the next one begins.
    """

    notes: tuple[PlayedNote, ...]
    dropped: int
    cut: int


def top_line(notes: Sequence[PlayedNote], ticks: int) -> TopLine:
    """Return the highest notes of a part.

    Args:
        notes: In order of onset, the highest first; not all without length.
        ticks: Ticks in a crotchet.
    """
    kept: list[PlayedNote] = []
    cut_notes: set[int] = set()
    for note in notes:
        while kept and _is_under(kept[-1], note, ticks):
            kept.pop()
        # What begins under a note that sounds on is harmony.
        if kept and _is_inner(note, kept[-1], ticks):
            continue
        if kept and kept[-1].end > note.start:
            cut_notes.add(kept[-1].start)
            kept[-1] = kept[-1]._replace(end=note.start)
        kept.append(note)
    while kept[-1].end == kept[-1].start:
        kept.pop()  # A grace note before nothing.
    cut = sum(note.start in cut_notes for note in kept)
    return TopLine(tuple(kept), len(notes) - len(kept), cut)


def _is_under(before: PlayedNote, note: PlayedNote, ticks: int) -> bool:
    """Whether a note just struck turns out to be under the next one in a chord."""
    near = note.start - before.start <= TOGETHER * ticks
    return near and before.end > note.start + LEGATO * ticks and before.midi < note.midi


def _is_inner(note: PlayedNote, above: PlayedNote, ticks: int) -> bool:
    """Whether a note begins under one that sounds on, or in the same instant."""
    if above.end == above.start or note.end == note.start:
        return False
    if note.start == above.start:
        return True
    if note.midi >= above.midi:
        return False
    bound = max(LEGATO * ticks, Fraction(note.end - note.start, 4))
    return above.end - note.start > bound


class MidiPart(NamedTuple):
    """A part with its pitched notes.

    Attributes:
        name: As the file calls it, or its number.
        track: Number of its track, from 0.
        notes: Its notes in order.
    """

    name: str
    track: int
    notes: tuple[PlayedNote, ...]


class Chosen(NamedTuple):
    """The part that holds the tune.

    Attributes:
        part: The part.
        line: Its tune.
    """

    part: MidiPart
    line: TopLine


def choose_part(score: MidiScore, wanted: str, remarks: RemarkList) -> Chosen:
    """Return the part that holds the tune, and its line.

    Args:
        score: The file.
        wanted: Name of a part; "" to choose one.
        remarks: Told when there was a choice, and what was left out of chords.

    Raises:
        NotationError: If no part is called so.
        MelodyError: If no part has a note with a pitch.
    """
    parts = list_parts(score)
    if not parts:
        raise MelodyError("There is no note in this tune.", None, "Add its notes.")
    choice, why = parts, ""
    if wanted.strip():
        names = [part.name for part in parts]
        choice = tuple(parts[number] for number in find_parts(wanted, names))
    elif len(parts) > 1:
        choice, why = _called_a_tune(parts)
    chosen = _highest(choice, score.ticks)
    if why:
        _tell_choice(parts, chosen.part, why, remarks)
    if score.tracks[chosen.part.track].endless:
        remarks.add(
            MidiCode.ENDLESS,
            "The file does not say when notes end: each was taken to last until the "
            "next one.",
            None,
            "Check the lengths.",
        )
    _tell_chords(chosen, remarks)
    return chosen


def list_parts(score: MidiScore) -> tuple[MidiPart, ...]:
    """Return the parts that have pitches, in the order of the file."""
    singing = []
    for number, track in enumerate(score.tracks):
        notes = tuple(note for note in track.notes if note.channel != DRUMS)
        # A track of grace notes alone holds nothing that lasts.
        if any(note.end > note.start for note in notes):
            singing.append(MidiPart(track.name or f"Track {number}", number, notes))
    if len(singing) != 1:
        return tuple(singing)
    # One track of many channels is how type 0 keeps its parts apart.
    number, notes = singing[0][1:]
    channels = sorted({note.channel for note in notes if note.end > note.start})
    name = score.tracks[number].name if len(channels) == 1 else ""
    return tuple(
        MidiPart(
            name or f"Channel {channel + 1}",
            number,
            tuple(note for note in notes if note.channel == channel),
        )
        for channel in channels
    )


def _called_a_tune(parts: tuple[MidiPart, ...]) -> tuple[tuple[MidiPart, ...], str]:
    """Return the parts whose names say that they are the tune, or all; and why."""
    plain = [part for part in parts if not _OTHER_NAMES.search(part.name)]
    for names in _TUNE_NAMES:
        named = tuple(part for part in plain if names.search(part.name))
        if named:
            return named, "by its name"
    return parts, "the highest"


def _highest(parts: Iterable[MidiPart], ticks: int) -> Chosen:
    lines = [Chosen(part, top_line(part.notes, ticks)) for part in parts]
    times = [sum(n.end - n.start for n in chosen.line.notes) for chosen in lines]

    def mean_pitch(number: int) -> Fraction:
        notes = lines[number].line.notes
        weighed = sum(note.midi * (note.end - note.start) for note in notes)
        return Fraction(weighed, times[number])

    # A short high flourish is no tune.
    least = max(times) * _SHORTEST_SHARE
    long = [number for number, time in enumerate(times) if time >= least]
    return lines[max(long, key=mean_pitch)]


def _tell_choice(
    parts: Sequence[MidiPart], chosen: MidiPart, why: str, remarks: RemarkList
) -> None:
    others = [f'"{part.name}"' for part in parts if part is not chosen]
    more = f" and {len(others) - 8} more" if len(others) > 8 else ""
    remarks.add(
        MidiCode.PART,
        f'The tune was taken from "{chosen.name}", {why} of {count(len(parts), "part")}'
        f"; {', '.join(others[:8])}{more} left out.",
        None,
        "Name another part if the tune is there.",
    )


def _tell_chords(chosen: Chosen, remarks: RemarkList) -> None:
    line = chosen.line
    if line.dropped:
        remarks.add(
            MidiCode.CHORD,
            f'Several notes sound together in "{chosen.part.name}": the highest are '
            f"the tune, and {count(line.dropped, 'note')} under them left out.",
            None,
            "Name the part of the tune if it is another.",
        )
    elif line.cut:
        remarks.add(
            MidiCode.CHORD,
            f"{count(line.cut, 'note')} held on into the next one, as a player does "
            "who binds them; cut there.",
        )
