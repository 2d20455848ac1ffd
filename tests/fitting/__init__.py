"""A table of chord costs fitted to chords that humans wrote, and how to fit it anew.

`features_*.py` name what the table looks at, `table.py` turns the table into costs,
`fit.py` fits it and `measure.py` says how far its chords agree with the humans'.
`folk.tsv` and `hymn.tsv` are the fitted tables: names and whole milli-costs. The tunes
themselves are not here. Nothing in the program reads this folder yet.
"""
