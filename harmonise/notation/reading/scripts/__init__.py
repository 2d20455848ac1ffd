"""Whole scripts: both hands with all that a pupil wrote beside them.

    script  the value: notes, bars, chord symbols, words
    score   MusicXML of any notation editor
    played  MIDI, which knows keys and no names of notes
    typed   chord by chord as text; or the score in words
    door    which of them it is, by its content

The readers of tunes take one line and leave the rest; a script is taken as it stands,
faults and all, so nothing here mends or refuses what a teacher would mark.
"""

from harmonise.notation.reading.scripts.door import parse_script, read_script
from harmonise.notation.reading.scripts.script import Script, Written, script_of

__all__ = ["Script", "Written", "parse_script", "read_script", "script_of"]
