"""Marking: what was asked, what the pupil wrote, what it is worth.

task      what is asked for, chord by chord, and what it is worth
tasks     tasks of tunes, drills and worksheets
script    what a pupil wrote; typed and played  scripts  the same in every format
aligned   a script on the bars of its task, hand by hand
work      the script as music: chords in force, what is blank
finding   faults, by the rules                  labels   symbols, numerals, shapes
marked    one slip, one deduction; the sum      mark     all of it, and what went well
slip      for the pupil, as text and paper      whole_class  a class in one table
"""
