"""Printed sheets: a document is a row of blocks, typeset to PDF or PNG.

`blocks` holds what a document is made of, `typesetting` makes pages of it, `keyboards`
draws keyboard diagrams, and `score_sheet` is the sheet of an arrangement.
"""
