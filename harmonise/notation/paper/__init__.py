"""Printed sheets: a document is a row of blocks, typeset to PDF or PNG.

`blocks` holds what a document is made of, `typesetting` makes pages of it, `keyboards`
draws keyboard diagrams. `score_sheet`, `lead_sheet` and `chart_sheet` are the sheets of
an arrangement: for two hands, the tune alone, and chords over words.
"""
