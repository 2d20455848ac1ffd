"""Printed sheets: a document is a row of blocks, typeset to PDF or PNG.

`blocks` holds what a document is made of, `engraving` draws its lines of music,
`keyboards` its keyboard diagrams, and `typesetting` makes pages of it. `score_sheet`
and `chart_sheet` are the sheets of an arrangement: for two hands or the tune alone, and
chords over words.
"""
