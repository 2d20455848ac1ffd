"""Marking: what was asked, what the pupil wrote, what it is worth.

task      what is asked for, chord by chord, and what it is worth
tasks     tasks of tunes, drills and worksheets
script    what a pupil wrote; typed and played  scripts  the same in every format
staves    which staff is which hand              sorted_hands  which note is the tune
course    bars and beats out of place, keys      exercise_order  of a drill
aligned   a script laid on its task
work      the script as music: chords in force, what is blank
finding   faults, by the rules                  labels   symbols, numerals, shapes
marked    one slip, one deduction; the sum      mark     all of it, and what went well
slip      for the pupil, as text and paper      slips    the same for every kind of task
aural_answers  answers by ear, a list and no score
given_out which task a returned file is of      overrides  what the teacher decides
whole_class  a folder of works; handed_in  what is in it
register  what is kept of works over a term     class_pages  its tables
"""
