"""The costs of chords fitted to chords that humans wrote, and how chords are judged.

`fit.py` fits a table of costs to labelled tunes and `measure.py` says how far its
chords agree with the humans'. `well_known.py` and `sense.py` ask whether they are those
that a pianist would play. The labelled tunes are not here.
"""
