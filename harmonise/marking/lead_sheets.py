"""Chords for a tune, handed in as a tune: typed with its chords, or in ABC.

A task that asks for chord symbols alone is a lead sheet, and pupils write it as they
write tunes. Notes are read too, so that an altered tune is told.
"""

from harmonise.marking.script import Script, in_order, is_typed
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import Task
from harmonise.marking.typed_tunes import parse_tune_lines
from harmonise.notation.formats import decode, format_of, parse_tunes
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import Hand, SoundingNote, Voice


def script_for(data: bytes, task: Task) -> Script:
    """Return the script that a pupil's file holds.

    Args:
        data: The file.
        task: What was asked for.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    plain = format_of(data).name not in ("MusicXML", "MIDI")
    if plain and task.tune_only and is_typed(decode(data)):
        lines = parse_tune_lines(decode(data), task.model.tune, letters=True)
        if lines:
            return lines
    if plain and _asks_symbols_alone(task) and not is_typed(decode(data)):
        return _lead_sheet(data)
    return parse_script(data, task.model.tune)


def _asks_symbols_alone(task: Task) -> bool:
    parts = {part for item in task.items for part, _ in item.worth}
    return task.chosen and parts == {ChordPart.LABEL}


def _lead_sheet(data: bytes) -> Script:
    """Return a tune with its chords as a script.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    tune = parse_tunes(data)[0]
    notes = (
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.INNER)
        for note in tune.sounding
        if note.pitch
    )
    # Typed chords are locked ones; those of ABC stand over the tune.
    return Script(
        tuple(sorted(notes, key=in_order)),
        tune.bars,
        tune.locks or tune.symbols,
        title=tune.title,
    )
