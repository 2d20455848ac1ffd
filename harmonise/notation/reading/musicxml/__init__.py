"""The MusicXML door: bytes in, a tune out.

MusicXML 1.0 to 4.0, plain or compressed, part by part or bar by bar. Here alone a bar
is called a measure, where the format says so.

    guard     bytes -> tree, within size limits, no entities, one shape
    xml_text  text to tree, no entities
    packed    the zip around it
    parts     which part holds the tune
    walk      when everything in the part happens, in exact crotchets
    voices    voices and chords    upper  which voice is the tune
    line      its notes, with what hangs on them and what was left out
    times     time signatures        bars     bar numbers, pickups, repeats, endings
    keys      keys and modes         shift    transposing instruments
    notes     ties, graces, slurs    lyrics   words
    marks     tempos, jumps, labels  harmony  chord symbols
    second    music21's own reading of the same notes, which must agree with ours
    door      all of it, top to bottom
"""

from harmonise.notation.reading.musicxml.door import parse_musicxml

__all__ = ["parse_musicxml"]
